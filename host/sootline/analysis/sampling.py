"""How often a board reports, and from that how long a silent reading still counts."""

from dataclasses import dataclass, field

import numpy as np

from sootline.series import Times

GAP_FACTOR = 3.0  # the contract: unknown across a gap longer than 3 x the interval then in force


@dataclass(frozen=True, slots=True)
class Sampling:
    """interval_s while anything is on or moves, idle_interval_s otherwise [s]."""

    interval_s: float = 5.0
    idle_interval_s: float = 60.0
    active_gap_ms: int = field(init=False, repr=False, compare=False)
    idle_gap_ms: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        active, idle = self.interval_s, max(self.interval_s, self.idle_interval_s)
        object.__setattr__(self, "active_gap_ms", round(GAP_FACTOR * active * 1000))
        object.__setattr__(self, "idle_gap_ms", round(GAP_FACTOR * idle * 1000))


USUAL_SHARE = 0.1  # of the spacings of a table, or of its time: what is as common as this is no chance
LEAST_COUNT = 10  # of a spacing that fills its share of the time: fewer are gaps
LOST, LOST_SHARE = (2, 3), 0.25  # so many times another spacing and so much rarer: rows that were lost
LEAST_MS = 1000  # a row of a change lies that near to the one before it


def spacing(t_ms: Times) -> Sampling:
    """What a table's rows tell: its commonest spacings, the shortest while anything is on, the longest when idle.

    A row at every change, gaps, lost rows and jitter of a tenth of a second do not matter. The stated defaults are the
    least. A furnace at rest makes few rows in much time.
    """
    apart_s = np.round(np.diff(t_ms)[np.diff(t_ms) >= LEAST_MS] / 1000, 0)
    found, count = np.unique(apart_s, return_counts=True)
    least = Sampling()
    often = count >= USUAL_SHARE * len(apart_s)
    if not often.any():
        return least
    long = (found * count >= USUAL_SHARE * apart_s.sum()) & (count >= LEAST_COUNT)
    usual = dict(zip(found[often | long].tolist(), count[often | long].tolist(), strict=True))
    idle_s = max(s for s in usual if not any(usual[s] < LOST_SHARE * usual.get(s / n, 0) for n in LOST))
    interval_s = max(least.interval_s, float(found[often].min()))
    return Sampling(interval_s, max(least.idle_interval_s, interval_s, idle_s))
