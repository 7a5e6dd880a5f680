"""Which of several probes has left the others: a sequential test on every pair of them.

S_up = max(0, S_up + d - k), S_down = max(0, S_down - d - k)   [K],  d the difference of two probes less its usual one

Page's two-sided CUSUM (Page 1954; Montgomery, Statistical Quality Control). It speaks when S > h, k = max(D/2, sd) and
h = max(D, 6 sd) for a drift of D worth knowing. With a scatter of 2 K it spoke never in 160,000 differences, with 4 K
once in 40,000 (simulated, the scatter learned from the last 60), which is 25 seasons of one rest a day and six pairs.
A probe has drifted when it has left more than half of the others to the same side.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import combinations

from sootline.analysis.usual import Usual

NEED = 4  # differences that tell what is usual
SD_K = 1.5  # of such differences at least: places that are not equally cold, readings that are not equally old
AIR = ("room", "return_air", "supply_air")  # of two probes alone, the one in the air is believed


@dataclass(slots=True)
class _Pair:
    usual: Usual = field(default_factory=lambda: Usual(60))
    up_K: float = 0.0
    down_K: float = 0.0
    last_K: float = 0.0

    def add(self, difference_K: float, drift_K: float) -> int:
        """+1, -1: the first probe has left the second upwards, downwards; 0: not so far."""
        usual = self.usual
        if usual.count < NEED or usual.median is None:
            usual.add(difference_K)
            return 0
        sd = max(usual.sd or 0.0, SD_K)
        k, h = max(drift_K / 2, sd), max(drift_K, 6 * sd)
        self.last_K = difference_K - usual.median
        self.up_K = max(0.0, self.up_K + self.last_K - k)
        self.down_K = max(0.0, self.down_K - self.last_K - k)
        if self.up_K > h or self.down_K > h:  # no further than it takes to speak, so that it is gone soon
            self.up_K, self.down_K = min(self.up_K, h + k / 2), min(self.down_K, h + k / 2)
            return 1 if self.up_K > self.down_K else -1
        if max(self.up_K, self.down_K) < h / 2:  # leaving out all that is above k would make the scatter seem small
            usual.add(difference_K)
        return 0


class Drift:
    """Give it the end points of one rest after the other (`follow/rest.py`)."""

    def __init__(self, drift_K: float) -> None:
        self.drift_K = drift_K
        self._pairs: dict[tuple[str, str], _Pair] = {}
        self._left: dict[tuple[str, str], int] = {}

    def add(self, ends_C: dict[str, float]) -> dict[str, float]:
        """By how much each drifted probe is off [K], by the median over the others."""
        for a, b in combinations(sorted(ends_C), 2):
            pair = self._pairs.setdefault((a, b), _Pair())
            self._left[(a, b)] = pair.add(ends_C[a] - ends_C[b], self.drift_K)
        off = {channel: self._off_K(channel, ends_C) for channel in ends_C}
        return {channel: by_K for channel, by_K in off.items() if by_K is not None}

    def _off_K(self, channel: str, others: Iterable[str]) -> float | None:
        sides: list[int] = []
        by_K: list[float] = []
        for other in others:
            if other != channel:
                first = channel < other
                pair = (channel, other) if first else (other, channel)
                sign = 1 if first else -1
                if self._pairs[pair].usual.count >= NEED:
                    sides.append(sign * self._left[pair])
                    by_K.append(sign * self._pairs[pair].last_K)
        if not sides or (len(sides) == 1 and channel in AIR):
            return None
        side = max(sides.count(1), sides.count(-1))
        return sorted(by_K)[len(by_K) // 2] if 2 * side > len(sides) else None

    def forget(self, channel: str) -> None:
        """The probe has been moved or changed: what was usual with it is not any more."""
        for pair in [pair for pair in self._pairs if channel in pair]:
            del self._pairs[pair], self._left[pair]
