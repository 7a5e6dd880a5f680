"""`ignition-failure`: the trial for ignition is over and there is no flame."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.alarms import Priority
from sootline.analysis.detect.base import Detector
from sootline.analysis.marks import Mark
from sootline.analysis.usual import Usual
from sootline.events import Event
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine


class IgnitionFailure(Detector):
    """The owner sees: it tried and did not light.

    Rule with `burner`: the burner has run for longer than the trial (3 x the usual time to flame, at least 90 s), or
    stopped during a call, without flame on `flame` or a rise on `stack`. With `call` only: call on, oil ready for
    5 min (or 3 x the usual wait) and no stack rise. On the required four: a preheat was completed and the stack did not
    rise in 5 min (or 3 x the usual wait).
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
        self.plant.on("burner", self._burner)
        self.plant.on("lockout", self._lockout)
        self.plant.on_event("preheat", self._heated)
        engine.fire.on_changed.append(self._fire)
        engine.fire.on_proved.append(self._proved)

    def readiness(self) -> Readiness:
        if not self.plant.has("burner") and self.plant.profile.furnace.heating == "keep-warm":
            return self.blind("burner")
        return super().readiness()

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

    def _heated(self, event: Event) -> None:
        if self.plant.has("burner") or self.engine.fire.on:
            return
        if any(heating.start_ms is not None for heating in self.engine.heating.values()):
            return
        wanted = self.plant.state("call")
        if wanted or (wanted is None and self.plant.profile.furnace.heating != "keep-warm"):
            self._ready_ms = self.plant.now_ms
            usual = self.wait_s.median if self.wait_s.count >= 3 else None
            wait_s = max(self.settings.no_rise_s, 3 * (usual or 0.0))
            self.plant.at(self.plant.now_ms + round(wait_s * 1000), self._no_rise, self.plant.now_ms)

    def _no_rise(self, ready_ms: int) -> None:
        for channel, heating in self.engine.heating.items():
            if self.plant.book.standing("heater-stuck-on", channel) or heating.fell_back(ready_ms):
                return  # it heated because it could not stop; or the call has ended
        if self._ready_ms == ready_ms and not self.engine.fire.on and self.plant.state("call") is not False:
            self._failed(ready_ms)

    def _failed(self, started_ms: int) -> None:
        now = self.plant.now_ms
        self._failures = [t for t in self._failures if now - t < 3_600_000] + [now]
        again = len(self._failures) > 1 or self.plant.state("lockout") or self.plant.state("call") is None
        priority: Priority = "high" if again else "medium"
        self.plant.raise_(
            self.alarm, priority, tries=len(self._failures), waited_s=round((now - started_ms) / 1000),
            nozzle_C=self.plant.value("nozzle"), air_pressure_Pa=self.plant.value("air_pressure"),
        )  # fmt: skip

    def _lockout(self, mark: Mark) -> None:
        if mark.on and self.plant.book.standing(self.alarm):
            self.plant.raise_(self.alarm, "high")

    def _fire(self, on: bool | None, at_ms: int) -> None:
        if on and self._ready_ms is not None:
            self.wait_s.add((at_ms - self._ready_ms) / 1000)
        self._ready_ms = None

    def _proved(self) -> None:
        self._failures.clear()
        self.plant.clear(self.alarm)
