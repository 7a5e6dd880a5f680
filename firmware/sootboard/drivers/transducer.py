"""Pressure transducer of the 0.5-4.5 V kind, measured against its own supply."""

from .analog import microvolts


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
