"""Reading an analog input."""

from micropython import const

_SAMPLES = const(64)


def microvolts(adc):
    """Mean of the middle half of 64 readings [uV] of a machine.ADC."""
    if hasattr(adc, "read_uv"):
        readings = sorted([adc.read_uv() for _ in range(_SAMPLES)])
    else:
        readings = sorted([adc.read_u16() * 3300000 // 65535 for _ in range(_SAMPLES)])
    middle = readings[_SAMPLES // 4 : -_SAMPLES // 4]
    return sum(middle) // len(middle)
