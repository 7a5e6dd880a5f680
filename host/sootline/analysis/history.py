"""The last hours of every channel, as the analysis looks back on them. Nothing later than `now` is ever given out."""

import math

import numpy as np

from sootline.series import Floats, Rows, Times

KEEP_MS = 4 * 3600 * 1000


class Column:
    """Readings of one channel in time order, without holes; old ones are dropped as new ones come."""

    def __init__(self) -> None:
        self._t: Times = np.empty(64, np.int64)
        self._x: Floats = np.empty(64)
        self._start = 0
        self._end = 0

    @property
    def t(self) -> Times:
        return self._t[self._start : self._end]

    @property
    def x(self) -> Floats:
        return self._x[self._start : self._end]

    def append(self, t: Times, x: Floats, keep_from_ms: int) -> None:
        if self._end > self._start:  # the newest one stays, however old: it is still the latest word
            self._start += min(int(np.searchsorted(self.t, keep_from_ms)), self._end - self._start - 1)
        n, held = len(t), self._end - self._start
        if self._end + n > len(self._t):
            size = len(self._t) if 2 * (held + n) <= len(self._t) else 2 * (held + n)
            new_t, new_x = np.empty(size, np.int64), np.empty(size)
            new_t[:held], new_x[:held] = self.t, self.x
            self._t, self._x, self._start, self._end = new_t, new_x, 0, held
        self._t[self._end : self._end + n] = t
        self._x[self._end : self._end + n] = x
        self._end += n

    def latest(self, now_ms: int, not_before_ms: int) -> tuple[int, float] | None:
        """The newest reading with not_before_ms <= t <= now_ms."""
        t, x, end = self._t, self._x, self._end
        i = end - 1
        if i >= self._start and t[i] > now_ms:
            i = self._start + int(t[self._start : end].searchsorted(now_ms, "right")) - 1
        if i < self._start or t[i] < not_before_ms:
            return None
        return int(t[i]), float(x[i])

    def __getstate__(self) -> tuple[Times, Floats]:
        return self.t.copy(), self.x.copy()

    def __setstate__(self, state: tuple[Times, Floats]) -> None:
        self._t, self._x = state
        self._start, self._end = 0, len(self._t)


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
        return column is not None and len(column.t) > 0 and column.t[0] <= self.now_ms

    def column(self, channel: str) -> Column | None:
        return self._columns.get(channel)

    def window(self, channel: str, start_ms: int, end_ms: int) -> tuple[Times, Floats]:
        """Readings with start_ms <= t <= min(end_ms, now), oldest first; none older than KEEP_MS, however fed."""
        column = self._columns.get(channel)
        if column is None:
            return np.empty(0, np.int64), np.empty(0)
        t = column.t
        i = int(t.searchsorted(max(start_ms, self.now_ms - KEEP_MS)))
        j = int(t.searchsorted(min(end_ms, self.now_ms), "right"))
        return t[i:j], column.x[i:j]

    def latest(self, channel: str, max_age_ms: int | None = None) -> tuple[int, float] | None:
        """The newest reading at or before now, or None when there is none younger than max_age_ms."""
        column = self._columns.get(channel)
        if column is None:
            return None
        return column.latest(self.now_ms, -(2**62) if max_age_ms is None else self.now_ms - max_age_ms)

    def at(self, channel: str, t_ms: int) -> float | None:
        """The reading in force at a past moment, or None where that is older than KEEP_MS."""
        column = self._columns.get(channel)
        found = None if column is None else column.latest(min(t_ms, self.now_ms), self.now_ms - KEEP_MS)
        return None if found is None else found[1]

    def mean(self, channel: str, start_ms: int, end_ms: int) -> float | None:
        """Mean of the readings in a window, or None without any."""
        x = self.window(channel, start_ms, end_ms)[1]
        return math.fsum(x) / len(x) if len(x) else None
