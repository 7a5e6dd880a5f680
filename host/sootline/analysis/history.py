"""The last hours of every channel, as the analysis looks back on them. Nothing later than `now` is ever given out."""

import math
from bisect import bisect_right
from collections.abc import Sequence

import numpy as np

from sootline.series import Floats, Rows, Times

KEEP_MS = 4 * 3600 * 1000


class Column:
    """Readings of one channel in time order, without holes; old ones are dropped as new ones come.

    Readings mostly come evenly, so a place is guessed from the last one found before it is searched for.
    """

    def __init__(self) -> None:
        self._keep(np.empty(64, np.int64), np.empty(64), 0)

    def _keep(self, t: Times, x: Floats, held: int) -> None:
        self._t, self._x = t, x
        self._times: Sequence[int] = t.data  # single items come faster from these
        self._readings: Sequence[float] = x.data
        self._start, self._end = 0, held
        self._forget()

    def _forget(self) -> None:
        """The newest reading found last: which, and from when until when it is that."""
        self._latest: tuple[int, float] | None = None
        self._from_ms = self._until_ms = 0
        self._found, self._apart_ms = 0, 1  # the place after it, and how far apart readings lie there

    @property
    def t(self) -> Times:
        return self._t[self._start : self._end]

    @property
    def x(self) -> Floats:
        return self._x[self._start : self._end]

    @property
    def last_ms(self) -> int:
        """The time of the newest reading; a column that is kept has one."""
        return self._times[self._end - 1]

    @property
    def first_ms(self) -> int | None:
        """The time of the oldest reading still held."""
        return self._times[self._start] if self._end > self._start else None

    def append(self, t: Times, x: Floats, keep_from_ms: int) -> None:
        if self._end > self._start:  # the newest one stays, however old: it is still the latest word
            self._start += min(int(np.searchsorted(self.t, keep_from_ms)), self._end - self._start - 1)
        n, held = len(t), self._end - self._start
        if self._end + n > len(self._t):
            size = len(self._t) if 2 * (held + n) <= len(self._t) else 2 * (held + n)
            new_t, new_x = np.empty(size, np.int64), np.empty(size)
            new_t[:held], new_x[:held] = self.t, self.x
            self._keep(new_t, new_x, held)
        self._t[self._end : self._end + n] = t
        self._x[self._end : self._end + n] = x
        self._end += n
        self._forget()

    def latest(self, now_ms: int, not_before_ms: int) -> tuple[int, float] | None:
        """The newest reading with not_before_ms <= t <= now_ms."""
        if not self._from_ms <= now_ms < self._until_ms:
            self._find(now_ms)
        latest = self._latest
        return None if latest is None or latest[0] < not_before_ms else latest

    def _find(self, now_ms: int) -> None:
        times, end = self._times, self._end
        i = self._found = self._after(now_ms)
        self._until_ms = times[i] if i < end else 2**62
        self._from_ms, self._latest = -(2**62), None
        if i > self._start:
            self._from_ms = times[i - 1]
            self._latest = (self._from_ms, self._readings[i - 1])
            self._apart_ms = self._until_ms - self._from_ms

    def _after(self, t_ms: int) -> int:
        """The place after the newest reading at or before t_ms."""
        times, low, high = self._times, self._start, self._end
        guess = self._found + (t_ms - self._from_ms) // self._apart_ms
        if low < guess < high and times[guess - 1] <= t_ms < times[guess]:
            return guess
        return bisect_right(times, t_ms, low, high)

    def span(self, start_ms: int, end_ms: int) -> slice:
        """Where the readings with start_ms <= t <= end_ms stand in the buffers."""
        return slice(self._after(start_ms - 1), self._after(end_ms))

    def window(self, start_ms: int, end_ms: int) -> tuple[Times, Floats]:
        """The readings with start_ms <= t <= end_ms, oldest first."""
        span = self.span(start_ms, end_ms)
        return self._t[span], self._x[span]

    def mean(self, start_ms: int, end_ms: int) -> float | None:
        """Mean of the readings with start_ms <= t <= end_ms; None without any."""
        x = self._readings[self.span(start_ms, end_ms)]
        return math.fsum(x) / len(x) if len(x) else None

    def __getstate__(self) -> tuple[Times, Floats]:
        """Without what the next block drops anyway."""
        first = self._after(self.last_ms - KEEP_MS - 1) if self._end > self._start else self._start
        return self._t[first : self._end].copy(), self._x[first : self._end].copy()

    def __setstate__(self, state: tuple[Times, Floats]) -> None:
        self._keep(*state, len(state[0]))


class History:
    """Readings of the last hours by channel. `now_ms` is the plant clock; callers cannot see past it."""

    def __init__(self) -> None:
        self.now_ms = -(2**62)
        self._columns: dict[str, Column] = {}

    def extend(self, rows: Rows) -> None:
        if not len(rows):
            return
        # what the whole new block still looks back on must stay until its first row has been worked through
        keep_from = int(rows.t_ms[0]) - KEEP_MS
        for name, values in rows.values.items():
            given = ~np.isnan(values)
            if given.all():
                t, x = rows.t_ms, values
            elif given.any():
                t, x = rows.t_ms[given], values[given]
            else:
                continue
            self._columns.setdefault(name, Column()).append(t, x, keep_from)

    def has(self, channel: str) -> bool:
        """True once the channel has been read (by now)."""
        column = self._columns.get(channel)
        first_ms = None if column is None else column.first_ms
        return first_ms is not None and first_ms <= self.now_ms

    def __contains__(self, channel: str) -> bool:
        """Whether there are readings of the channel, be they later than now."""
        return channel in self._columns

    def column(self, channel: str) -> Column | None:
        return self._columns.get(channel)

    def window(self, channel: str, start_ms: int, end_ms: int) -> tuple[Times, Floats]:
        """Readings with start_ms <= t <= min(end_ms, now), oldest first; none older than KEEP_MS, however fed."""
        column = self._columns.get(channel)
        if column is None:
            return np.empty(0, np.int64), np.empty(0)
        return column.window(max(start_ms, self.now_ms - KEEP_MS), min(end_ms, self.now_ms))

    def latest(self, channel: str, max_age_ms: int | None = None) -> tuple[int, float] | None:
        """The newest reading at or before now, or None when there is none younger than max_age_ms."""
        column = self._columns.get(channel)
        if column is None:
            return None
        return column.latest(self.now_ms, -(2**62) if max_age_ms is None else self.now_ms - max_age_ms)

    def heard(self) -> dict[str, int]:
        """When each channel was last read, by now."""
        found = {name: column.latest(self.now_ms, -(2**62)) for name, column in self._columns.items()}
        return {name: latest[0] for name, latest in found.items() if latest is not None}

    def at(self, channel: str, t_ms: int) -> float | None:
        """The reading in force at a past moment, or None where that is older than KEEP_MS."""
        column = self._columns.get(channel)
        found = None if column is None else column.latest(min(t_ms, self.now_ms), self.now_ms - KEEP_MS)
        return None if found is None else found[1]

    def mean(self, channel: str, start_ms: int, end_ms: int) -> float | None:
        """Mean of the readings in a window, or None without any."""
        column = self._columns.get(channel)
        if column is None:
            return None
        return column.mean(max(start_ms, self.now_ms - KEEP_MS), min(end_ms, self.now_ms))
