"""Sample level: from rows to the few moments that matter, vectorised, with carried state.

A mark is a moment at which an on/off channel changed or became unknown (here), or a stated condition on a measured
channel began or ceased to hold (conditions.py). Feeding the same rows in other pieces gives the same marks.
"""

from typing import NamedTuple

import numpy as np

from sootline.analysis.sampling import Sampling
from sootline.channels import CHANNELS
from sootline.series import Floats, Rows, Times

NAN = float("nan")
SAME_S = 0.5  # sums that differ by less say that nothing changed


class Mark(NamedTuple):
    """t_ms: when it was known; subject: a channel or the name of a condition; on: its new state, None when unknown;
    at_ms: the moment itself (before t_ms only where a silence was explained afterwards);
    on_s: seconds on since boot where the board sent the sum, else NaN"""

    t_ms: int
    subject: str
    on: bool | None
    at_ms: int
    on_s: float = NAN


def state_marks(rows: Rows, states: dict[str, "StateTrack"], sampling: Sampling) -> list[Mark]:
    """Changes of every on/off channel in `rows`."""
    marks: list[Mark] = []
    for name, column in rows.values.items():
        if CHANNELS[name].kind != "state":
            continue
        track = states.get(name)
        if track is None:
            track = states[name] = StateTrack(name)
        track.feed(rows.t_ms, column, rows.on_s.get(name), sampling, marks)
    return marks


class StateTrack:
    """The carried state of one on/off channel: its last reading."""

    def __init__(self, channel: str) -> None:
        self.channel = channel
        self.t_ms: int | None = None
        self.on = False
        self.on_s = NAN

    def feed(self, t: Times, column: Floats, sums: Floats | None, sampling: Sampling, marks: list[Mark]) -> None:
        given = ~np.isnan(column)
        if not given.all():
            if not given.any():
                return
            t, column = t[given], column[given]
            sums = sums[given] if sums is not None else None
        on = column > 0.5
        if self.t_ms is None:
            self.t_ms, self.on = int(t[0]), bool(on[0])
            self.on_s = NAN if sums is None else float(sums[0])
            marks.append(Mark(self.t_ms, self.channel, self.on, self.t_ms, self.on_s))
            t, on, sums = t[1:], on[1:], None if sums is None else sums[1:]
        if not len(t):
            return
        t, on = np.concatenate(([self.t_ms], t)), np.concatenate(([self.on], on))
        apart, told = t[1:] - t[:-1], on[1:] != on[:-1]
        gaps = apart.max() > sampling.active_gap_ms  # the shorter of the two
        if gaps:
            told |= apart > np.where(on[:-1], sampling.active_gap_ms, sampling.idle_gap_ms)
        if sums is not None:
            sums = np.concatenate(([self.on_s], sums))
            told |= ~(on[1:] | on[:-1]) & (sums[1:] - sums[:-1] > SAME_S)
        if sums is None and not gaps:  # nothing but changes
            times, states = t[1:][told].tolist(), on[1:][told].tolist()
            marks += [Mark(at, self.channel, state, at) for at, state in zip(times, states, strict=True)]
            told[:] = False
        for i in np.flatnonzero(told).tolist():
            sum0, sum1 = (self.on_s if i == 0 else NAN, NAN) if sums is None else (float(sums[i]), float(sums[i + 1]))
            self._between(int(t[i]), bool(on[i]), sum0, int(t[i + 1]), bool(on[i + 1]), sum1, sampling, marks)
        self.t_ms, self.on, self.on_s = int(t[-1]), bool(on[-1]), NAN if sums is None else float(sums[-1])

    def _between(
        self, t0: int, on0: bool, sum0: float, t1: int, on1: bool, sum1: float, sampling: Sampling, marks: list[Mark]
    ) -> None:
        """Marks for two neighbouring readings that differ, hide a run, or lie too far apart to hold the state between.

        The sum tells how long it was on between them, and so when it changed, whatever packs were lost.
        """
        limit_ms = sampling.active_gap_ms if on0 else sampling.idle_gap_ms
        on_ms = (sum1 - sum0) * 1000
        if not 0 <= on_ms <= t1 - t0 + SAME_S * 1000:  # no sums, or another boot's
            if t1 - t0 > limit_ms:
                marks.append(Mark(t1, self.channel, None, t0 + limit_ms))
            marks.append(Mark(t1, self.channel, on1, t1, sum1))
            return
        on_ms = min(round(on_ms), t1 - t0)
        if on0 != on1:
            marks.append(Mark(t1, self.channel, on1, t1 - on_ms if on1 else t0 + on_ms, sum1))
        elif not on0 and on_ms > SAME_S * 1000:
            marks.append(Mark(t1, self.channel, True, t1 - on_ms, sum0))
            marks.append(Mark(t1, self.channel, False, t1, sum1))
        elif on0 and on_ms < t1 - t0 - SAME_S * 1000:
            marks.append(Mark(t1, self.channel, None, t0 + min(on_ms, limit_ms)))
            marks.append(Mark(t1, self.channel, True, t1, sum1))
