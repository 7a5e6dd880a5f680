"""What is usual at this furnace: robust statistics of its own last values."""

import statistics
from bisect import bisect_left, insort
from collections import deque

MAD_TO_SD = 1.4826  # of a normal distribution


class Usual:
    """The last `keep` values; their median and robust standard deviation.

    Abnormal values are for the caller to leave out. O(keep) memory.
    """

    def __init__(self, keep: int = 50) -> None:
        self.values: deque[float] = deque(maxlen=keep)
        self.count = 0
        self._ordered: list[float] = []  # the same by size, so that nothing has to be sorted
        self._odd: deque[float] = deque(maxlen=10)

    def add(self, value: float) -> None:
        if len(self.values) == self.values.maxlen:
            del self._ordered[bisect_left(self._ordered, self.values[0])]
        self.values.append(value)
        insort(self._ordered, value)
        self.count += 1

    def add_normal(self, value: float, low: float = 0.6, high: float = 1.6) -> None:
        """Add a value unless it is abnormal: outside low..high times the median of at least ten.

        Ten abnormal ones in a row are the new normal, and start it afresh.
        """
        middle = self.median
        if middle is None or self.count < 10 or low * middle <= value <= high * middle:
            self._odd.clear()
            self.add(value)
            return
        self._odd.append(value)
        if len(self._odd) == self._odd.maxlen:
            self.values = deque(self._odd, maxlen=self.values.maxlen)
            self._ordered = sorted(self.values)
            self._odd.clear()

    @property
    def median(self) -> float | None:
        ordered, n = self._ordered, len(self._ordered)
        return (ordered[(n - 1) // 2] + ordered[n // 2]) / 2 if n else None

    @property
    def highest(self) -> float | None:
        return self._ordered[-1] if self._ordered else None

    @property
    def nearly_highest(self) -> float | None:
        """What 95 % of the values do not exceed."""
        ordered = self._ordered
        if not ordered:
            return None
        below, part = divmod(0.95 * (len(ordered) - 1), 1.0)
        low, high = ordered[int(below)], ordered[min(int(below) + 1, len(ordered) - 1)]
        return low + part * (high - low)

    @property
    def sd(self) -> float | None:
        """Robust standard deviation (1.4826 x median absolute deviation), None below 3 values."""
        middle = self.median
        if middle is None or len(self.values) < 3:
            return None
        return MAD_TO_SD * statistics.median(abs(value - middle) for value in self.values)
