"""What is usual at this furnace: robust statistics of its own last values."""

import statistics
from collections import deque

MAD_TO_SD = 1.4826  # of a normal distribution


class Usual:
    """The last `keep` values; their median and robust standard deviation.

    Abnormal values are for the caller to leave out. O(keep) memory.
    """

    def __init__(self, keep: int = 50) -> None:
        self.values: deque[float] = deque(maxlen=keep)
        self.count = 0
        self._odd: deque[float] = deque(maxlen=10)
        self._forget()

    def _forget(self) -> None:
        """What was worked out from the values must be worked out anew."""
        self._median: float | None = None
        self._highest: float | None = None
        self._nearly_highest: float | None = None
        self._sd: float | None = None

    def add(self, value: float) -> None:
        self.values.append(value)
        self._forget()
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
            self._odd.clear()
            self._forget()

    @property
    def median(self) -> float | None:
        if self._median is None and self.values:
            self._median = statistics.median(self.values)
        return self._median

    @property
    def highest(self) -> float | None:
        if self._highest is None and self.values:
            self._highest = max(self.values)
        return self._highest

    @property
    def nearly_highest(self) -> float | None:
        """What 95 % of the values do not exceed."""
        if self._nearly_highest is None and self.values:
            ordered = sorted(self.values)  # by hand: numpy takes a hundred times as long for so few
            below, part = divmod(0.95 * (len(ordered) - 1), 1.0)
            low, high = ordered[int(below)], ordered[min(int(below) + 1, len(ordered) - 1)]
            self._nearly_highest = low + part * (high - low)
        return self._nearly_highest

    @property
    def sd(self) -> float | None:
        """Robust standard deviation (1.4826 x median absolute deviation), None below 3 values."""
        if self._sd is None and len(self.values) >= 3:
            middle = statistics.median(self.values)
            self._sd = MAD_TO_SD * statistics.median(abs(value - middle) for value in self.values)
        return self._sd
