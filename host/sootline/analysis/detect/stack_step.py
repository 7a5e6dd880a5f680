"""`stack-step`: the steady stack has jumped from one level to another: air, nozzle, fuel, draft or blower; not ash."""

from __future__ import annotations

import statistics
from collections import deque
from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.steady import NEED, Steady
from sootline.now import Readiness
from sootline.profile import LogEntry

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

SIDE = 5
DAY_MS = 86_400_000


class StackStep(Detector):
    """The owner sees: the stack jumped by so many kelvin at about this time.

    Rule: medians of the 5 firings before and the 5 after differ by > max(15 K, 4 sd), within 4 days, and no log entry
    lies within 3 firings. The step is kept out of the rise that is taken for ash. Returns with a log entry, or when the
    level is back within half the step. Source: contract.
    Wrong: sd of a median of 5 is 0.54 sd, so 4 sd is 5 of the difference's: below 1 in 10 seasons from scatter.
    Blind to: steps smaller than that, and two within 5 firings.
    """

    alarm = "stack-step"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._restart()
        engine.stack.on_steady.append(self._steady)
        self.plant.on_log(self._logged)

    def _restart(self) -> None:
        self.last: deque[tuple[int, float, float | None]] = deque(maxlen=2 * SIDE)
        self.step_K: float | None = None

    def readiness(self) -> Readiness:
        return self.learned(self.engine.stack.learned, NEED)

    def _logged(self, entry: LogEntry) -> None:
        self.plant.clear(self.alarm, at_ms=entry.at_ms)
        self._restart()

    def _steady(self, steady: Steady) -> None:
        if steady.residual_K is None:
            return
        self.last.append((steady.t_ms, steady.residual_K, steady.supply_rise_K))
        if len(self.last) < 2 * SIDE or self.last[-1][0] - self.last[0][0] > 4 * DAY_MS:
            return
        points = list(self.last)
        before, after = points[:SIDE], points[SIDE:]
        step = statistics.median(p[1] for p in after) - statistics.median(p[1] for p in before)
        limit = max(self.settings.step_K, self.settings.step_sd * self.engine.stack.sd_K)
        if not (self.plant.has("return_air") or self.plant.has("room")):
            limit *= self.settings.step_unreferred
        if abs(step) <= limit:
            return
        if self.step_K is not None and abs(self.step_K + step) < 0.5 * abs(self.step_K):
            self.plant.clear(self.alarm)
            self.step_K = None
        else:
            self.step_K = step
            self.plant.raise_(
                self.alarm,
                "medium",
                at_ms=after[0][0],
                step_K=round(step, 1),
                supply_air_step_K=_difference(before, after),
            )
        self.engine.stack.explain(step)
        self.last.clear()


def _difference(
    before: list[tuple[int, float, float | None]], after: list[tuple[int, float, float | None]]
) -> float | None:
    """Change of the air's temperature rise through the furnace [K]; None where it is not measured."""
    was = [p[2] for p in before if p[2] is not None]
    now = [p[2] for p in after if p[2] is not None]
    return round(statistics.median(now) - statistics.median(was), 1) if was and now else None
