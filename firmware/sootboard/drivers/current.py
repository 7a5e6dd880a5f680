"""AC current transformer whose output rides on half of its supply, as true RMS over whole mains periods.

It is fitted to the pressure input: 5 V, signal, ground. Behind the board's divider nothing at all is read where the
transformer or its plug is open, since it is the transformer that carries the half supply to the signal wire.
"""

import math
from array import array

from micropython import const

from ..clock import paced
from .analog import direct, microvolts

_PERIODS = const(2)
_A_PERIOD = const(50)
_REST = (0.4, 0.6)  # where the middle of the wave stands, as a share of the supply
_TRIES = const(3)


def current(samples, uv_a_count, rail_uv, divider, a_per_v, valid, rail_valid_v):
    """`(A, fault)` of evenly spaced `samples` [counts] over whole periods; RMS after the mean is taken off.

    `a_per_v`: amperes that make one volt RMS; `valid`: shares of the supply between which the wave is not clipped.
    """
    rail_v = rail_uv * divider / 1000000
    if not rail_valid_v[0] <= rail_v <= rail_valid_v[1]:
        return None, "range"
    mean = sum(samples) / len(samples)
    share = mean * uv_a_count / rail_uv
    if share < valid[0]:
        return None, "open"
    if share > valid[1]:
        return None, "short"
    low, high = valid[0] * rail_uv / uv_a_count, valid[1] * rail_uv / uv_a_count
    squares = 0.0
    for x in samples:
        if not low <= x <= high:
            return None, "range"  # clipped: more current than the transformer is made for here
        squares += (x - mean) * (x - mean)
    if not _REST[0] <= share <= _REST[1]:
        return None, "range"
    return math.sqrt(squares / len(samples)) * uv_a_count * divider * a_per_v / 1000000, ""


class Current:
    """`rail` is the input that measures the 5 V supply."""

    def __init__(self, adc, rail, air, a_per_v, mains_hz):
        self._read, self._uv_a_count = direct(adc)
        self._rail = rail
        self._air = air
        self._a_per_v = a_per_v
        self._step_us = 1000000 // (mains_hz * _A_PERIOD)
        self._samples = array("i", bytes(4 * _PERIODS * _A_PERIOD))

    def read(self):
        for _ in range(_TRIES):
            if paced(self._read, self._step_us, self._samples):
                break
        a = self._air
        divider = (a["divider_top_ohm"] + a["divider_bottom_ohm"]) / a["divider_bottom_ohm"]
        limits = (a["ratio_valid"], a["rail_valid_v"])
        return current(self._samples, self._uv_a_count, microvolts(self._rail), divider, self._a_per_v, *limits)
