"""How the flue warms after a light-off: every firing is read at the same age, and taken on from there alike.

S = T_0 + k (T(a) - T_0) / share(a),  T_0 the flue before the light-off, T(a) at age a [degC]
a     = the oldest of GRID_S that the firing and half of those learned from have reached
share = median of (T(a) - T_0) / (T(a_max) - T_0) over the firings that reached a_max
k     = how far the longest ones went on beyond a_max; where too few were so long, a first-order rise of 4 min
A curve is learned once and stays: one that went on learning would step whenever the weather makes firings longer.
"""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from sootline.analysis.history import History
from sootline.events import Event

GRID_S = (240, 300, 360, 420, 480, 600, 720, 900)
MEAN_MS = 30_000
REACHED = 0.5  # of the firings learned from
LONGER, LONG_NEED, RISE_S, MOST_ON = 1.5, 3, 240.0, 1.25
PLAIN_K = 30.0  # a smaller rise tells nothing about its shape
LEAST_SHARE = 0.4


@dataclass(frozen=True, slots=True)
class Reading:
    """The flue of one firing: before it, at the ages of GRID_S that it reached, and over its last minutes [degC]."""

    duration_s: float
    start_C: float | None
    at_C: dict[int, float]
    tail_C: float


def read(event: Event, history: History) -> Reading | None:
    """None where the flue was not read to the end."""
    tail_C = event.number("stack_end")
    if tail_C is None:
        return None
    start_ms = event.start_ms
    at = {}
    for age_s in GRID_S:
        if age_s <= event.duration_s:
            value = history.mean("stack", start_ms + age_s * 1000 - MEAN_MS, start_ms + age_s * 1000)
            if value is not None:
                at[age_s] = value
    return Reading(event.duration_s, history.mean("stack", start_ms - MEAN_MS, start_ms + 5_000), at, tail_C)


@dataclass(frozen=True, slots=True)
class Curve:
    """age_s: a_max above; share: by age, 1 at a_max; on: k above."""

    age_s: int
    share: dict[int, float]
    on: float

    def steady_C(self, reading: Reading) -> float | None:
        """The flue this firing was heading for [degC]; None where its shape cannot tell."""
        ages = [age for age in reading.at_C if age in self.share]
        if reading.start_C is None or not ages:
            return reading.tail_C if reading.duration_s >= self.age_s else None
        age = max(ages)
        return reading.start_C + self.on * (reading.at_C[age] - reading.start_C) / self.share[age]


def learn(readings: Sequence[Reading]) -> Curve:
    """The curve of these firings."""
    known = [r for r in readings if r.start_C is not None and r.at_C]
    need = max(LONG_NEED, math.ceil(REACHED * len(known)))
    reached = [age for age in GRID_S if sum(age in r.at_C for r in known) >= need]
    age_max = max(reached, default=GRID_S[0])
    share = {age_max: 1.0}
    for age in GRID_S:
        ratios = _ratios(known, age, age_max)
        if age < age_max and len(ratios) >= LONG_NEED and (median := statistics.median(ratios)) > LEAST_SHARE:
            share[age] = median
    went_on = [
        (r.tail_C - r.start_C) / (r.at_C[age_max] - r.start_C)
        for r in known  # one with a hole in it may be long and have no reading at that age
        if r.start_C is not None and r.duration_s >= LONGER * age_max
        if age_max in r.at_C and r.at_C[age_max] - r.start_C > PLAIN_K
    ]
    guess = 1 / (1 - math.exp(-age_max / RISE_S))
    on = statistics.median(went_on) if len(went_on) >= LONG_NEED else guess
    return Curve(age_max, share, min(max(on, 1.0), MOST_ON))


def _ratios(readings: Sequence[Reading], age: int, age_max: int) -> list[float]:
    return [
        (r.at_C[age] - r.start_C) / (r.at_C[age_max] - r.start_C)
        for r in readings
        if r.start_C is not None and age in r.at_C and age_max in r.at_C and r.at_C[age_max] - r.start_C > PLAIN_K
    ]
