"""Heating of the day tank or the nozzle block: each climb from cold to its set point, as a preheat event."""

from __future__ import annotations

from collections.abc import Callable

from sootline.analysis.conditions import Level, Slope
from sootline.analysis.follow.fire import Fire
from sootline.analysis.marks import Mark
from sootline.analysis.plant import Plant
from sootline.analysis.usual import Usual
from sootline.events import Event
from sootline.profile import LogEntry

COLD_K = 8.0  # a climb counts as a preheat from this far under the set point
PEAK_MS = 900_000  # the overshoot after a climb is over by then
READY_K = 3.0  # within this of the set point the oil is ready


class Heating:
    """Follows one heated channel. `start_ms`/`start_C` belong to the climb under way, None while there is none."""

    def __init__(self, plant: Plant, fire: Fire, channel: str) -> None:
        self.plant = plant
        self.fire = fire
        self.channel = channel
        self.start_ms: int | None = None
        self.start_C = 0.0
        self._warm = False  # it has come near its set point and not fallen far below since
        self.usual_K_per_min = Usual(20)
        self.usual_end_C = Usual(20)
        self.usual_peak_C = Usual(20)
        self.on_begun: list[Callable[[Heating], None]] = []
        self.on_done: list[Callable[[Event | None], None]] = []
        settings = plant.settings
        window_ms = round(settings.climb_window_s * 1000)
        climbs = Slope(f"{channel}-climbs", channel, window_ms, settings.climb_K, settings.climb_K / 2)
        plant.watch(climbs, self._climbs)
        plant.on("call", self._called)
        plant.on(f"{channel}_heater", self._called)
        plant.on_log(self._logged)
        self._watch_ready()

    def target_C(self) -> float | None:
        """The set point, or where its climbs usually end; None while unknown."""
        given = self.plant.setpoint_C(self.channel)
        if given is not None:
            return given
        return self.usual_end_C.median if self.usual_end_C.count >= 3 else None

    def missing_K(self) -> float | None:
        """How far the oil is under its set point now [K]; None when either is unknown."""
        target, value = self.target_C(), self.plant.value(self.channel)
        return None if target is None or value is None else target - value

    def expected(self) -> bool:
        """Whether the heater should be heating now: by its own drive, the call, or the keep-warm rule."""
        drive = self.plant.state(f"{self.channel}_heater")
        if drive is not None:
            return drive
        if self.plant.state("low_level"):
            return False
        if self.plant.profile.furnace.heating == "keep-warm":
            return True
        return self.plant.state("call") is True or (self.start_ms is not None and not self.plant.has("call"))

    def may_heat(self) -> bool:
        """Whether nothing seen here rules out that the heater is on."""
        if self.plant.profile.furnace.heating == "keep-warm" or not self.plant.has("call"):
            return True
        return self.plant.state("call") is not False

    def _watch_ready(self) -> None:
        target = self.plant.setpoint_C(self.channel)
        if target is not None:
            ready = Level(f"{self.channel}-ready", self.channel, target - READY_K, target - COLD_K)
            self.plant.watch(ready, self._ready)
            self._warm = False

    def _logged(self, entry: LogEntry) -> None:
        if entry.kind == "setpoint" and entry.channel == self.channel:
            self._watch_ready()

    def _called(self, mark: Mark) -> None:
        if mark.on and self.start_ms is None and not self._warm:
            missing = self.missing_K()
            if missing is not None and missing > COLD_K:
                self._begin(mark.at_ms)
        elif mark.on is False and mark.subject == "call" and self.start_ms is not None and not self._keeps_warm():
            self._end(mark.at_ms, reached=False)

    def _keeps_warm(self) -> bool:
        return self.plant.profile.furnace.heating == "keep-warm"

    def _climbs(self, mark: Mark) -> None:
        if mark.on and self.start_ms is None and not self.fire.on:
            missing = self.missing_K()
            cooling = self.fire.last_end_ms is not None and mark.at_ms - self.fire.last_end_ms < 1_800_000
            if (missing is None and not cooling) or (missing is not None and missing > COLD_K):
                self._begin(mark.at_ms - round(self.plant.settings.climb_window_s * 1000))
        elif not mark.on and self.start_ms is not None and self.plant.setpoint_C(self.channel) is None:
            self._end(mark.at_ms, reached=True)

    def _ready(self, mark: Mark) -> None:
        self._warm = bool(mark.on)
        if mark.on and self.start_ms is not None:
            self._end(mark.at_ms, reached=True)

    def _begin(self, at_ms: int) -> None:
        at = self.plant.history.window(self.channel, at_ms - 60_000, at_ms + 15_000)[1]
        self.start_ms = at_ms
        self.start_C = float(at[-1]) if len(at) else self.plant.value(self.channel) or 0.0
        for begun in self.on_begun:
            begun(self)

    def _end(self, at_ms: int, reached: bool) -> None:
        start_ms = self.start_ms
        assert start_ms is not None
        self.start_ms = None
        end_C = self.plant.history.mean(self.channel, at_ms - 10_000, at_ms)
        minutes = (at_ms - start_ms) / 60_000
        event = None
        if reached and end_C is not None and end_C - self.start_C >= COLD_K - READY_K and minutes > 0:
            rate = (end_C - self.start_C) / minutes
            features: dict[str, float | str | bool | None] = {
                "channel": self.channel,
                "start_C": self.start_C,
                "end_C": end_C,
                "rate_K_per_min": rate,
            }
            event = Event(self.plant.profile.furnace.id, "preheat", start_ms, at_ms, features)
        for done in self.on_done:
            done(event)
        if event is not None:
            self.plant.happened(event)
            self.plant.at(at_ms + PEAK_MS, self._peak, at_ms)

    def _peak(self, since_ms: int) -> None:
        """How far the thermostat lets it overshoot: the top of its control band."""
        x = self.plant.history.window(self.channel, since_ms, self.plant.now_ms)[1]
        if len(x) and self.plant.book.standing("heater-stuck-on", self.channel) is None:
            self.usual_peak_C.add(float(x.max()))
