"""From the stack of each firing to the daily record that `heat.fouling_fit` takes, and the seed of its draws.

Running sums a day, taken in order of the firings: the same whatever the pieces they came in.
"""

import hashlib
from dataclasses import dataclass, field

import numpy as np

from sootline.heat.elementwise import FloatArray
from sootline.heat.fouling_fit import FoulingRecord

DAY_MS = 86_400_000
RECENT_DAYS = 28  # of burning that tell how the days ahead will burn


@dataclass(slots=True)
class Day:
    """Sums over the firings of one day (UTC) whose rise is known, and the last moment and burning hours of it."""

    t_ms: int
    burned_h: float
    count: int = 0
    day_sum: float = 0.0
    hours_sum: float = 0.0
    rise_sum: float = 0.0


@dataclass(slots=True)
class Course:
    """The firings since the exchanger was clean. start_h: burning hours on the counter at that time."""

    start_ms: int
    start_h: float
    days: list[Day] = field(default_factory=list)
    batch_h: list[float] = field(default_factory=list)

    def add(self, t_ms: int, burned_h: float, rise_K: float | None) -> None:
        """One firing: its end, the counter of burning hours then, and the rise over clean where it is known."""
        if not self.days or self.days[-1].t_ms // DAY_MS != t_ms // DAY_MS:
            self.days.append(Day(t_ms, burned_h))
        day = self.days[-1]
        day.t_ms, day.burned_h = t_ms, burned_h
        if rise_K is not None:
            day.count += 1
            day.day_sum += (t_ms - self.start_ms) / DAY_MS
            day.hours_sum += burned_h - self.start_h
            day.rise_sum += rise_K

    def batch(self, burned_h: float) -> None:
        """A new batch of oil is burned from here on."""
        hours = burned_h - self.start_h
        if hours > (self.batch_h[-1] if self.batch_h else 0.0):
            self.batch_h.append(hours)

    @property
    def now_h(self) -> float:
        """Burning hours since clean at the last firing [h]."""
        return self.days[-1].burned_h - self.start_h if self.days else 0.0

    def record(self, most: int = 300) -> FoulingRecord:
        """A row a day with a known rise [d, h, K], and where the oil batches began; neighbours joined beyond `most`.

        Raises: OutOfRange with fewer than 6 such days
        Source: means of the day's firings (follow/steady.py).
        """
        known = np.array([(d.count, d.day_sum, d.hours_sum, d.rise_sum) for d in self.days if d.count]).reshape(-1, 4)
        if len(known) > most:
            known = np.add.reduceat(known, np.arange(0, len(known), -(-len(known) // most)))
        day, hours, rise = known[:, 1:].T / known[:, 0]
        last_h = float(hours[-1]) if hours.size else 0.0
        return FoulingRecord(day, hours, rise, (0.0, *(h for h in self.batch_h if h < last_h)))

    def recent_h(self) -> FloatArray:
        """Burning hours of each of the last whole days [h/d], at most 28; empty before there are two days.

        Source: differences of the counter of burning hours, interpolated to midnight.
        """
        if len(self.days) < 2:
            return np.empty(0)
        t = np.array([self.start_ms, *(day.t_ms for day in self.days)], dtype=np.float64)
        h = np.array([self.start_h, *(day.burned_h for day in self.days)])
        last = self.days[-1].t_ms // DAY_MS
        first = max(last - RECENT_DAYS, -(-self.start_ms // DAY_MS))
        midnights = np.arange(first, last + 1, dtype=np.float64) * DAY_MS
        burned: FloatArray = np.clip(np.diff(np.interp(midnights, t, h)), 0.0, 24.0)
        return burned


def generator(furnace: str, t_ms: int) -> np.random.Generator:
    """Draws that depend on the furnace and the date only, so that the same day gives the same answer.

    Source: SHA-256 of furnace and date as the seed.
    """
    text = f"{furnace} {t_ms // DAY_MS}"
    return np.random.default_rng(int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big"))
