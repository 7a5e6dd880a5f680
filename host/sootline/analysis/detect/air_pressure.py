"""`air-pressure`: the atomising air is outside its band while it fires, or missing when it should start."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.analysis.conditions import Level
from sootline.analysis.detect.base import Detector
from sootline.analysis.marks import Mark
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

BACK_MS = 300_000
GRACE_MS, ABSENT_MS = 15_000, 10_000  # after the start: air is there within seconds (common practice)
AGAIN_MS = 60_000
INNER, ABSENT = 0.8, 0.3  # of the band; of the set point


class AirPressure(Detector):
    """The owner sees: air pressure now against what it should be; compressor, regulator, water.

    Rule: while the burner runs, from 15 s after its start on, the mean of 30 s outside set point +- band and none of
    these readings inside 0.8 of the band (what stands on the edge is in it); or it ran for 10 s, stopped, and every
    reading was below 0.3 of the set point: no air. Returns after 5 min inside 0.8 of the band.
    Source: contract; band 10 kPa (1.5 psi) is common practice.
    Wrong: a set point changed by hand but not in the profile; 1 in 3 seasons.
    Blind to: without `air_pressure` or `air.setpoint_kPa`; a plugged air passage downstream of the gauge.
    """

    alarm = "air-pressure"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._out: set[str] = set()
        self._since_ms: int | None = None  # the start of the burner, or the fire
        self._inside_ms = 0
        self._looking = 0  # the number of the look that is due; an older one is void
        if self.plant.profile.air.setpoint_kPa is not None:
            set_Pa, band_Pa = self._band_Pa()
            inner = INNER * band_Pa
            low = Level("air-low", "air_pressure", set_Pa - band_Pa, set_Pa - inner, below=True)
            self.plant.watch(low, self._edge)
            self.plant.watch(Level("air-high", "air_pressure", set_Pa + band_Pa, set_Pa + inner), self._edge)
            self.plant.on("burner", self._burner)
            engine.fire.on_changed.append(self._fire)

    def readiness(self) -> Readiness:
        if not self.plant.has("air_pressure"):
            return self.blind("air_pressure")
        return (
            super().readiness() if self.plant.profile.air.setpoint_kPa is not None else self.blind("air.setpoint_kPa")
        )

    def _edge(self, mark: Mark) -> None:
        if mark.on:
            self._out.add(mark.subject)
            self._later(mark.at_ms)
        else:
            self._out.discard(mark.subject)
            self._inside_ms = mark.at_ms
            if not self._out:
                self.plant.at(mark.at_ms + BACK_MS, self._inside, mark.at_ms)

    def _burner(self, mark: Mark) -> None:
        if mark.on:
            self._started(mark.at_ms)
            return
        since_ms, self._since_ms = self._since_ms, None
        if mark.on is False and since_ms is not None and mark.at_ms - since_ms >= ABSENT_MS:
            _t, x = self.plant.history.window("air_pressure", since_ms, mark.at_ms)
            if len(x) and float(x.max()) < ABSENT * self._band_Pa()[0]:
                self._raise(float(x[-1]))

    def _fire(self, on: bool | None, at_ms: int) -> None:
        if on and not self.plant.has("burner"):
            self._started(self.plant.now_ms)

    def _started(self, at_ms: int) -> None:
        self._since_ms = at_ms
        self._later(at_ms + GRACE_MS)

    def _running(self) -> bool:
        return bool(self.plant.state("burner") if self.plant.has("burner") else self.engine.fire.on)

    def _later(self, from_ms: int) -> None:
        """Look once the readings since from_ms fill the time asked for."""
        self._looking += 1
        self.plant.at(from_ms + round(self.settings.air_out_s * 1000), self._look, self._looking)

    def _look(self, number: int) -> None:
        if number != self._looking or not self._out or not self._running() or self._since_ms is None:
            return
        now, hold_ms = self.plant.now_ms, round(self.settings.air_out_s * 1000)
        if now - self._since_ms >= GRACE_MS + hold_ms:
            _t, x = self.plant.history.window("air_pressure", now - hold_ms, now)
            set_Pa, band_Pa = self._band_Pa()
            if len(x) and abs(float(x.mean()) - set_Pa) > band_Pa and float(abs(x - set_Pa).min()) > INNER * band_Pa:
                self._raise(float(x[-1]))
        self._later(now + AGAIN_MS - hold_ms)

    def _raise(self, pressure_Pa: float) -> None:
        set_Pa, band_Pa = self._band_Pa()
        self.plant.raise_(self.alarm, "medium", pressure_Pa=round(pressure_Pa), setpoint_Pa=set_Pa, band_Pa=band_Pa)

    def _band_Pa(self) -> tuple[float, float]:
        """Set point and half width of its band [Pa]."""
        air = self.plant.profile.air
        return 1000 * (air.setpoint_kPa or 0.0), 1000 * (air.band_kPa or self.settings.air_band_kPa)

    def _inside(self, since_ms: int) -> None:
        if not self._out and self._inside_ms == since_ms:
            self.plant.clear(self.alarm)
