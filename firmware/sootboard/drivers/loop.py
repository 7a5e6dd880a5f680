"""Sender with a 4-20 mA loop."""

from .analog import microvolts


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
