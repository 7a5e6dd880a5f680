"""Refill delivery, float differential and the run time to expect of them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

from sootline.errors import UserError

LEAST_TIMED_S = 60.0
JUG_RATIO = 0.01  # reading a 2 l measuring jug
HAND_S = 0.5  # starting and stopping a watch, each run
DIFFERENTIAL_RUNS = 3
DIFFERENTIAL_SPREAD = 0.10


@dataclass(frozen=True, slots=True)
class Delivery:
    """What the refill pump delivers at one oil temperature, with its relative standard uncertainty."""

    oil_C: float
    l_per_s: float
    uncertainty: float


def delivery(volume_l: float, time_s: float, oil_C: float, runs: int = 1) -> Delivery:
    """Delivery from oil caught in a jug, `time_s` over all runs. Raises UserError under 60 s or without oil."""
    if not time_s >= LEAST_TIMED_S:
        raise UserError(f"Timed {time_s:g} s: catch oil for {LEAST_TIMED_S:g} s in all, over several runs if need be.")
    if not volume_l > 0 or runs < 1:
        raise UserError("The jug needs oil in it and at least one run: note the litres and the runs.")
    return Delivery(oil_C, volume_l / time_s, math.hypot(JUG_RATIO, HAND_S * math.sqrt(runs) / time_s))


def delivery_at(measured: Sequence[Delivery], oil_C: float) -> float:
    """Delivery [l/s] at an oil temperature: linear between points, the nearest beyond. Raises UserError if none."""
    if not measured:
        raise UserError("No delivery was measured yet.")
    points = sorted(measured, key=lambda point: point.oil_C)
    if oil_C <= points[0].oil_C:
        return points[0].l_per_s
    for left, right in pairwise(points):
        if oil_C < right.oil_C:
            share = (oil_C - left.oil_C) / (right.oil_C - left.oil_C)
            return left.l_per_s + share * (right.l_per_s - left.l_per_s)
    return points[-1].l_per_s


@dataclass(frozen=True, slots=True)
class Differential:
    """Oil between the float's levels: mean of the runs [l] and their spread as a ratio of it."""

    volume_l: float
    spread: float


def differential(volumes_l: Sequence[float]) -> Differential:
    """From draining by jug, float-off to float-on, three times or more. Raises UserError when runs differ over 10 %."""
    if len(volumes_l) < DIFFERENTIAL_RUNS or min(volumes_l) <= 0:
        raise UserError(f"Drain from float off to float on {DIFFERENTIAL_RUNS} times and note each volume.")
    mean = fmean(volumes_l)
    spread = (max(volumes_l) - min(volumes_l)) / mean
    if spread > DIFFERENTIAL_SPREAD:
        raise UserError(f"The runs differ by {spread:.0%}: the float sticks or a run was misread. Repeat.")
    return Differential(mean, spread)


@dataclass(frozen=True, slots=True)
class RunTime:
    """A refill's expected length and the lengths at which to warn and to call it a fault [s]."""

    expected_s: float
    warning_s: float
    timeout_s: float


def run_time(volume_l: float, delivery_l_per_s: float, burn_l_per_s: float = 0.0) -> RunTime:
    """Time to fill the differential while the burner draws on it. Raises UserError when the pump cannot win."""
    if not burn_l_per_s < delivery_l_per_s:
        raise UserError("The burner takes as much as the pump delivers: the tank would never fill. Measure both again.")
    expected = volume_l / (delivery_l_per_s - burn_l_per_s)
    return RunTime(expected, 1.25 * expected, max(1.5 * expected, expected + 30.0))


def oil_used_l(refills: int, volume_l: float) -> float:
    """Oil burned over a number of refills [l]."""
    return refills * volume_l
