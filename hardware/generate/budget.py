"""Error budgets of the temperature channels, and what installation adds to them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from hardware.generate.load import Table

SEEBECK_K_MV_PER_K = 0.0407  # type K near 250 C, NIST ITS-90
PT1000_OHM_PER_K = 3.793  # near 100 C, IEC 60751
PT1000_RATIO_100 = 1.3851
PLAIN_TERMS = ("sensor_K", "cable_K", "converter_K", "offset_K", "cold_junction_K", "gradient_K", "mounting_K")
AIR_W_PER_M_K = 0.041  # flue gas near 250 C, as air
AIR_NU_M2_PER_S = 4.1e-5
AIR_PRANDTL = 0.69
STEEL_W_PER_M_K = 17.0
STEFAN_BOLTZMANN = 5.670374e-8


@dataclass(frozen=True)
class Budget:
    """Terms by name [K], their sum and their root sum square [K]."""

    terms: dict[str, float]

    @property
    def worst_K(self) -> float:
        return sum(self.terms.values())

    @property
    def rss_K(self) -> float:
        return math.sqrt(sum(term**2 for term in self.terms.values()))


def budget(row: Table) -> Budget:
    """Terms of one row of `probes.toml`: plain ones as they stand, the others from what they follow from."""
    terms = {key.removesuffix("_K"): float(row[key]) for key in PLAIN_TERMS if key in row}
    if "full_scale_mV" in row:
        terms["full scale"] = row["full_scale_mV"] * row["full_scale_pct"] / 100 / SEEBECK_K_MV_PER_K
    if "class_K" in row:
        terms["class"] = row["class_K"][0] + row["class_K"][1] * row["at_C"]
        terms["reference resistor"] = row["rref_pct"] / 100 * 1000 * PT1000_RATIO_100 / PT1000_OHM_PER_K
        terms["leads"] = row["lead_ohm"] / PT1000_OHM_PER_K
    return Budget(terms)


def film_W_per_m2_K(diameter_m: float, speed_m_per_s: float) -> float:
    """Film coefficient of a cylinder across the flue gas near 250 C: Churchill and Bernstein (1977)."""
    re, pr = speed_m_per_s * diameter_m / AIR_NU_M2_PER_S, AIR_PRANDTL
    shape = (1 + (0.4 / pr) ** (2 / 3)) ** 0.25
    nusselt: float = 0.3 + 0.62 * re**0.5 * pr ** (1 / 3) / shape * (1 + (re / 282_000) ** 0.625) ** 0.8
    return nusselt * AIR_W_PER_M_K / diameter_m


def stem_share(diameter_m: float, immersion_m: float, speed_m_per_s: float) -> float:
    """Part of the gas-to-wall difference that the tip loses along the stem: 1 / cosh(m L) of a rod fin."""
    m = math.sqrt(4 * film_W_per_m2_K(diameter_m, speed_m_per_s) / (STEEL_W_PER_M_K * diameter_m))
    return 1 / math.cosh(m * immersion_m)


def radiating_probe_C(
    gas_C: float, wall_C: float, diameter_m: float, speed_m_per_s: float, emissivity: float = 0.8
) -> float:
    """What a probe reads between hot gas and a cooler flue wall [C], by bisection on its heat balance."""
    h = film_W_per_m2_K(diameter_m, speed_m_per_s)
    low, high = wall_C, gas_C
    for _ in range(60):
        probe = (low + high) / 2
        radiated = emissivity * STEFAN_BOLTZMANN * ((probe + 273.15) ** 4 - (wall_C + 273.15) ** 4)
        low, high = (probe, high) if h * (gas_C - probe) > radiated else (low, probe)
    return (low + high) / 2
