"""Figures as people and programs read them: a table with units, entries for JSON, and why each is what it is."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from sootline.heat.conversions import BTU_J, GALLON_L, MJ_PER_L_PER_BTU_PER_GAL, POUND_KG, W_PER_BTU_PER_H, fahrenheit
from sootline.heat.why import origin
from sootline.units import said


@dataclass(frozen=True)
class Figure:
    """One line: name, value in SI (None: not known), its quantity, a note, the function behind it, standard error."""

    key: str
    name: str
    value: float | str | None
    quantity: str
    note: str
    function: Callable[..., object]
    error: float | None = None


def _same(x: float) -> float:
    return x


# quantity -> (SI unit, digits, US unit, digits, SI -> US)
UNITS: dict[str, tuple[str, int, str, int, Callable[[float], float]]] = {
    "temperature": ("°C", 0, "°F", 0, fahrenheit),
    "difference": ("K", 0, "°F", 0, lambda k: 1.8 * k),
    "growth": ("K per 100 h", 1, "°F per 100 h", 1, lambda k: 1.8 * k),
    "step": ("K", 2, "°F", 2, lambda k: 1.8 * k),
    "viscosity": ("mm²/s", 1, "mm²/s", 1, _same),
    "density": ("kg/m³", 0, "lb/gal", 2, lambda r: r / 1000.0 * GALLON_L / POUND_KG),
    "energy per mass": ("MJ/kg", 1, "Btu/lb", 0, lambda q: q * 1e6 / BTU_J * POUND_KG),
    "energy per volume": ("MJ/L", 1, "Btu/gal", 0, lambda q: q / MJ_PER_L_PER_BTU_PER_GAL),
    "volume": ("L", 3, "gal", 3, lambda v: v / GALLON_L),
    "oil": ("L", 0, "gal", 0, lambda v: v / GALLON_L),
    "flow": ("L/h", 2, "gal/h", 2, lambda v: v / GALLON_L),
    "oil per day": ("L/d", 1, "gal/d", 1, lambda v: v / GALLON_L),
    "oil per degree day": ("L/(K d)", 2, "gal/(°F d)", 3, lambda v: v / GALLON_L / 1.8),
    "energy": ("MJ", 1, "Btu", 0, lambda e: e * 1e6 / BTU_J),
    "heat input": ("kW", 1, "kBtu/h", 1, lambda p: p / W_PER_BTU_PER_H),
    "mass": ("kg", 1, "lb", 1, lambda m: m / POUND_KG),
    "mass per volume": ("kg per 1000 L", 1, "lb per 1000 gal", 1, lambda m: m / POUND_KG * GALLON_L),
    "percent": ("%", 1, "%", 1, _same),
    "percent per difference": ("% per K", 3, "% per °F", 3, lambda s: s / 1.8),
    "hours": ("h", 0, "h", 0, _same),
    "days": ("d", 1, "d", 1, _same),
    "ratio": ("", 2, "", 2, _same),
    "count": ("", 0, "", 0, _same),
    "text": ("", 0, "", 0, _same),
}


def value_and_unit(figure: Figure, us: bool) -> tuple[str, str]:
    """The number (with its error) and the unit as people read them; "-" where it is not known."""
    si, si_digits, us_unit, us_digits, _ = UNITS[figure.quantity]
    return _number(figure, us, us_digits if us else si_digits), us_unit if us else si


def rows(figures: Iterable[Figure], us: bool = False, why: bool = False) -> Iterator[str]:
    """The figures as lines of a table, each with its function and source below where `why`."""
    for figure in figures:
        number, unit = value_and_unit(figure, us)
        note = said(figure.note, "us" if us else "si")
        yield f"{figure.name:<26}{number:>10} {unit:<16}{note}".rstrip()
        if why:
            found = origin(figure.function)
            yield f"    {found.function}: {found.source}"


def _number(figure: Figure, us: bool, digits: int) -> str:
    if figure.value is None or isinstance(figure.value, str):
        return figure.value or "-"
    convert = UNITS[figure.quantity][4] if us else _same
    text = f"{convert(figure.value):.{digits}f}"
    if figure.error is None:
        return text
    return f"{text} ± {abs(convert(figure.error) - convert(0.0)):.{digits}f}"


def entries(figures: Iterable[Figure], why: bool = False) -> list[dict[str, object]]:
    """The figures for JSON, always in SI units."""
    made = []
    for figure in figures:
        unit = UNITS[figure.quantity][0]
        entry: dict[str, object] = {"key": figure.key, "value": figure.value, "unit": unit, "note": figure.note}
        if figure.error is not None:
            entry["standard_error"] = figure.error
        if why:
            found = origin(figure.function)
            entry |= {"function": found.function, "source": found.source}
        made.append(entry)
    return made
