"""Oil as the model carries it: the laws of `sootline.heat` reduced to coefficients that mix and evaluate quickly."""

import math
from dataclasses import dataclass
from functools import cache

from sootline.heat.density import expansion_coefficient
from sootline.heat.grades import grade
from sootline.heat.heating_value import net_d4868
from sootline.heat.specific_heat import specific_heat
from sootline.heat.viscosity import LOWEST_C

WATER_15C_KG_M3 = 999.1


@dataclass(frozen=True, slots=True)
class Oil:
    """One oil, or a blend.

    line_a, line_b: A and B of ASTM D341
    density15_kg_m3: density at 15 °C; expansion_1_K: thermal expansion coefficient at 15 °C
    heat_J_kgK, heat_J_kgK2: specific heat at 0 °C and its slope (Cragoe)
    ash_percent: ash [% by mass]; net_J_kg: net heating value
    """

    line_a: float
    line_b: float
    density15_kg_m3: float
    expansion_1_K: float
    heat_J_kgK: float
    heat_J_kgK2: float
    ash_percent: float
    net_J_kg: float

    def density_kg_l(self, temperature_C: float) -> float:
        """Density [kg/L]; the lubricant row of ASTM D1250, as `heat.density`."""
        step = self.expansion_1_K * (temperature_C - 15.0)
        return 1e-3 * self.density15_kg_m3 * math.exp(-step * (1.0 + 0.8 * step))

    def enthalpy_J_kg(self, temperature_C: float) -> float:
        """Enthalpy above 0 °C: the integral of the specific heat."""
        return (self.heat_J_kgK + 0.5 * self.heat_J_kgK2 * temperature_C) * temperature_C

    def temperature_C(self, enthalpy_J_kg: float) -> float:
        """Temperature of oil with this enthalpy above 0 °C."""
        c0, c1 = self.heat_J_kgK, self.heat_J_kgK2
        return (math.sqrt(c0 * c0 + 2.0 * c1 * enthalpy_J_kg) - c0) / c1

    def specific_heat_J_kgK(self, temperature_C: float) -> float:
        return self.heat_J_kgK + self.heat_J_kgK2 * temperature_C

    def viscosity_mm2_s(self, temperature_C: float) -> float:
        """Kinematic viscosity; ASTM D341 as `heat.viscosity`, its inverse taken directly (good to 2e-4 at 2 mm²/s).

        Below -20 °C the value at -20 °C: colder oil no longer follows the line.
        """
        kelvin = max(LOWEST_C, temperature_C) + 273.15
        u: float = 10.0 ** (10.0 ** (self.line_a - self.line_b * math.log10(kelvin))) - 0.7
        if u > 10.0:  # the exponential is below 1e-9
            return u
        return u - math.exp(-0.7487 - 3.295 * u + 0.6119 * u * u - 0.3193 * u * u * u)


@cache
def oil(kind: str, ash_percent: float | None = None) -> Oil:
    """The typical oil of a grade named in `heat.grades`, with its own ash content [% by mass] where given.

    Raises: OutOfRange for an unknown grade.
    """
    typical = grade(kind)
    line = typical.viscosity()
    gravity = typical.density15_kg_m3 / WATER_15C_KG_M3
    cold, warm = specific_heat(0.0, gravity), specific_heat(100.0, gravity)
    ash = typical.ash_percent if ash_percent is None else ash_percent
    return Oil(
        line_a=line.a,
        line_b=line.b,
        density15_kg_m3=typical.density15_kg_m3,
        expansion_1_K=expansion_coefficient(typical.density15_kg_m3),
        heat_J_kgK=float(cold),
        heat_J_kgK2=float(warm - cold) / 100.0,
        ash_percent=ash,
        net_J_kg=net_d4868(typical.density15_kg_m3, ash_percent=ash) * 1e6,
    )


def blend(first: Oil, second: Oil, share: float) -> Oil:
    """The blend with `share` [-] of `second`.

    A and B mix linearly by volume, which is ASTM D7152 (ln ln Z averaged) at every temperature at once; the rest
    is averaged, a volume share standing for a mass share (the densities of used oils differ by a few per cent).
    """
    if first == second:
        return first
    keep = 1.0 - share
    return Oil(
        keep * first.line_a + share * second.line_a,
        keep * first.line_b + share * second.line_b,
        keep * first.density15_kg_m3 + share * second.density15_kg_m3,
        keep * first.expansion_1_K + share * second.expansion_1_K,
        keep * first.heat_J_kgK + share * second.heat_J_kgK,
        keep * first.heat_J_kgK2 + share * second.heat_J_kgK2,
        keep * first.ash_percent + share * second.ash_percent,
        keep * first.net_J_kg + share * second.net_J_kg,
    )
