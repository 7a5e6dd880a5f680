"""`supply-low`: the supply tank runs out within the notice the owner wants."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from sootline.alarms import Priority, iso
from sootline.analysis.detect.base import Detector
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

LOOK_MS, DAY_MS = 3_600_000, 86_400_000
SPAN_DAYS = 4.0
RISE = 0.05  # of the tank: it was filled


class SupplyLow(Detector):
    """The owner sees: oil for so many days at the present rate.

    Rule, looked at hourly: days left = level / use, use = least squares of the hourly level over up to 4 days since the
    last filling (at least 12 h). Under the notice: medium; inside 12 h: high. Returns when filled.
    Source: contract. Wrong: at the first cold day of a warm spell it comes late, not falsely; 1 in 3 seasons.
    Blind to: without `supply_level`.
    """

    alarm = "supply-low"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._levels: deque[tuple[int, float]] = deque()
        engine.every(LOOK_MS, self._look)

    def readiness(self) -> Readiness:
        return super().readiness() if self.plant.has("supply_level") else self.blind("supply_level")

    def _look(self) -> None:
        now = self.plant.now_ms
        level = self.plant.history.mean("supply_level", now - LOOK_MS, now)
        if level is None:
            return
        if self._levels and level > min(value for _, value in self._levels) + RISE:
            self._levels.clear()
            self.plant.clear(self.alarm)
        self._levels.append((now, level))
        while self._levels[0][0] < now - SPAN_DAYS * DAY_MS:
            self._levels.popleft()
        use = self._use_per_day()
        if use is None or use <= 0:
            return
        days = max(level, 0.0) / use
        notice = self.plant.profile.supply.notice_days or self.settings.supply_notice_days
        if days < notice:
            priority: Priority = "high" if days * 24 < self.settings.supply_urgent_h else "medium"
            self.plant.raise_(
                self.alarm, priority, level_ratio=round(level, 3), days_left=round(days, 2),
                runs_out_at=iso(now + round(days * DAY_MS)),
            )  # fmt: skip

    def _use_per_day(self) -> float | None:
        if len(self._levels) < 12:
            return None
        t0 = self._levels[0][0]
        days = [(t - t0) / DAY_MS for t, _ in self._levels]
        mean_t = sum(days) / len(days)
        mean_x = sum(x for _, x in self._levels) / len(days)
        sxx = sum((t - mean_t) ** 2 for t in days)
        sxy = sum((t - mean_t) * (x - mean_x) for t, (_, x) in zip(days, self._levels, strict=True))
        return -sxy / sxx
