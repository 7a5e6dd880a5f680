"""Reading an analog input."""

from micropython import const

_SAMPLES = const(64)


def direct(adc):
    """`(read, uV a count)` of a machine.ADC: one reading and what a count of it is worth."""
    if hasattr(adc, "read_uv"):
        return adc.read_uv, 1
    return adc.read_u16, 3300000 / 65535


def microvolts(adc):
    """Mean of the middle half of 64 readings [uV] of a machine.ADC."""
    read, uv_a_count = direct(adc)
    readings = sorted([read() for _ in range(_SAMPLES)])
    middle = readings[_SAMPLES // 4 : -_SAMPLES // 4]
    return int(sum(middle) / len(middle) * uv_a_count)
