"""Sample level: conditions on a measured channel, vectorised, with carried state.

`Level` and `Slope` hold over a span of readings, `Still` while a reading stands still.
Each has a track that is fed from the history and writes marks; other pieces of the same readings give the same marks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sootline.analysis.history import History
from sootline.analysis.marks import Mark
from sootline.analysis.sampling import Sampling
from sootline.series import Floats, Times

Mask = NDArray[np.bool_]
MANY = 500  # readings, which are worth a guess where their past stands


@dataclass(frozen=True, slots=True)
class Level:
    """Holds from the reading above `limit` until the reading at or below `clear` (both in the channel's unit).

    With below=True the other way round.
    """

    name: str
    channel: str
    limit: float
    clear: float
    below: bool = False

    def track(self, since_ms: int) -> Track:
        return HoldTrack(self, since_ms)

    def judged(self, t: Times, x: Floats, first: int, sampling: Sampling) -> Floats:
        return x[first:]


@dataclass(frozen=True, slots=True)
class Slope:
    """Holds from the reading that differs from the one window_ms before by more than `limit`, until by no more than
    `clear` (per window, in the channel's unit). With below=True: less than `limit` until no less than `clear`."""

    name: str
    channel: str
    window_ms: int
    limit: float
    clear: float
    below: bool = False

    def track(self, since_ms: int) -> Track:
        return HoldTrack(self, since_ms)

    def judged(self, t: Times, x: Floats, first: int, sampling: Sampling) -> Floats:
        """x minus the reading one window before; NaN where that lies in or before a gap."""
        n, back = len(t), len(t) - int(t.searchsorted(t[-1] - self.window_ms, "right"))
        if n - first < MANY or first < back:
            return self._sought(t, x, np.arange(first, n), sampling)
        # mostly it is the reading as many places back as for the last one
        change: Floats = x[first:] - x[first - back : n - back]
        apart = t[first:] - t[first - back : n - back]
        right = (apart >= self.window_ms) & (apart <= self.window_ms + sampling.idle_gap_ms)
        right &= t[first:] - t[first - back + 1 : n - back + 1] < self.window_ms
        others = np.flatnonzero(~right)
        if len(others):
            change[others] = self._sought(t, x, first + others, sampling)
        return change

    def _sought(self, t: Times, x: Floats, now: NDArray[np.intp], sampling: Sampling) -> Floats:
        then = t.searchsorted(t[now] - self.window_ms, "right") - 1
        change: Floats = x[now] - x[np.maximum(then, 0)]
        too_old = t[now] - t[then] > self.window_ms + sampling.idle_gap_ms
        change[(then < 0) | too_old] = np.nan
        return change


@dataclass(frozen=True, slots=True)
class Still:
    """Holds once a channel has not moved by one count for span_ms, until it moves."""

    name: str
    channel: str
    span_ms: int

    def track(self, since_ms: int) -> Track:
        return StillTrack(self, since_ms)


Condition = Level | Slope | Still


class Track:
    """Carries a condition from one block of readings to the next."""

    unless: Callable[[Times], Mask] | None = None  # at which of these times nobody need know that it turns

    def __init__(self, condition: Condition, since_ms: int) -> None:
        self.condition = condition
        self.since_ms = since_ms
        self.holds = False
        self._held = False  # before the readings looked at last
        self._turned: Times = np.empty(0, np.int64)  # when it turned in them
        self._turned_ms = since_ms  # when it turned last before them

    def feed(self, history: History, sampling: Sampling, marks: list[Mark]) -> None:
        """Write marks for the readings in the history that are newer than those looked at before."""
        column = history.column(self.condition.channel)
        if column is None or column.last_ms <= self.since_ms:
            return
        t = column.t
        first = int(t.searchsorted(self.since_ms, "right"))
        self.since_ms = column.last_ms
        self._held = self.holds
        if len(self._turned):
            self._turned_ms = int(self._turned[-1])
        times = self._turned = self.look(t, column.x, first, sampling)
        if not len(times):
            return
        states = (np.arange(len(times)) % 2 == 0) != self._held
        if self.unless is not None:
            told = ~self.unless(times)
            times, states = times[told], states[told]
        name = self.condition.name
        marks += [Mark(at, name, on, at) for at, on in zip(times.tolist(), states.tolist(), strict=True)]

    def look(self, t: Times, x: Floats, first: int, sampling: Sampling) -> Times:
        """When it began or ceased to hold in the readings from number `first` on."""
        raise NotImplementedError

    def around(self, times: Times, holds: bool) -> Mask:
        """Whether it held (or did not) both just before and at each of these times, all among the last readings."""
        before, after = self._turned.searchsorted(times), self._turned.searchsorted(times, "right")
        alike: Mask = (before == after) & (((after % 2 == 1) != self._held) == holds)
        return alike

    def held_since_ms(self, now_ms: int) -> int | None:
        """Since when it holds at a time not before the last readings; None where it does not."""
        turns = int(self._turned.searchsorted(now_ms, "right"))
        if (turns % 2 == 1) == self._held:
            return None
        return int(self._turned[turns - 1]) if turns else self._turned_ms


class HoldTrack(Track):
    """A level or slope with its hysteresis."""

    condition: Level | Slope

    def look(self, t: Times, x: Floats, first: int, sampling: Sampling) -> Times:
        condition = self.condition
        y = condition.judged(t, x, first, sampling)
        starts: Mask = y < condition.limit if condition.below else y > condition.limit
        if not self.holds and not starts.any():
            return t[:0]
        ends: Mask = (y >= condition.clear if condition.below else y <= condition.clear) | np.isnan(y)
        decided = np.flatnonzero(starts | ends)
        states = starts[decided]
        turns = decided[states != np.concatenate(([self.holds], states[:-1]))]
        self.holds = bool(states[-1]) if len(states) else self.holds
        turned: Times = t[first + turns]
        return turned


class StillTrack(Track):
    """A reading that stands still: the spans between its changes, as far as they are longer than the span asked for."""

    condition: Still
    changed_ms: int | None = None

    def look(self, t: Times, x: Floats, first: int, sampling: Sampling) -> Times:
        turns: list[int] = []
        if self.changed_ms is None:
            self.changed_ms = int(t[first])
        start = max(first, 1)
        moved = t[start:][x[start:] != x[start - 1 : -1]]
        before = np.concatenate(([self.changed_ms], moved[:-1]))
        for k in np.flatnonzero(moved - before > self.condition.span_ms):
            self.changed_ms = int(before[k])
            if not self.holds:
                self._begin(t, int(moved[k]), turns)
            if self.holds:
                self.holds = False
                turns.append(int(moved[k]))
        if len(moved):
            self.changed_ms = int(moved[-1])
        if not self.holds and int(t[-1]) - self.changed_ms >= self.condition.span_ms:
            self._begin(t, int(t[-1]) + 1, turns)
        return np.array(turns, np.int64)

    def _begin(self, t: Times, before_ms: int, turns: list[int]) -> None:
        """It held from the first reading a span after the last change, if there was one before it moved."""
        assert self.changed_ms is not None
        at_ms = int(t[t.searchsorted(self.changed_ms + self.condition.span_ms)])
        if at_ms < before_ms:
            self.holds = True
            turns.append(at_ms)
