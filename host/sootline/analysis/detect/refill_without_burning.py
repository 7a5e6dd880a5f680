"""`refill-without-burning`: the day tank was refilled twice and hardly anything burned in between."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.pump import Run
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

LEAST, HALF, CHANCE_SD = 0.3, 0.5, 5.0  # of the usual interval
WHOLE = 0.5  # a run below this share of the usual one only topped the tank up


class RefillWithoutBurning(Detector):
    """The owner sees: oil is going somewhere other than the fire.

    Rule: two whole refills within 6 h with less than 5 min burned between them, neither of them stopped by the limiter.
    Source: contract. For small floats that call every few minutes: at most half the usual interval, or as far as that
    less 5 of its own sd, but at least 0.3 of it.
    Wrong: a tank drained and filled by hand, a first fill; 1 in 3 seasons.
    Blind to: a leak slower than one differential in 6 h.
    """

    alarm = "refill-without-burning"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._last: Run | None = None
        self._burned_s = 0.0
        self._sight = 0
        engine.pump.on_ended.append(self._ended)

    def readiness(self) -> Readiness:
        return self.learned(self.engine.refills.usual_on_s.count, 10)

    def _ended(self, run: Run) -> None:
        last = self._last
        refills = self.engine.refills
        usual_s, usual_burned_s = refills.usual_on_s.median, refills.usual_burned_s.median
        whole = run.known and usual_s is not None and run.on_s >= WHOLE * usual_s and not refills.at_limit(run.on_s)
        burned_before, sight_before = self._burned_s, self._sight
        burned_s, sight = self.engine.fire.burned_s(), self.engine.fire.losses_of_sight
        self._last, self._burned_s, self._sight = (run if whole else None), burned_s, sight
        if not whole or usual_burned_s is None or refills.usual_on_s.count < 5:
            return
        if last is None or self.engine.fire.on is None or sight != sight_before:
            return
        between_s = burned_s - burned_before
        if between_s >= HALF * usual_burned_s:
            self.plant.clear(self.alarm, at_ms=run.end_ms)
            return
        lowest_s = usual_burned_s - CHANCE_SD * (refills.usual_burned_s.sd or 0.0)
        allowed_s = min(self.settings.idle_refill_burned_s, max(LEAST * usual_burned_s, lowest_s))
        apart_s = (run.start_ms - last.end_ms) / 1000
        if apart_s < self.settings.idle_refill_window_s and between_s < allowed_s:
            self.plant.raise_(
                self.alarm, self.capped("high"), at_ms=run.end_ms,
                burned_s=round(between_s), apart_min=round(apart_s / 60, 1),
            )  # fmt: skip
