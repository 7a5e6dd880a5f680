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
        sums = np.full(len(t), NAN) if sums is None else sums
        if self.t_ms is None:
            first = int(t[0])
            marks.append(Mark(first, self.channel, bool(on[0]), first, float(sums[0])))
            t0, on0, sum0 = t[:-1], on[:-1], sums[:-1]
            t1, on1, sum1 = t[1:], on[1:], sums[1:]
        else:
            t0, on0, sum0 = (
                np.concatenate(([self.t_ms], t[:-1])),
                np.concatenate(([self.on], on[:-1])),
                np.concatenate(([self.on_s], sums[:-1])),
            )
            t1, on1, sum1 = t, on, sums
        limit = np.where(on0, sampling.active_gap_ms, sampling.idle_gap_ms)
        hidden = ~on0 & ~on1 & (sum1 - sum0 > SAME_S)
        for i in np.flatnonzero((on1 != on0) | hidden | (t1 - t0 > limit)):
            self._between(int(t0[i]), bool(on0[i]), float(sum0[i]), int(t1[i]), bool(on1[i]), float(sum1[i]),
                          int(limit[i]), marks)  # fmt: skip
        self.t_ms, self.on, self.on_s = int(t[-1]), bool(on[-1]), float(sums[-1])

    def _between(
        self, t0: int, on0: bool, sum0: float, t1: int, on1: bool, sum1: float, limit_ms: int, marks: list[Mark]
    ) -> None:
        """Marks for two neighbouring readings that differ, hide a run, or lie too far apart to hold the state between.

        The sum tells how long it was on between them, and so when it changed, whatever packs were lost.
        """
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
