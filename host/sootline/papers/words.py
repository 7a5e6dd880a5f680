"""Figures of the advice as people read them, and the words that stand for its limits and results."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from sootline.advice.figure import Figure, value_and_unit
from sootline.heat.why import origin
from sootline.units import MINUS, System, said

CAUTION = (
    "Local codes, the authority in charge and licensed practice decide; nothing here says that the furnace may be run. "
    "sootline sees no more than its sensors do."
)
LIMITS = {
    "rise": "the rise at which you clean",
    "stack limit": "the stack's temperature limit",
    "draft": "draft over the fire",
    "money": "money",
    "smoke": "smoke",
    "ash": "ash in the exchanger",
    "season end": "end of the season",
}


@dataclass(frozen=True, slots=True)
class FigureView:
    """One figure with its unit, a note, and where it comes from: the function behind it and the source it names."""

    name: str
    value: str
    unit: str
    note: str
    function: str
    source: str


def plain(text: str, system: System) -> str:
    """A note of the advice for a page: in the units shown, without the option of the command that tells it."""
    return said(re.sub(r" \(--[^)]*\)", "", text), system)


def figure_views(figures: Iterable[Figure], system: System) -> tuple[FigureView, ...]:
    made = []
    for figure in figures:
        value, unit = value_and_unit(figure, system == "us")
        found = origin(figure.function)
        name = said(figure.name.strip(), system)
        made.append(
            FigureView(
                name[:1].upper() + name[1:], value.replace("-", MINUS), _degrees(unit), said(figure.note, system),
                found.function.removeprefix("sootline."), found.source,
            )
        )  # fmt: skip
    return tuple(made)


def _degrees(unit: str) -> str:
    """A difference is told in degrees, not in kelvins."""
    return unit.replace("K per", "°C per") if unit.startswith("K per") else "°C" if unit == "K" else unit
