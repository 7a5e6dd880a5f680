"""Sensors on an analog input: ratiometric transducer, 4-20 mA loop, NTC thermistor."""

import math

_SAMPLES = 64
_KELVIN = 273.15


def microvolts(adc):
    """Mean of the middle half of 64 readings [uV] of a machine.ADC."""
    if hasattr(adc, "read_uv"):
        readings = sorted([adc.read_uv() for _ in range(_SAMPLES)])
    else:
        readings = sorted([adc.read_u16() * 3300000 // 65535 for _ in range(_SAMPLES)])
    middle = readings[_SAMPLES // 4 : -_SAMPLES // 4]
    return sum(middle) // len(middle)


def transducer(signal_uv, rail_uv, divider, zero, span, low, high, valid, rail_valid_v):
    """`(value, fault)` of a transducer whose output is `zero + span x` of its supply, x from `low` to `high`.

    Signal and supply come through equal dividers (ratio `divider`), so the divider and the rail cancel.
    """
    rail_v = rail_uv * divider / 1000000
    if not rail_valid_v[0] <= rail_v <= rail_valid_v[1]:
        return None, "range"
    share = signal_uv / rail_uv
    if share < valid[0]:
        return None, "open"
    if share > valid[1]:
        return None, "short"
    return low + (high - low) * (share - zero) / span, ""


class Transducer:
    """0.5-4.5 V type sensor; `rail` is the input that measures the 5 V supply. `low`, `high` in channel units."""

    def __init__(self, adc, rail, air, low, high):
        self._adc = adc
        self._rail = rail
        self._air = air
        self._low = low
        self._high = high

    def read(self):
        a = self._air
        divider = (a["divider_top_ohm"] + a["divider_bottom_ohm"]) / a["divider_bottom_ohm"]
        signal = microvolts(self._adc)
        rail = microvolts(self._rail)
        limits = (a["ratio_valid"], a["rail_valid_v"])
        return transducer(signal, rail, divider, a["ratio_zero"], a["ratio_span"], self._low, self._high, *limits)


def loop(signal_uv, burden_ohm, fault_ma, low, high):
    """`(value, fault)` of a 4-20 mA sender; fault currents as NAMUR NE 43 has them."""
    current_ma = signal_uv / burden_ohm / 1000
    if current_ma < fault_ma[0]:
        return None, "open"
    if current_ma > fault_ma[1]:
        return None, "short"
    return low + (high - low) * (current_ma - 4.0) / 16.0, ""


class Loop:
    def __init__(self, adc, level, low, high):
        self._adc = adc
        self._level = level
        self._low = low
        self._high = high

    def read(self):
        level = self._level
        return loop(microvolts(self._adc), level["burden_ohm"], level["fault_ma"], self._low, self._high)


def thermistor(signal_uv, supply_uv, pull_up_ohm, r25_ohm, beta_K):
    """`(Celsius, fault)` of an NTC to ground under a pull-up, by the beta equation."""
    share = signal_uv / supply_uv
    if share > 0.985:
        return None, "open"
    if share < 0.02:
        return None, "short"
    ohm = pull_up_ohm * share / (1.0 - share)
    return 1.0 / (1.0 / (25.0 + _KELVIN) + math.log(ohm / r25_ohm) / beta_K) - _KELVIN, ""


class Thermistor:
    def __init__(self, adc, pull_up_ohm, r25_ohm, beta_K, supply_uv=3300000):
        self._adc = adc
        self._parts = (supply_uv, pull_up_ohm, r25_ohm, beta_K)

    def read(self):
        return thermistor(microvolts(self._adc), *self._parts)
