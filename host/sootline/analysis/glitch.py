"""Single readings that no metal probe can follow: left out before anything looks at them, and counted.

A reading is kept when it agrees with the one before it or with the one before that. So a jump there and back loses the
one wrong reading, and a true step loses one sample. Oil and air cannot jump by kelvins in seconds; the flue can, by
tens. A digital probe that lost its supply says 85.0 once (its power-on value), which is warm oil to any range check.
"""

import numpy as np

from sootline.analysis.marks import Mark
from sootline.analysis.sampling import Sampling
from sootline.series import Floats, Rows, Times

# what may truly change: at once [K], and per second between the readings [K/s]
_SLOW, _BLOCK, _FLUE = (6.0, 0.3), (6.0, 0.5), (60.0, 4.0)
_PLENUM = (30.0, 3.0)  # a fan that starts blows the plenum's standing heat over the probe
MAY_CHANGE = {
    "tank": _SLOW, "nozzle": _BLOCK, "stack": _FLUE, "return_air": _SLOW, "supply_air": _PLENUM, "room": _SLOW,
    "outdoor": _SLOW, "combustion_air": _SLOW, "supply": _SLOW,
}  # fmt: skip

POWER_ON_C, POWER_ON_K = 85.0, 3.0  # the power-on value is believed only where the oil was as warm before
FLUE = "stack"  # is no digital probe: they end at 125 degC


class GlitchFilter:
    """Carries the last two readings of each probe."""

    def __init__(self) -> None:
        self._last: dict[str, tuple[Times, Floats]] = {}

    def feed(self, rows: Rows, sampling: Sampling, marks: list[Mark]) -> Rows:
        """The rows without glitches; a mark `<channel>-glitch` for each that was left out."""
        values = None
        for channel, (at_once, per_s) in MAY_CHANGE.items():
            column = rows.values.get(channel)
            if column is None:
                continue
            given = ~np.isnan(column)
            if given.all():
                bad = self._bad(channel, rows.t_ms, column, at_once, per_s, sampling)
            elif given.any():
                t, x = rows.t_ms[given], column[given]
                bad = np.flatnonzero(given)[self._bad(channel, t, x, at_once, per_s, sampling)]
            else:
                continue
            if len(bad):
                values = values if values is not None else dict(rows.values)
                values[channel] = column.copy()
                values[channel][bad] = np.nan
                marks.extend(Mark(at, f"{channel}-glitch", True, at) for at in rows.t_ms[bad].tolist())
        return rows if values is None else Rows(rows.t_ms, values, rows.on_s, rows.faults)

    def _bad(
        self, channel: str, t: Times, x: Floats, at_once: float, per_s: float, sampling: Sampling
    ) -> "np.typing.NDArray[np.intp]":
        """Which readings agree with neither of the two before them."""
        before_t, before_x = self._last.get(channel, (np.empty(0, np.int64), np.empty(0)))
        n = len(before_t)
        t, x = np.concatenate((before_t, t)), np.concatenate((before_x, x))
        self._last[channel] = (t[-2:].copy(), x[-2:].copy())
        i = np.flatnonzero(np.abs(x[1:] - x[:-1]) > POWER_ON_K) + 1  # no smaller step is ever too large
        i = i[i >= n]
        if not len(i):
            return i
        agrees = i < 2  # nothing to judge the first two by
        for before in (i - 1, np.maximum(i - 2, 0)):
            apart_ms = t[i] - t[before]
            close = np.abs(x[i] - x[before]) <= at_once + per_s * apart_ms / 1000
            agrees |= close | (apart_ms > sampling.idle_gap_ms)
        if channel != FLUE:
            agrees &= (x[i] != POWER_ON_C) | (x[i - 1] == POWER_ON_C)
        return i[~agrees] - n
