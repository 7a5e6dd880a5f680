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

    def add(self, value: float) -> None:
        self.values.append(value)
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

    @property
    def median(self) -> float | None:
        return statistics.median(self.values) if self.values else None

    @property
    def sd(self) -> float | None:
        """Robust standard deviation (1.4826 x median absolute deviation), None below 3 values."""
        if len(self.values) < 3:
            return None
        middle = statistics.median(self.values)
        return MAD_TO_SD * statistics.median(abs(value - middle) for value in self.values)
