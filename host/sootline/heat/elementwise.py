"""Floats and arrays alike: typed exponentials, logarithms and the range checks every equation uses.

A number in gives a number out, an array in gives an array out. NaN in an array means "no reading" and stays
NaN; a NaN number, or anything outside the stated validity, raises `OutOfRange`.
"""

from typing import TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from sootline.errors import OutOfRange

FloatArray = NDArray[np.float64]
F = TypeVar("F", float, FloatArray)

_LEAST, _MOST = float(np.nextafter(0.0, 1.0)), float(np.finfo(np.float64).max)  # of the numbers above zero


def exp(x: F) -> F:
    """Exponential e^x [-]."""
    return cast(F, np.exp(x))


def expm1(x: F) -> F:
    """e^x - 1 [-], exact for small x."""
    return cast(F, np.expm1(x))


def log(x: F) -> F:
    """Natural logarithm ln x [-]."""
    return cast(F, np.log(x))


def log10(x: F) -> F:
    """Decimal logarithm of x [-]."""
    return cast(F, np.log10(x))


def sqrt(x: F) -> F:
    """Square root of x [-]."""
    return cast(F, np.sqrt(x))


def power(x: F, exponent: float) -> F:
    """Power x^exponent [-] of x not below zero."""
    return cast(F, np.power(x, exponent))


def check_range(name: str, value: float | FloatArray, low: float, high: float, unit: str) -> None:
    """Raise `OutOfRange` unless every reading of `value` lies in low..high (both included)."""
    values = np.asarray(value, dtype=np.float64)
    if values.size and low <= values.min() and values.max() <= high:  # the rule; NaN comes to what follows
        return
    if values.ndim == 0 and np.isnan(values):
        raise OutOfRange(f"{name} is not a number; expected {low:g} to {high:g} {unit}")
    outside = (values < low) | (values > high)
    if np.any(outside):
        worst = float(np.ravel(values[outside])[0])
        count = f" ({int(np.sum(outside))} of {values.size} values)" if values.ndim else ""
        raise OutOfRange(f"{name} {worst:g} {unit} is outside {low:g} to {high:g} {unit}{count}")


def check_positive(name: str, value: float | FloatArray, unit: str) -> None:
    """Raise `OutOfRange` unless every reading of `value` is finite and above zero."""
    check_range(name, value, _LEAST, _MOST, unit)
