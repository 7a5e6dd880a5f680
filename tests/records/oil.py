"""Oils that end up in such furnaces: viscosity, density, heat capacity, heating value."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache


@dataclass(frozen=True)
class Oil:
    """One oil: kinematic viscosity [cSt] at 40 and 100 degC, density [kg/l] at 15 degC, lower heating value [J/kg]."""

    name: str
    v40: float
    v100: float
    density15: float
    heating_value: float

    def viscosity(self, temperature_C: float) -> float:
        """Kinematic viscosity [cSt], Walther equation through the two points (form of ASTM D341)."""
        a, b = _walther(self.v40, self.v100)
        kelvin = max(temperature_C, -30.0) + 273.15
        return min(math.pow(10.0, math.pow(10.0, a - b * math.log10(kelvin))) - 0.7, 30000.0)

    def density(self, temperature_C: float) -> float:
        """Density [kg/l]; mineral oils expand by about 0.07 % a kelvin (common practice)."""
        return self.density15 * (1.0 - 0.0007 * (temperature_C - 15.0))


@lru_cache(maxsize=64)
def _walther(v40: float, v100: float) -> tuple[float, float]:
    w40, w100 = (math.log10(math.log10(v + 0.7)) for v in (v40, v100))
    x40, x100 = math.log10(313.15), math.log10(373.15)
    b = (w40 - w100) / (x100 - x40)
    return w40 + b * x40, b


def heat_capacity(temperature_C: float) -> float:
    """Specific heat [J/(kg K)] of a mineral oil (from memory: about 1.8 at 0 degC, rising 0.0036 a kelvin)."""
    return 1800.0 + 3.6 * temperature_C


# Grades are ISO VG classes and common service oils; viscosity at 100 degC from memory of data sheets.
OILS = {
    oil.name: oil
    for oil in (
        Oil("hydraulic-32", 32.0, 5.4, 0.870, 42.8e6),
        Oil("hydraulic-46", 46.0, 6.8, 0.876, 42.7e6),
        Oil("hydraulic-68", 68.0, 8.7, 0.880, 42.6e6),
        Oil("engine-mixed", 82.0, 11.5, 0.888, 42.0e6),
        Oil("engine-thin", 58.0, 9.2, 0.882, 42.2e6),
        Oil("gear-hydraulic", 120.0, 12.6, 0.890, 42.0e6),
        Oil("gear-150", 150.0, 14.7, 0.893, 41.8e6),
        Oil("transmission", 34.0, 7.2, 0.866, 42.6e6),
    )
}


def blend(old: Oil, new: Oil, share: float) -> Oil:
    """A mixture with ``share`` of ``new``: viscosities on a logarithmic scale (common practice), the rest by mass."""

    def mean(a: float, b: float) -> float:
        return a + share * (b - a)

    return Oil(
        f"{old.name}+{new.name}",
        math.exp(mean(math.log(old.v40), math.log(new.v40))),
        math.exp(mean(math.log(old.v100), math.log(new.v100))),
        mean(old.density15, new.density15),
        mean(old.heating_value, new.heating_value),
    )
