"""`stack-rising`: the stack runs hotter than when clean; ash is the usual reason. Carries the cleaning advice."""

from __future__ import annotations

import math
from collections import deque
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from sootline.alarms import Priority
from sootline.analysis.course import Course, generator
from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.steady import NEED, Steady
from sootline.errors import OutOfRange
from sootline.heat.burning_hours import sample_burning_hours
from sootline.heat.cleaning_date import Limits, cleaning_date
from sootline.heat.cleaning_limits import RiseLimit
from sootline.heat.fouling_fit import fit_fouling
from sootline.now import Readiness
from sootline.profile import LogEntry

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

DAY_MS = 86_400_000
RISE_K, RISE_SD, MEAN_DAYS, BACK_DAYS, SOON_DAYS = 20.0, 4.0, 5.0, 10.0, 14.0
AT_RISE_K = 41.7  # 75 degF: boiler makers' practice, when the owner has no limit of his own
STACK_MARGIN_K = 40.0  # below the furnace's or vent's own limit (common practice)
Z80 = 1.2816  # standard normal: 80 % between -Z80 and +Z80
AHEAD_DAYS, DRAWS, ROWS = 180, 400, 60  # 30 ms of one core, once a day
OFF_COURSE_K = 10.0  # beyond weather left in ten days of firings (common practice: 5 to 10 K, unnormalised)
LIMIT_SD_K = {"rise": 0.0, "stack limit": 5.0}  # how well each limit is known; scatter of the clean stack
Advice = tuple[float, float, float, str]  # days until cleaning is due, earliest, latest, which limit


class StackRising(Detector):
    """The owner sees: so many kelvin over clean, and between which days to clean.

    Rule: 5-day mean of the residual stack [K] (follow/steady.py) above clean by > max(20 K, 4 residual sd). Once a day
    while it stands, its numbers are worked out anew: the rise now is the line through the last 10 days at its end; the
    date comes from fouling laws fitted to all days since clean, drawn forward through burning hours like those of late,
    to the first limit: the owner's own (else 42 K), or the stack limit less 40 K, with the 80 % range; from the line
    alone while there are fewer than 6 days, or where it has left the fitted course by over 10 K or 2 sd. Money hurries
    nobody: `sootline cleaning` has it.
    Low; medium when the date is within 14 days. Returns with a cleaning entry, or below 2/3 for 10 days.
    Source: contract; 75 degF over clean, boiler makers' practice.
    Wrong: with 5 K day-to-day scatter none in 2000 simulated clean seasons; the limit scales with the scatter.
    Blind to: whether it is ash; blower, batch, probe and firing rate look alike.
    """

    alarm = "stack-rising"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._restart()
        engine.stack.on_steady.append(self._steady)
        self.plant.on_log(self._logged)

    def _restart(self) -> None:
        self.points: deque[tuple[int, float, float]] = deque()
        self._recent: deque[tuple[int, float]] = deque()  # time and residual of those that make the mean
        self._told_on: int | None = None  # the day of the numbers in the record
        self._below_since: int | None = None
        self.course: Course | None = None

    def readiness(self) -> Readiness:
        return self.learned(self.engine.stack.learned, NEED)

    def _logged(self, entry: LogEntry) -> None:
        if entry.kind == "cleaning":
            self.plant.clear(self.alarm, at_ms=entry.at_ms)
            self._restart()
            self.course = Course(entry.at_ms, self.engine.fire.burned_s() / 3600)
        elif entry.kind == "batch" and self.course is not None:
            self.course.batch(self.engine.fire.burned_s() / 3600)

    def _steady(self, steady: Steady) -> None:
        if self.course is None:  # nobody has said that it was clean: counted from the first firing seen
            self.course = Course(steady.t_ms, steady.burned_h)
        self.course.add(steady.t_ms, steady.burned_h, steady.residual_K)
        if steady.residual_K is None:
            return
        self.points.append((steady.t_ms, steady.burned_h, steady.residual_K))
        while self.points[0][0] < steady.t_ms - 2 * MEAN_DAYS * DAY_MS:
            self.points.popleft()
        self._recent.append((steady.t_ms, steady.residual_K))
        while self._recent[0][0] < steady.t_ms - MEAN_DAYS * DAY_MS:
            self._recent.popleft()
        if len(self._recent) < 5:
            return
        mean = math.fsum(residual_K for _, residual_K in self._recent) / len(self._recent)
        limit = max(RISE_K, RISE_SD * self.engine.stack.sd_K)
        if mean > limit:
            self._below_since = None
            if self._told_on != steady.t_ms // DAY_MS or self.plant.book.standing(self.alarm) is None:
                self._told_on = steady.t_ms // DAY_MS
                self._raise(steady)
        elif mean < limit * 2 / 3:
            self._below_since = self._below_since or steady.t_ms
            if steady.t_ms - self._below_since >= BACK_DAYS * DAY_MS:
                self.plant.clear(self.alarm)

    def _raise(self, steady: Steady) -> None:
        rise, slope, slope_se = self._line()
        standing = self.plant.book.standing(self.alarm)
        detail: dict[str, Any] = {
            "rise_K": round(rise, 1) if standing is None else standing.detail["rise_K"],  # why it was raised
            "rise_now_K": round(rise, 1),
            "slope_K_per_100h": round(slope * 100, 1),
            "residual_sd_K": round(self.engine.stack.sd_K, 1),
            "firings": len(self.points),
            "compared_with": "clean" if self._declared_clean() else "the first weeks",
        }
        priority: Priority = "low"
        advice = self._advice(steady.t_ms, rise, slope, slope_se)
        if advice is not None:
            days, early, late, binding = advice
            detail |= {
                "clean_by": _day(steady.t_ms, days),
                "clean_from": _day(steady.t_ms, early),
                "clean_to": _day(steady.t_ms, late),
                "binding": binding,
            }
            priority = "medium" if days < SOON_DAYS else "low"
        self.plant.raise_(self.alarm, priority, **detail)

    def _line(self) -> tuple[float, float, float]:
        """Rise now [K], slope [K/h] and its standard error, least squares over burning hours."""
        hours = [h for _, h, _ in self.points]
        values = [r for _, _, r in self.points]
        n = len(values)
        mean_h, mean_r = math.fsum(hours) / n, math.fsum(values) / n
        sxx = math.fsum((h - mean_h) ** 2 for h in hours)
        if sxx <= 0:
            return mean_r, 0.0, 1.0
        slope = math.fsum((h - mean_h) * (r - mean_r) for h, r in zip(hours, values, strict=True)) / sxx
        left = math.fsum((r - mean_r - slope * (h - mean_h)) ** 2 for h, r in zip(hours, values, strict=True))
        se = math.sqrt(max(left / max(n - 2, 1), 1.0) / sxx)
        return mean_r + slope * (hours[-1] - mean_h), slope, se

    def _limits(self) -> dict[str, float]:
        """Rise [K] at which to clean, by the name of the limit."""
        limits = {"rise": self.plant.profile.cleaning.at_rise_K or AT_RISE_K}
        stack_limit, level = self.plant.profile.stack.limit_C, self.plant.value("stack")
        if stack_limit is not None and level is not None and self.engine.stack.baseline is not None:
            reference = self.plant.value("return_air") or self.plant.value("room") or 0.0
            limits["stack limit"] = stack_limit - STACK_MARGIN_K - self.engine.stack.baseline.level_K - reference
        return limits

    def _advice(self, now_ms: int, rise: float, slope: float, slope_se: float) -> Advice | None:
        """When cleaning is due: from the whole course; from the line while that refuses."""
        try:
            return self._by_course(now_ms, rise)
        except OutOfRange:
            return self._by_line(rise, slope, slope_se)

    def _by_course(self, now_ms: int, rise: float) -> Advice | None:
        """From the fitted fouling laws; None where no limit is reached in the next half year.

        Raises: OutOfRange while there are too few days, or when the last days have left what the laws can follow
        """
        assert self.course is not None
        record, recent_h = self.course.record(ROWS), self.course.recent_h()
        draw = generator(self.plant.profile.furnace.id, now_ms)
        ahead_h = sample_burning_hours(recent_h, AHEAD_DAYS, DRAWS, draw)
        limits = Limits({name: RiseLimit(at_K, LIMIT_SD_K[name]) for name, at_K in self._limits().items()})
        due = cleaning_date(fit_fouling(record), self.course.now_h, ahead_h, limits, draw)
        if abs(rise - due.now_K) > max(OFF_COURSE_K, 2 * self.engine.stack.sd_K):
            raise OutOfRange("the stack has left its course")
        if math.isinf(due.date.median):
            return None
        return due.date.median, due.date.low, min(due.date.high, AHEAD_DAYS), due.binding

    def _by_line(self, rise: float, slope: float, slope_se: float) -> Advice | None:
        """From the line through the last days; None without a rising trend."""
        span_days = max((self.points[-1][0] - self.points[0][0]) / DAY_MS, 1.0)
        hours_per_day = (self.points[-1][1] - self.points[0][1]) / span_days
        limits = self._limits()
        binding = min(limits, key=lambda name: limits[name])
        left_K = limits[binding] - rise
        if left_K <= 0:
            return 0.0, 0.0, 0.0, binding
        if slope <= 0 or hours_per_day <= 0:
            return None
        fast, slow = slope + Z80 * slope_se, max(slope - Z80 * slope_se, slope / 4)
        early, late = left_K / fast / hours_per_day, left_K / slow / hours_per_day
        return left_K / slope / hours_per_day, early, late, binding

    def _declared_clean(self) -> bool:
        return self.engine.stack.clean_since_ms is not None or self.plant.profile.furnace.clean_on is not None


def _day(now_ms: int, days: float) -> str:
    return datetime.fromtimestamp(now_ms / 1000 + min(days, 3650.0) * 86_400, UTC).date().isoformat()
