"""`ignition-failure`: the trial for ignition is over and there is no flame."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from sootline.alarms import Priority
from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.heating import COLD_K, READY_K
from sootline.analysis.marks import Mark
from sootline.analysis.usual import Usual
from sootline.events import Event
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine


NEED = 20
HEATS_MS, HEATS_K_PER_MIN = 120_000, 0.3  # less is not heating up
REST_MS = 1_800_000  # how long falling oil is followed: a thermostat would have turned it by then
SHOWS_MS = 180_000  # the stack tells by then that a fire has ended
REST_S = 300.0  # after a fire a control may rest before it starts again (common practice)
LED_NEED, LED_SHARE = 5, 0.9


class IgnitionFailure(Detector):
    """The owner sees: it tried and did not light.

    Rule with `burner`: the burner has run for longer than the trial (3 x the usual time to flame, at least 90 s), or
    stopped during a call, without flame on `flame` or a rise on `stack`. With `call` only: call on, oil ready for
    5 min (or 3 x the usual wait) and no stack rise. On the required four: a preheat was completed, nothing climbs any
    more, and the stack did not rise in 5 min (or 3 x the usual wait), though nine in ten preheats have led to a fire;
    oil that only falls for half an hour tells that the call has ended. Without `burner` the wait is learned from 20
    lights; until then it is twice as long, and medium at most.
    Medium while the control retries by itself the first time, else high. Returns with a firing proved for 5 min.
    Source: contract. Wrong: a call that ends just as the oil is ready; 1 in 3 seasons.
    Blind to: on the required four, a furnace that is kept warm (nothing says that heat was wanted).
    """

    alarm = "ignition-failure"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self.wait_s = Usual(30)
        self._ready_ms: int | None = None
        self._burner_ms: int | None = None
        self._told_ms: int | None = None  # the start whose trial was over: its end is no second failure
        self._failures: list[int] = []
        self._led: deque[bool] = deque(maxlen=30)  # whether a completed preheat led to a fire
        self.plant.on("burner", self._burner)
        self.plant.on("call", self._call)
        self.plant.on("lockout", self._lockout)
        self.plant.on_event("preheat", self._heated)
        engine.fire.on_changed.append(self._fire)
        engine.fire.on_proved.append(self._proved)

    def readiness(self) -> Readiness:
        contact = self.plant.has("burner")
        if not contact and not self.plant.has("call") and self.plant.profile.furnace.heating == "keep-warm":
            return self.blind("burner")
        return super().readiness() if contact else self.learned(self.wait_s.count, NEED)

    def _trial_ms(self) -> int:
        usual = self.engine.time_to_flame.median
        return round(1000 * max(self.settings.trial_s, 3 * (usual or 0.0)))

    def _burner(self, mark: Mark) -> None:
        if mark.on:
            self._burner_ms = mark.at_ms
            self.plant.at(mark.at_ms + self._trial_ms(), self._trial_over, mark.at_ms)
        elif mark.on is False and self._burner_ms is not None:
            started, self._burner_ms = self._burner_ms, None
            fire = self.engine.fire
            unlit = fire.is_out() and (fire.last_end_ms or 0) < started and started != self._told_ms
            if unlit and mark.at_ms - started >= 8_000 and self.plant.state("call") is not False:
                self.plant.at(mark.at_ms + 45_000, self._not_lit, started)

    def _trial_over(self, started_ms: int) -> None:
        if self._burner_ms == started_ms and self.engine.fire.is_out() and self.plant.state("burner"):
            self._told_ms = started_ms
            self._failed(started_ms)

    def _not_lit(self, started_ms: int) -> None:
        """The stack lags: look once more before calling it a failure."""
        if (self.engine.fire.last_end_ms or 0) < started_ms and not self.engine.fire.on:
            self._failed(started_ms)

    def _call(self, mark: Mark) -> None:
        if mark.on and not self.plant.has("burner"):
            self._wanted(mark.at_ms)

    def _wanted(self, called_ms: int) -> None:
        """Heat is wanted, and warm oil need not wait for a preheat. That the last fire ended may not show yet."""
        if self.plant.state("call") is not True or self.plant.changed_ms("call") != called_ms:
            return
        if not self.engine.fire.is_out():
            if self.plant.now_ms - called_ms < SHOWS_MS:
                self.plant.at(self.plant.now_ms + SHOWS_MS // 6, self._wanted, called_ms)
        elif not self._still_heats() and all(
            (heating.missing_K() or 0.0) <= READY_K for heating in self.engine.heating.values()
        ):
            self._ready()

    def _heated(self, event: Event) -> None:
        if not self.plant.has("burner"):
            self._look(self.plant.now_ms)

    def _look(self, heated_ms: int) -> None:
        """One of the two is warm; the other may heat on, too little for a preheat of its own."""
        told = self._ready_ms is not None and self._ready_ms > heated_ms
        if self.engine.fire.on or told or self.plant.now_ms - heated_ms > REST_MS:
            return
        if self._still_heats():
            self.plant.at(self.plant.now_ms + HEATS_MS // 2, self._look, heated_ms)
            return
        wanted = self.plant.state("call")
        if wanted or (wanted is None and self.plant.profile.furnace.heating != "keep-warm"):
            self._ready()

    def _ready(self) -> None:
        self._ready_ms = self.plant.now_ms
        usual = self.wait_s.median if self.wait_s.count >= 3 else None
        wait_s = max(self.settings.no_rise_s, 3 * (usual or 0.0))
        wait_s *= self.settings.learning_factor if self.learning() else 1
        if (ended_ms := self.engine.fire.last_end_ms) is not None:
            wait_s += max(0.0, REST_S - (self._ready_ms - ended_ms) / 1000)
        self.plant.at(self._ready_ms + round(wait_s * 1000), self._no_rise, self._ready_ms, False)

    def _still_heats(self) -> bool:
        """Something is being heated up, noticed as a preheat or not yet."""
        for channel, heating in self.engine.heating.items():
            missing = heating.missing_K()
            if heating.start_ms is not None:
                return True
            if missing is not None and missing > READY_K:
                slope = self.plant.slope_per_min(channel, HEATS_MS)
                if slope is not None and slope > HEATS_K_PER_MIN:
                    return True
        return False

    def _no_rise(self, ready_ms: int, rested: bool) -> None:
        """The wait is over. rested: the oil fell at the last look, as after a call, or in a thermostat's swing."""
        if self._ready_ms != ready_ms or not self.engine.fire.is_out() or self.plant.state("call") is False:
            return
        if any(self.plant.book.standing("heater-stuck-on", channel) for channel in self.engine.heating):
            return  # it heated because it could not stop
        if self._still_heats():
            self._ready()
            return
        if any((heating.missing_K() or 0.0) > COLD_K for heating in self.engine.heating.values()):
            return  # it waits for oil that stays cold: that is `preheat-stalled`
        no_call_seen = self.plant.state("call") is None
        falls = no_call_seen and any(heating.falls(ready_ms) for heating in self.engine.heating.values())
        if falls or rested:
            if self.plant.now_ms - ready_ms < REST_MS:
                self.plant.at(self.plant.now_ms + HEATS_MS, self._no_rise, ready_ms, falls)
            return
        if not no_call_seen or self._tells():
            self._failed(ready_ms)
        self._led.append(False)

    def _tells(self) -> bool:
        """Whether warm oil tells here that a fire is wanted: it has led to one, or the profile says so."""
        if len(self._led) < LED_NEED:
            return self.plant.profile.furnace.heating == "on-call"
        return sum(self._led) >= LED_SHARE * len(self._led)

    def _failed(self, started_ms: int) -> None:
        now = self.plant.now_ms
        self._failures = [t for t in self._failures if now - t < 3_600_000] + [now]
        again = len(self._failures) > 1 or self.plant.state("lockout") or self.plant.state("call") is None
        priority: Priority = "high" if again else "medium"
        self.plant.raise_(
            self.alarm, self.capped(priority), tries=len(self._failures), waited_s=round((now - started_ms) / 1000),
            nozzle_C=self.plant.value("nozzle"), air_pressure_Pa=self.plant.value("air_pressure"),
        )  # fmt: skip

    def _lockout(self, mark: Mark) -> None:
        if mark.on and self.plant.book.standing(self.alarm):
            self.plant.raise_(self.alarm, "high")

    def _fire(self, on: bool | None, at_ms: int) -> None:
        heats = any(heating.start_ms is not None for heating in self.engine.heating.values())
        if on and (heats or self._ready_ms is not None) and self.plant.learns(self._ready_ms or at_ms, at_ms):
            self.wait_s.add(0.0 if self._ready_ms is None else (at_ms - self._ready_ms) / 1000)
            self._led.append(True)
        self._ready_ms = None

    def _proved(self) -> None:
        self._failures.clear()
        self.plant.clear(self.alarm)
