"""Everything that can be wrong with the data, each with a name. `problems` is empty for a folder fit to build from."""

from __future__ import annotations

from collections.abc import Iterator

from hardware.generate.checks import circuits, parts, pins, ratings, senses
from hardware.generate.checks.problem import Problem
from hardware.generate.load import Hardware

__all__ = ["Problem", "problems"]


def problems(hardware: Hardware) -> list[Problem]:
    """Every problem found, in the order of the data."""
    return list(_all(hardware))


def _all(hardware: Hardware) -> Iterator[Problem]:
    for check in (pins, circuits, senses, ratings, parts):
        yield from check.problems(hardware)
