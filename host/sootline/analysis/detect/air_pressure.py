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


class AirPressure(Detector):
    """The owner sees: air pressure now against what it should be; compressor, regulator, water.

    Rule: outside set point +- band for 30 s while the burner fires (or tries to), after 30 s of running.
    Returns after 5 min inside. Source: contract; band 10 kPa (1.5 psi) is common practice.
    Wrong: a set point changed by hand but not in the profile; 1 in 3 seasons.
    Blind to: without `air_pressure` or `air.setpoint_kPa`; a plugged air passage downstream of the gauge.
    """

    alarm = "air-pressure"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._out: set[str] = set()
        air = self.plant.profile.air
        if air.setpoint_kPa is not None:
            set_Pa = air.setpoint_kPa * 1000
            band_Pa = 1000 * (air.band_kPa or self.settings.air_band_kPa)
            inner = 0.8 * band_Pa
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
            self._wait(mark.at_ms)
        else:
            self._out.discard(mark.subject)
            if not self._out:
                self.plant.at(mark.at_ms + BACK_MS, self._inside, mark.at_ms)

    def _burner(self, mark: Mark) -> None:
        if mark.on:
            self._wait(mark.at_ms)

    def _fire(self, on: bool | None, at_ms: int) -> None:
        if on:
            self._wait(self.plant.now_ms)

    def _wait(self, since_ms: int) -> None:
        self.plant.at(since_ms + round(self.settings.air_out_s * 1000), self._look)

    def _look(self) -> None:
        running = self.plant.state("burner") if self.plant.has("burner") else self.engine.fire.on
        if not running or not self._out:
            return
        hold_ms = round(self.settings.air_out_s * 1000)
        _t, x = self.plant.history.window("air_pressure", self.plant.now_ms - hold_ms, self.plant.now_ms)
        air = self.plant.profile.air
        set_Pa, band_Pa = 1000 * (air.setpoint_kPa or 0.0), 1000 * (air.band_kPa or self.settings.air_band_kPa)
        if len(x) and bool((abs(x - set_Pa) > 0.8 * band_Pa).all()):
            self.plant.raise_(
                self.alarm, "medium", pressure_Pa=round(float(x[-1])), setpoint_Pa=set_Pa, band_Pa=band_Pa
            )

    def _inside(self, since_ms: int) -> None:
        _t, _x = self.plant.history.window("air_pressure", since_ms, self.plant.now_ms)
        if not self._out:
            self.plant.clear(self.alarm)
