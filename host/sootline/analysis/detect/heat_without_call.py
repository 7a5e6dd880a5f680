"""`heat-without-call`: something burns, or keeps hot, that nobody asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.alarms import Priority
from sootline.analysis.detect.base import Detector
from sootline.analysis.marks import Mark
from sootline.analysis.usual import Usual
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

COOL_MS, HOT_MS = 1_800_000, 600_000
AGAIN_MS = 60_000
NEED, COLDER_K = 10, 25.0  # fires seen before, and how much colder than theirs oil is that nothing has heated
LAST_MS = 900_000  # readings lie far apart at rest
HEATS_MS, HEATS_K = 180_000, 1.0  # before the fire; less is no heating


class HeatWithoutCall(Detector):
    """The owner sees: heat without a call; a welded relay, oil burning on, or burning soot.

    Rule: the stack heats up as after a light-off, or the burner runs, or the fire goes on, with no call for 2 min; or
    30 min into a cool-down the stack is not falling and still hot with no call and no preheat. Without `call` also: the
    fire has burned for 2 min from oil in the nozzle block that nothing had heated, 25 K and 3 sd colder than its fires
    begin with. Critical; without `call` medium. Source: contract.
    Wrong: a call contact that fell off its terminal (`sensor-fault` cannot know); 1 in 5 seasons.
    Blind to: on the required four, a thermostat or relay that keeps calling while the oil is warm.
    """

    alarm = "heat-without-call"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._begins_C = Usual(30)  # the nozzle block when a fire began that was proved later
        self._began_C: float | None = None
        self.plant.on("call", self._call)
        self.plant.on("burner", self._burner)
        self.plant.on("stack-heats", self._heats)
        engine.fire.on_changed.append(self._fire)
        engine.fire.on_proved.append(self._proved)

    def readiness(self) -> Readiness:
        return super().readiness() if self.plant.has("call") else self.blind("call")

    def _wait_ms(self) -> int:
        return round(self.settings.unasked_s * 1000)

    def _call(self, mark: Mark) -> None:
        if mark.on is False:
            self.plant.at(mark.at_ms + self._wait_ms(), self._still_burning)

    def _burner(self, mark: Mark) -> None:
        if mark.on and self.plant.state("call") is False:
            self.plant.at(mark.at_ms + self._wait_ms(), self._still_burning)

    def _heats(self, mark: Mark) -> None:
        if mark.on and self.plant.state("call") is False:
            self.plant.at(mark.at_ms + self._wait_ms(), self._still_hot, self.plant.value("stack"))

    def _no_call(self) -> bool:
        """No call now, nor in the last two minutes."""
        if self.plant.state("call") is not False:
            return False
        _t, x = self.plant.history.window("call", self.plant.now_ms - self._wait_ms(), self.plant.now_ms)
        return not len(x) or bool((x[1:] < 0.5).all())

    def _still_burning(self) -> None:
        running = self.plant.state("burner")
        burning = self.engine.fire.on and running is not False
        if burning and not running and self.plant.state("flame") is None and self._may_have_ended():
            self.plant.at(self.plant.now_ms + AGAIN_MS, self._still_burning)
            return
        if self._no_call() and (running or burning):
            self._raise("critical", "the burner runs on" if running else "the fire goes on")

    def _may_have_ended(self) -> bool:
        """The stack lags and still cools, or nothing was read of it since."""
        span_ms = max(AGAIN_MS, round(3000 * self.plant.sampling.interval_s))
        return self.engine.fire.cooling() or self.plant.slope_per_min("stack", span_ms) is None

    def _still_hot(self, was_C: float | None) -> None:
        now_C = self.plant.value("stack")
        if self._no_call() and was_C is not None and now_C is not None and now_C > was_C + self.settings.stack_rise_K:
            self._raise("critical", "the stack heats up")

    def _fire(self, on: bool | None, at_ms: int) -> None:
        if on is False:
            self.plant.at(at_ms + COOL_MS, self._cooled, at_ms)
        elif on:
            self._began_C = self._nozzle_C(at_ms)
            self.plant.at(at_ms + self._wait_ms(), self._from_cold_oil, at_ms)

    def _nozzle_C(self, t_ms: int) -> float | None:
        """The last reading of the nozzle block by then; at rest they are far apart."""
        x = self.plant.history.window("nozzle", t_ms - LAST_MS, t_ms)[1]
        return float(x[-1]) if len(x) else None

    def _proved(self) -> None:
        if self._began_C is not None and not self.plant.book.standing(self.alarm):
            self._begins_C.add(self._began_C)

    def _from_cold_oil(self, lit_ms: int) -> None:
        """Without `call`: fires begin with heated oil here, and nothing had heated this."""
        fire, usual, began_C = self.engine.fire, self._begins_C, self._began_C
        if self.plant.has("call") or not fire.on or fire.since_ms != lit_ms or began_C is None or usual.count < NEED:
            return
        warm_C = (usual.median or 0.0) - COLDER_K - 3 * (usual.sd or 0.0)
        earlier_C = self._nozzle_C(lit_ms - HEATS_MS)
        heated = earlier_C is None or began_C > earlier_C + HEATS_K
        still_C = self._nozzle_C(self.plant.now_ms)  # the fire may be dated a little early
        if (
            max(began_C, still_C or began_C) < warm_C
            and not heated
            and not self.plant.book.standing("sensor-fault", "nozzle")
        ):
            self._raise("medium", "the oil was cold")

    def _cooled(self, ended_ms: int) -> None:
        fire = self.engine.fire
        if fire.on or fire.last_end_ms != ended_ms or self.plant.state("call"):
            return
        if any(heating.start_ms is not None for heating in self.engine.heating.values()):
            return
        slope = self.plant.slope_per_min("stack", HOT_MS)
        at_end = self.plant.history.mean("stack", ended_ms - 60_000, ended_ms)
        x = self.plant.history.window("stack", self.plant.now_ms - HOT_MS, self.plant.now_ms)[1]
        # the coldest of them: just now the next fire may have been lit
        if slope is None or at_end is None or float(x.min()) < at_end - 0.3 * max(at_end - 20.0, 1.0):
            priority: Priority | None = None
        else:
            priority = "critical" if self.plant.has("call") else "medium"
        if priority is not None and slope is not None and slope > -0.2:
            self._raise(priority, "the stack does not cool")

    def _raise(self, priority: Priority, reason: str) -> None:
        self.plant.raise_(self.alarm, priority, reason=reason, stack_C=self.plant.value("stack"))
        self.plant.at(self.plant.now_ms + 300_000, self._gone)

    def _gone(self) -> None:
        if self.plant.book.standing(self.alarm) is None:
            return
        slope = self.plant.slope_per_min("stack", 300_000)
        cooling = slope is not None and slope < 0.5 and not self.engine.fire.on
        if self.plant.state("call") or (cooling and self.plant.state("burner") is not True):
            self.plant.clear(self.alarm)
        else:
            self.plant.at(self.plant.now_ms + 300_000, self._gone)
