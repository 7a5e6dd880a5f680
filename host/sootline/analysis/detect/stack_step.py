"""`stack-step`: the steady stack has jumped from one level to another: air, nozzle, fuel, draft or blower; not ash."""

from __future__ import annotations

import math
import statistics
from collections import deque
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from sootline.alarms import iso
from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.steady import NEED, Steady
from sootline.now import Readiness
from sootline.profile import LogEntry

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

SIDE = 5
CLEAR_OF = 4  # of the five on each side must lie on their own side of the middle
DAY_MS = 86_400_000
USUAL = 40  # neighbouring fives, and neighbouring days, that tell how far they usually lie apart


class _Point(NamedTuple):
    t_ms: int
    level_K: float  # residual with what was explained left in
    supply_rise_K: float | None
    z: Mapping[str, float | None] = {}  # what was measured that moves the stack without a step


class StackStep(Detector):
    """The owner sees: the stack jumped by so many kelvin at about this time.

    Rule: medians of the 5 firings before and the 5 after differ by D, |D| > max(15 K, 4 sd, 4.5 sd_D), within 4 days,
    at least 4 of 5 on their own side of the middle, and no log entry within 3 firings. sd_D is the sd of such
    differences at this furnace so far: of neighbouring fives, or of the medians of neighbouring days, whichever is
    larger; days resemble each other less than firings do, so the scatter of firings alone would promise too much.
    Where what moves the stack without a step (air, outdoor, ...: follow/steady.py) has changed by d, the limit is the
    root of its square and (4 s d)^2, s the sd of the slope: large until it has changed so far while that was learned.
    Five firings more confirm it: then the step is kept out of the rise that is taken for ash; else it has gone.
    Returns with a log entry, or when five firings are back within half the step.
    Source: contract; variance between and within groups, any text on analysis of variance.
    Wrong: at 4.5 sd of a normal D tested 200 times a season, 1 in 700 seasons; some 1 in 20 for heavier tails.
    Blind to: steps smaller than that, and two within 5 firings.
    """

    alarm = "stack-step"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._fives: deque[float] = deque(maxlen=USUAL)
        self._days: deque[float] = deque(maxlen=USUAL)
        self._today: list[_Point] = []
        self._yesterday_K: float | None = None
        self._learning = True
        self._restart()
        engine.stack.on_steady.append(self._steady)
        self.plant.on_log(self._logged)

    def _restart(self) -> None:
        self.last: deque[_Point] = deque(maxlen=2 * SIDE)
        self._count = 0  # firings since the last difference of neighbouring fives
        self._was_K = 0.0  # the level before the step that stands
        self.step_K: float | None = None
        self._confirmed = False
        self._since = 0  # firings since it was raised
        self._today, self._yesterday_K = [], None

    def readiness(self) -> Readiness:
        return self.learned(self.engine.stack.learned, NEED)

    def _logged(self, entry: LogEntry) -> None:
        self.plant.clear(self.alarm, at_ms=entry.at_ms)
        self._restart()

    def _steady(self, steady: Steady) -> None:
        stack = self.engine.stack
        if steady.residual_K is None:
            if stack.baseline is None:
                self._learning = True
                self._add(_Point(steady.t_ms, steady.net_K, None))
            return
        if self._learning:
            self._learning = False
            self._restart()
        self._add(_Point(steady.t_ms, steady.residual_K + stack.offset_K, steady.supply_rise_K, steady.z))
        if self.step_K is not None:
            self._follow()
        elif len(self.last) == 2 * SIDE:
            self._look()

    def _add(self, point: _Point) -> None:
        self.last.append(point)
        self._count += 1
        if self._count >= SIDE and len(self.last) == 2 * SIDE and self.step_K is None:
            self._count = 0
            self._fives.append(self._difference_K())
        if self._today and self._today[-1].t_ms // DAY_MS != point.t_ms // DAY_MS:
            level_K = statistics.median(p.level_K for p in self._today)
            if self._yesterday_K is not None and self.step_K is None:
                self._days.append(level_K - self._yesterday_K)
            self._today, self._yesterday_K = [], level_K
        self._today.append(point)

    def _sides(self) -> tuple[list[float], list[float]]:
        levels = [point.level_K for point in self.last]
        return levels[:SIDE], levels[SIDE:]

    def _difference_K(self) -> float:
        before, after = self._sides()
        return statistics.median(after) - statistics.median(before)

    def limit_K(self) -> float:
        """How far the medians must lie apart [K]."""
        settings = self.settings
        usual = max(_sd(self._fives), _sd(self._days))
        limit = max(settings.step_K, settings.step_sd * self.engine.stack.sd_K, settings.step_usual_sd * usual)
        referred = self.plant.has("return_air") or self.plant.has("room")
        if not referred:
            return limit * settings.step_unreferred
        baseline = self.engine.stack.baseline
        apart = (sd * _apart(self.last, name) for name, sd in (baseline.slope_sd if baseline else {}).items())
        return math.hypot(limit, settings.step_sd * math.hypot(*apart))

    def _look(self) -> None:
        points = list(self.last)
        if points[-1].t_ms - points[0].t_ms > 4 * DAY_MS:
            return
        step = self._difference_K()
        before, after = self._sides()
        middle = (statistics.median(before) + statistics.median(after)) / 2
        apart = min(sum((x < middle) == (step > 0) for x in before), sum((x > middle) == (step > 0) for x in after))
        if abs(step) <= self.limit_K() or apart < CLEAR_OF:
            return
        self.step_K, self._was_K, self._confirmed, self._since = step, statistics.median(before), False, 0
        self.engine.stack.suspect(SIDE)
        self.plant.raise_(
            self.alarm,
            "medium",
            step_K=round(step, 1),
            stepped_at=iso(points[SIDE].t_ms),
            supply_air_step_K=_supply_step_K(points),
        )

    def _follow(self) -> None:
        """Five firings more: back again, or here to stay."""
        self._since += 1
        if self._since < SIDE:
            return
        assert self.step_K is not None
        after = statistics.median(self._sides()[1])
        if abs(after - self._was_K) < 0.5 * abs(self.step_K):
            self.plant.clear(self.alarm)
            if self._confirmed:
                self.engine.stack.explain(-self.step_K)
            self.engine.stack.acquit()
            self._restart()
        elif not self._confirmed:
            self._confirmed = True
            self.step_K = statistics.median(point.level_K for point in self.last) - self._was_K
            self.engine.stack.explain(self.step_K)


def _sd(differences: deque[float]) -> float:
    """Sd of differences about nothing, the largest left out (it may have been a step) and what that takes put back.

    Widened while few are known; 0 below three.
    """
    n = len(differences)
    if n < 3:
        return 0.0
    least = sorted(abs(x) for x in differences)[:-1]
    return math.hypot(*least) / math.sqrt(len(least)) * (1 + 3 / n)


def _apart(points: Sequence[_Point], name: str) -> float:
    """By how much a covariate differs from one five to the other; 0 where it is not measured."""
    sides = (list(points)[:SIDE], list(points)[SIDE:])
    told = [[value for p in side if (value := p.z.get(name)) is not None] for side in sides]
    return abs(statistics.median(told[0]) - statistics.median(told[1])) if all(told) else 0.0


def _supply_step_K(points: list[_Point]) -> float | None:
    """Change of the air's temperature rise through the furnace [K]; None where it is not measured."""
    was = [p.supply_rise_K for p in points[:SIDE] if p.supply_rise_K is not None]
    now = [p.supply_rise_K for p in points[SIDE:] if p.supply_rise_K is not None]
    return round(statistics.median(now) - statistics.median(was), 1) if was and now else None
