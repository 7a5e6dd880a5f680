"""How deposits grow: three laws, for a fouling resistance or for the stack rise nearly proportional to it."""

from sootline.heat.elementwise import F, check_positive, check_range, exp, power


def linear(time: F, rate: float) -> F:
    """Fouling that grows steadily [unit of rate x time]: y = k t.

    time: burning hours or days since clean; rate: k [unit per time].
    Raises: OutOfRange
    Source: linear fouling law: deposition without removal.
    """
    check_range("time", time, 0.0, 1e9, "")
    return rate * time


def falling_rate(time: F, coefficient: float, exponent: float) -> F:
    """Fouling that slows down but never stops: y = k t^p, 0 < p < 1.

    time: burning hours or days since clean; coefficient: k [unit per time^p]; exponent: p [-].
    Raises: OutOfRange
    Source: falling-rate fouling law (textbook form, from memory).
    """
    check_range("time", time, 0.0, 1e9, "")
    check_range("exponent", exponent, 0.01, 1.0, "")
    return coefficient * power(time, exponent)


def asymptotic(time: F, final: float, tau: float) -> F:
    """Fouling that levels off where removal balances deposition: y = y* (1 - e^(-t/tau)).

    time: burning hours or days since clean; final: y* [unit]; tau: [time]. The first slope is y*/tau.
    Raises: OutOfRange
    Source: Kern and Seaton (1959), asymptotic fouling (from memory; the deposition-removal balance seen).
    """
    check_range("time", time, 0.0, 1e9, "")
    check_positive("time constant", tau, "")
    return final * (1.0 - exp(-time / tau))
