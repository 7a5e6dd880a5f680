"""`refill-overdue`: far more oil has been burned since the last refill than the float lets pass."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.pump import Run
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine


NEED = 10
STILL_AGAIN_MS = 300_000
MISSED_RATIO = 1.1  # of the usual burning: from there on a dip is asked for at the end of a firing


class RefillOverdue(Detector):
    """The owner sees: the day tank should have been refilled by now.

    Rule: burning time since the last refill > 1.6 x its usual value (median of the furnace's own intervals); with
    1.6 -> 2.2 while learning, and one interval more where samples may step over a run. A cold dip of the day tank since
    then tells of a refill whose run was not seen: it is let pass where rows were lost; else one is (more where samples
    on a fixed grid often step over a run), then the pump's sensing is at fault and this rings. Source: contract.
    Wrong: a firing rate cut by nearly half (a plugging nozzle: worth a look as well); 1 in 3 seasons.
    Blind to: refills missed in a silence of the board (it then waits for the next one).
    """

    alarm = "refill-overdue"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._looking = 0  # the number of the look that is due; an older one is void
        engine.fire.on_changed.append(self._fire)
        engine.pump.on_ended.append(self._ended)

    def readiness(self) -> Readiness:
        return self.learned(self.engine.refills.usual_burned_s.count, NEED)

    def _limit_s(self) -> float | None:
        usual = self.engine.refills.usual_burned_s
        if usual.count < 5 or usual.median is None:
            return None
        over = self.settings.overdue_ratio - 1 + (1.0 if self.engine.refills.coarse else 0.0)
        return usual.median * (1 + over * (self.settings.learning_factor if usual.count < NEED else 1))

    def _fire(self, on: bool | None, at_ms: int) -> None:
        if on:
            self._look()
        elif on is False:
            self._rested()

    def _rested(self) -> None:
        """The fire has ended: while the day tank is still remembered, did it take in a refill nobody saw?"""
        refills = self.engine.refills
        burned, usual = refills.burned_since_last_s(), refills.usual_burned_s
        if burned is None or usual.count < 5 or burned < MISSED_RATIO * (usual.median or 0.0):
            return
        self._told_by_the_tank()

    def _told_by_the_tank(self) -> bool:
        """Whether the day tank tells of a refill whose run was not seen; burning then counts from it."""
        refills = self.engine.refills
        if (hidden_ms := refills.hidden_ms()) is not None:
            refills.take_unseen(hidden_ms, hidden=True)
            return True
        if not refills.sensing_lost() and (dip_ms := refills.unseen_ms()) is not None:
            refills.take_unseen(dip_ms)
            return True
        return False

    def _ended(self, run: Run) -> None:
        if run.known and run.on_s >= self.settings.chatter_run_s:
            self.plant.clear(self.alarm, at_ms=run.end_ms)
            if self.engine.fire.on:
                self._look()

    def _look(self) -> None:
        """Look again when the burning time will have reached the limit, if the fire goes on."""
        limit, burned = self._limit_s(), self.engine.refills.burned_since_last_s()
        if limit is None or burned is None or not self.engine.fire.on or self.engine.pump.start_ms is not None:
            return
        if burned > limit and self._told_by_the_tank():
            self._look()
        elif burned > limit and self.engine.fire.stands_still():
            self._again(STILL_AGAIN_MS)  # does it burn at all? `sensor-fault` will tell
        elif burned > limit:
            calls = self.plant.state("float")
            detail: dict[str, Any] = {} if calls is None else {"float_calls": calls}
            usual = self.engine.refills.usual_burned_s.median or 0.0
            self.plant.raise_(
                self.alarm,
                self.capped("high"),
                burned_min=round(burned / 60, 1),
                usual_min=round(usual / 60, 1),
                **detail,
            )
        else:
            self._again(round((limit - burned) * 1000) + 1000)

    def _again(self, wait_ms: int) -> None:
        self._looking += 1
        self.plant.at(self.plant.now_ms + wait_ms, self._due, self._looking)

    def _due(self, number: int) -> None:
        if number == self._looking:
            self._look()
