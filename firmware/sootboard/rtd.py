"""Platinum resistance thermometer, IEC 60751:2022 (-200..850 Celsius)."""

_A = 3.9083e-3
_B = -5.775e-7
_C = -4.183e-12

MIN_C, MAX_C = -200.0, 850.0


def ratio(t_C):
    """R(t) / R(0)."""
    r = 1.0 + t_C * (_A + t_C * _B)
    if t_C < 0.0:
        r += _C * (t_C - 100.0) * t_C * t_C * t_C
    return r


def celsius(resistance_ratio):
    """Temperature [Celsius] for R / R(0); None outside the standard's range."""
    if not 0.1852 <= resistance_ratio <= 3.9049:
        return None
    t = (resistance_ratio - 1.0) / 3.85e-3
    for _ in range(4):
        slope = _A + 2.0 * _B * t
        if t < 0.0:
            slope += _C * t * t * (4.0 * t - 300.0)
        t -= (ratio(t) - resistance_ratio) / slope
    return t
