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
        self._median: float | None = None  # both None where they must be worked out anew
        self._highest: float | None = None

    def add(self, value: float) -> None:
        self.values.append(value)
        self._median = self._highest = None
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
            self._median = self._highest = None

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
    def sd(self) -> float | None:
        """Robust standard deviation (1.4826 x median absolute deviation), None below 3 values."""
        if len(self.values) < 3:
            return None
        middle = self.median
        assert middle is not None
        return MAD_TO_SD * statistics.median(abs(value - middle) for value in self.values)
