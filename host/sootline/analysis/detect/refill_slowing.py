"""`refill-slowing`: refills take ever longer at the same oil temperature; the filter or strainer is plugging."""

from __future__ import annotations

import math
import statistics
from collections import deque
from typing import TYPE_CHECKING, Any

import numpy as np

from sootline.alarms import Priority
from sootline.analysis.detect.base import Detector
from sootline.analysis.usual import MAD_TO_SD
from sootline.events import Event
from sootline.now import Readiness
from sootline.profile import LogEntry

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

DAY_MS = 86_400_000
NEED = 30
PRIOR_SLOPE_SD = 0.008  # 1/K: how far the cold-oil slope of one furnace may lie from the common one
WIDE_SLOPE_SD = 0.03  # 1/K: the same over a wide range of temperatures, where thick oil starves the pump
KEPT = 200  # refills that tell the slope anew
USUAL_OIL_C, PLAIN_DIP_K = 10.0, 2.0  # cold store (common practice); a smaller dip tells too little
MIN_SD = 0.03  # log seconds: timing and float scatter below which no furnace stays


class RefillSlowing(Detector):
    """The owner sees: the refill filter is plugging, and about when the limiter will trip.

    Rule: y = ln(seconds per refill) - b (T_oil - T0), b [1/K] from the furnace's first 30 refills with the common slope
    as prior (cold oil is thick and slow). T_oil from `supply`; else from the dip d of the day tank, for as much oil
    cools it the more the colder it comes: T_tank - k d, k such that the usual dip is oil of 10 degC, and b is the
    common slope; else `outdoor`.
    Median of 20 refills above the baseline by > ln 1.3 and > 4 residual sd, also with b fitted anew, beside a trend in
    time, to the last 200: oil thickens faster the colder it is. The date is where the Theil-Sen line of the last 20
    reaches the limit. Returns below 2/3 of that for 10 refills, or with a filter entry.
    Source: contract; ASTM D341 for why cold oil slows; enthalpy balance of the day tank.
    Wrong: a thicker batch without an entry; 1 in 5 seasons.
    Blind to: a filter that fails within 20 refills (`refill-timeout` sees that).
    """

    alarm = "refill-slowing"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._restart()
        self.plant.on_event("refill", self._refilled, learns=True)
        self.plant.on_log(self._logged)

    def _restart(self) -> None:
        self.learning_set: list[tuple[float, Event]] = []
        self.level: float | None = None
        self.sd = MIN_SD
        self.slope = self.settings.cold_oil_per_K
        self.reference_C: float | None = None
        self.on_s: deque[float] = deque(maxlen=10)
        self.per_dip: float | None = None  # k above
        self.oil_C: deque[float] = deque(maxlen=5)  # by the last dips: stored oil changes slowly, single dips scatter
        self.all: deque[tuple[int, float, float]] = deque(maxlen=KEPT)
        self.recent: deque[tuple[int, float]] = deque(maxlen=round(self.settings.slowing_refills))
        self.below = 0

    def readiness(self) -> Readiness:
        have = NEED if self.level is not None else min(len(self.learning_set), NEED - 1)
        return self.learned(have, NEED)

    def _logged(self, entry: LogEntry) -> None:
        if entry.kind in ("filter", "batch"):
            self.plant.clear(self.alarm, at_ms=entry.at_ms)
            self._restart()

    def _refilled(self, event: Event) -> None:
        seconds = event.number("on_time_s")
        if event.features["stalled"] or seconds is None or seconds <= 0:
            return
        self.on_s.append(seconds)
        if self.engine.pump.resolution_s > 1.0:  # whole samples: only their mean is the time that the pump ran
            seconds = statistics.fmean(self.on_s)
        y = math.log(seconds)
        if self.level is None:
            self.learning_set.append((y, event))
            if len(self.learning_set) >= NEED:
                self._learn()
            return
        oil_C = self._oil_C(event)
        self.recent.append((event.end_ms, y - self._cold(oil_C)))
        if oil_C is not None:
            self.all.append((event.end_ms, y, oil_C))
        if len(self.recent) == self.recent.maxlen:
            self._judge(event.end_ms)

    def _oil_C(self, event: Event) -> float | None:
        """The oil that came [degC], or what stands for it."""
        if (supply := event.number("supply_C")) is not None:
            return supply
        dip, tank = event.number("dip_K"), event.number("tank_C")
        if self.per_dip is not None:
            if dip is not None and tank is not None:
                self.oil_C.append(tank - self.per_dip * dip)
            return statistics.median(self.oil_C) if self.oil_C else None
        return event.number("outdoor_C")

    def _learn_dips(self) -> None:
        known = [
            (dip, tank)
            for _, event in self.learning_set
            if (dip := event.number("dip_K")) is not None and (tank := event.number("tank_C")) is not None
        ]
        usual_K = statistics.median(dip for dip, _ in known) if len(known) >= NEED // 2 else 0.0
        if usual_K > PLAIN_DIP_K:
            self.per_dip = (statistics.median(tank for _, tank in known) - USUAL_OIL_C) / usual_K

    def _cold(self, oil_C: float | None) -> float:
        if oil_C is None or self.reference_C is None:
            return 0.0
        return self.slope * (oil_C - self.reference_C)

    def _learn(self) -> None:
        """Level, slope (shrunk to the common one) and scatter of the first refills; frozen from here on."""
        self._learn_dips()
        learned = [(y, event.end_ms, self._oil_C(event)) for y, event in self.learning_set]
        self.learning_set = []
        pairs = [(y, oil) for y, _, oil in learned if oil is not None]
        self.all.extend((t, y, oil) for y, t, oil in learned if oil is not None)
        if len(pairs) >= NEED // 2:
            self.reference_C = statistics.median(oil for _, oil in pairs)
            if self.per_dip is None:  # single dips scatter more than the oil's temperature in a few days
                self.slope = self._fitted(pairs)
        corrected = [y - self._cold(oil) for y, _, oil in learned]
        self.level = statistics.median(corrected)
        self.sd = max(MIN_SD, MAD_TO_SD * statistics.median(abs(y - self.level) for y in corrected))

    def _fitted(self, pairs: list[tuple[float, float]]) -> float:
        """Least squares of (log seconds, oil [degC]), drawn to the common slope [1/K]."""
        middle = statistics.fmean(oil for _, oil in pairs)
        sxx = sum((oil - middle) ** 2 for _, oil in pairs)
        sxy = sum((oil - middle) * y for y, oil in pairs)
        weight = MIN_SD**2 / PRIOR_SLOPE_SD**2
        return (sxy + weight * self.settings.cold_oil_per_K) / (sxx + weight)

    def _judge(self, now_ms: int) -> None:
        assert self.level is not None
        rise = statistics.median(y for _, y in self.recent) - self.level
        limit = max(math.log1p(self.settings.slowing_ratio), self.settings.slowing_sd * self.sd)
        if rise > limit:
            rise = min(rise, self._rise_refitted())
        if rise > limit:
            self.below = 0
            days = self._days_to_limit()
            soon = days is not None and days < self.settings.slowing_soon_days
            priority: Priority = "medium" if soon else "low"
            detail: dict[str, Any] = {} if days is None else {"limit_in_days": round(days, 1)}
            self.plant.raise_(
                self.alarm, priority, at_ms=now_ms, slower_ratio=round(math.exp(rise), 3),
                usual_s=round(math.exp(self.level), 1), **detail,
            )  # fmt: skip
        elif rise < limit * 2 / 3:
            self.below += 1
            if self.below >= 10:
                self.plant.clear(self.alarm, at_ms=now_ms)

    def _rise_refitted(self) -> float:
        """The rise with the effect of cold oil as the last refills show it, a trend in time beside it."""
        assert self.level is not None
        if self.reference_C is None or len(self.all) < 2 * NEED:
            return math.inf
        t, y, oil = (np.array(column, np.float64) for column in zip(*self.all, strict=True))
        x = np.stack([np.ones(len(y)), (t - t.mean()) / DAY_MS, oil - oil.mean()], axis=1)
        weight = np.diag([0.0, 0.0, (self.sd / WIDE_SLOPE_SD) ** 2])
        prior = weight @ np.array([0.0, 0.0, self.settings.cold_oil_per_K])
        slope = float(np.linalg.solve(x.T @ x + weight, x.T @ y + prior)[2])
        last = slice(-len(self.recent), None)
        return float(np.median(y[last] - min(slope, 0.0) * (oil[last] - self.reference_C))) - self.level

    def _days_to_limit(self) -> float | None:
        """Days until the trend of the last refills reaches the limiter; None without a limit or a rising trend."""
        limit_s = self.engine.refills.limit_s
        if limit_s is None:
            return None
        points = list(self.recent)
        slopes = [
            (y2 - y1) / (t2 - t1)
            for i, (t1, y1) in enumerate(points)
            for t2, y2 in points[i + 1 :]
            if t2 - t1 > 600_000
        ]
        if not slopes or (slope := statistics.median(slopes)) <= 0:
            return None
        level = statistics.median(y for _, y in points)
        return max(0.0, (math.log(limit_s) - level) / slope / DAY_MS)
