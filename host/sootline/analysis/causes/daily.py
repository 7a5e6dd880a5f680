"""A feature of one furnace over weeks: its last values, and the median of each day before."""

import statistics
from collections import deque

DAY_MS = 86_400_000


class Daily:
    """`usual` leaves the present day and the last values out, so that a fault does not become its own yardstick."""

    def __init__(self) -> None:
        self._recent: deque[float] = deque(maxlen=12)
        self._today: list[float] = []
        self._day = -1
        self._days: deque[tuple[int, float]] = deque(maxlen=30)

    def add(self, t_ms: int, value: float | None) -> None:
        if value is None:
            return
        day = t_ms // DAY_MS
        if day != self._day:
            if self._today:
                self._days.append((self._day, statistics.median(self._today)))
            self._day, self._today = day, []
        self._today.append(value)
        self._recent.append(value)

    def last(self, n: int = 1) -> float | None:
        """Median of the last n values; None when there are fewer."""
        return statistics.median(list(self._recent)[-n:]) if len(self._recent) >= n else None

    def usual(self) -> float | None:
        """Median of the earlier days, or of today's first values while there are fewer than two; None below four."""
        if len(self._days) >= 2:
            return statistics.median(value for _, value in self._days)
        earlier = [value for _, value in self._days] + self._today[:-3]
        return statistics.median(earlier) if len(earlier) >= 4 else None

    def day_before(self, t_ms: int) -> float | None:
        """Median of the day before; of the one before that in the first hours of a day."""
        limit = (t_ms - DAY_MS // 4) // DAY_MS
        return next((value for day, value in reversed(self._days) if day < limit), None)
