"""Type K thermocouple, ITS-90 reference functions (NIST Monograph 175 coefficients). Good on 32-bit floats."""

import math

# E(t) in mV, t in Celsius, lowest power first.
_BELOW_0 = (
    0.0,
    3.9450128025e-2,
    2.3622373598e-5,
    -3.2858906784e-7,
    -4.9904828777e-9,
    -6.7509059173e-11,
    -5.7410327428e-13,
    -3.1088872894e-15,
    -1.0451609365e-17,
    -1.9889266878e-20,
    -1.6322697486e-23,
)
_ABOVE_0 = (
    -1.7600413686e-2,
    3.8921204975e-2,
    1.8558770032e-5,
    -9.9457592874e-8,
    3.1840945719e-10,
    -5.6072844889e-13,
    5.6075059059e-16,
    -3.2020720003e-19,
    9.7151147152e-23,
    -1.2104721275e-26,
)
_BUMP = (1.185976e-1, -1.183432e-4, 126.9686)  # a0 exp(a1 (t - a2)^2), above 0 only

# t(E), E in mV: limits of E and coefficients, good to 0.06 K by themselves.
_INVERSE = (
    (
        0.0,
        (
            0.0,
            2.5173462e1,
            -1.1662878,
            -1.0833638,
            -8.9773540e-1,
            -3.7342377e-1,
            -8.6632643e-2,
            -1.0450598e-2,
            -5.1920577e-4,
        ),
    ),
    (
        20.644,
        (
            0.0,
            2.508355e1,
            7.860106e-2,
            -2.503131e-1,
            8.315270e-2,
            -1.228034e-2,
            9.804036e-4,
            -4.413030e-5,
            1.057734e-6,
            -1.052755e-8,
        ),
    ),
    (1e9, (-1.318058e2, 4.830222e1, -1.646031, 5.464731e-2, -9.650715e-4, 8.802193e-6, -3.110810e-8)),
)

MIN_C, MAX_C = -200.0, 1372.0
MIN_MV, MAX_MV = -5.891, 54.886
_CONVERTER_MV_PER_K = 0.041276  # slope the MAX31855 assumes for type K, data sheet


def _horner(coefficients, x):
    total = 0.0
    for c in reversed(coefficients):
        total = total * x + c
    return total


def millivolts(t_C):
    """Thermo-voltage [mV] of a junction at `t_C` against 0 Celsius."""
    if t_C < 0.0:
        return _horner(_BELOW_0, t_C)
    a0, a1, a2 = _BUMP
    d = t_C - a2
    return _horner(_ABOVE_0, t_C) + a0 * math.exp(a1 * d * d)


def _inverse(e_mV):
    for limit, coefficients in _INVERSE:
        if e_mV < limit:
            return coefficients
    return ()


def celsius(e_mV):
    """Temperature [Celsius] for the thermo-voltage `e_mV` against 0 Celsius; None outside -200..1372 C."""
    if not MIN_MV <= e_mV <= MAX_MV:
        return None
    t = _horner(_inverse(e_mV), e_mV)
    # One Newton step on the reference function takes out the inverse polynomial's own error.
    slope = millivolts(t + 0.5) - millivolts(t - 0.5)
    return t - (millivolts(t) - e_mV) / slope


def linearised(hot_C, cold_C):
    """True temperature [Celsius] from a converter that treats type K as a straight line of 41.276 uV/K."""
    return celsius((hot_C - cold_C) * _CONVERTER_MV_PER_K + millivolts(cold_C))
