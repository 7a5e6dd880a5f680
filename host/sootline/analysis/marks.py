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
            first = int(t[0])
            marks.append(Mark(first, self.channel, bool(on[0]), first, NAN if sums is None else float(sums[0])))
            before_t, before_on = t[:-1], on[:-1]
            after = slice(1, None)
        else:
            before_t = np.concatenate(([self.t_ms], t[:-1]))
            before_on = np.concatenate(([self.on], on[:-1]))
            after = slice(0, None)
        t_after, on_after = t[after], on[after]
        limit = np.where(before_on, sampling.active_gap_ms, sampling.idle_gap_ms)
        for i in np.flatnonzero((on_after != before_on) | (t_after - before_t > limit)):
            k = i + 1 if self.t_ms is None else i
            sum_before = self.on_s if k == 0 else (NAN if sums is None else float(sums[k - 1]))
            sum_after = NAN if sums is None else float(sums[k])
            self._between(int(before_t[i]), bool(before_on[i]), sum_before, int(t[k]), bool(on[k]), sum_after,
                          int(limit[i]), marks)  # fmt: skip
        self.t_ms, self.on = int(t[-1]), bool(on[-1])
        self.on_s = NAN if sums is None else float(sums[-1])

    def _between(
        self, t0: int, on0: bool, sum0: float, t1: int, on1: bool, sum1: float, limit_ms: int, marks: list[Mark]
    ) -> None:
        """Marks for two neighbouring readings that differ, or lie too far apart to hold the state between them."""
        if t1 - t0 <= limit_ms:
            marks.append(Mark(t1, self.channel, on1, t1, sum1))
            return
        on_ms = (sum1 - sum0) * 1000  # the sum tells how long it was on in the gap; NaN or negative tells nothing
        if on0 and not on1 and 0 <= on_ms <= t1 - t0:
            marks.append(Mark(t1, self.channel, False, t0 + round(on_ms), sum1))
        elif on0 == on1 and abs(on_ms - (t1 - t0 if on0 else 0)) <= 500:
            pass  # the sum says that nothing changed
        else:
            marks.append(Mark(t1, self.channel, None, t0 + limit_ms))
            marks.append(Mark(t1, self.channel, on1, t1, sum1))
