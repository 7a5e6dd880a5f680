"""NTC thermistor to ground under a pull-up."""

import math

from .analog import microvolts

_KELVIN = 273.15


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
