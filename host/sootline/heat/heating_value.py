"""Heating value of an oil, and what water and ash take away from it.

Gross: the water formed condenses. Net: it leaves as vapour, as it does up a chimney.
"""

from sootline.errors import OutOfRange
from sootline.heat.composition import Composition
from sootline.heat.conversions import MJ_PER_L_PER_BTU_PER_GAL
from sootline.heat.elementwise import check_range

MJ_PER_KG_PER_CAL_PER_G = 4.1868e-3
WATER_EVAPORATION_MJ_PER_KG = 2.442  # at 25 °C

# 40 CFR part 98 table C-1: default gross heating value [mmBtu/US gal].
_CFR98_C1 = {
    "used oil": 0.138,
    "lubricants": 0.144,
    "distillate no. 1": 0.139,
    "distillate no. 2": 0.138,
    "distillate no. 4": 0.146,
    "residual no. 5": 0.140,
    "residual no. 6": 0.150,
    "kerosene": 0.135,
    "vegetable oil": 0.120,
}


def gross_nbs97(specific_gravity: float) -> float:
    """Gross heating value at constant volume [MJ/kg] of a clean, dry petroleum oil.

    Qv = 12400 - 2100 d^2 cal/g, d the specific gravity 60/60 °F [-].
    Valid: d 0.75 to 1.0.
    Raises: OutOfRange
    Source: NBS Miscellaneous Publication 97 (1929), the origin of ASTM D4868.
    """
    check_range("specific gravity", specific_gravity, 0.75, 1.0, "")
    return (12400.0 - 2100.0 * specific_gravity**2) * MJ_PER_KG_PER_CAL_PER_G


def net_nbs97(specific_gravity: float) -> float:
    """Net heating value at constant pressure [MJ/kg] of a clean, dry petroleum oil.

    Qp = Qv - 50.45 H cal/g, hydrogen H = 26 - 15 d [% by mass].
    Valid: d 0.75 to 1.0.
    Raises: OutOfRange
    Source: NBS Miscellaneous Publication 97 (1929); hydrogen and net relations from memory.
    """
    hydrogen_percent = 26.0 - 15.0 * specific_gravity
    return gross_nbs97(specific_gravity) - 50.45 * hydrogen_percent * MJ_PER_KG_PER_CAL_PER_G


def _combustible_share(water_percent: float, ash_percent: float, sulfur_percent: float) -> float:
    check_range("water", water_percent, 0.0, 50.0, "% by mass")
    check_range("ash", ash_percent, 0.0, 10.0, "% by mass")
    check_range("sulfur", sulfur_percent, 0.0, 10.0, "% by mass")
    return 1.0 - (water_percent + ash_percent + sulfur_percent) / 100.0


def gross_d4868(
    density15_kg_m3: float, water_percent: float = 0.0, ash_percent: float = 0.0, sulfur_percent: float = 0.0
) -> float:
    """Gross heating value [MJ/kg] of an oil with water, ash and sulfur [% by mass].

    Qg = (51.916 - 8.792e-6 rho^2)(1 - (x + y + s)/100) + 0.0942 s, rho the density at 15 °C [kg/m³].
    Valid: 750 to 1000 kg/m³; an estimate for used oil, which the standard does not cover.
    Raises: OutOfRange
    Source: ASTM D4868 (coefficients from memory; within 0.1 MJ/kg of NBS 97).
    """
    check_range("density at 15 °C", density15_kg_m3, 750.0, 1000.0, "kg/m³")
    share = _combustible_share(water_percent, ash_percent, sulfur_percent)
    return (51.916 - 8.792e-6 * density15_kg_m3**2) * share + 0.0942 * sulfur_percent


def net_d4868(
    density15_kg_m3: float, water_percent: float = 0.0, ash_percent: float = 0.0, sulfur_percent: float = 0.0
) -> float:
    """Net heating value [MJ/kg] of an oil with water, ash and sulfur [% by mass].

    Qn = (46.423 - 8.792e-6 rho^2 + 3.170e-3 rho)(1 - (x + y + s)/100) + 0.0942 s - 0.02449 x.
    Valid: 750 to 1000 kg/m³; an estimate for used oil, which the standard does not cover.
    Raises: OutOfRange
    Source: ASTM D4868 (coefficients from memory; within 0.1 MJ/kg of NBS 97).
    """
    check_range("density at 15 °C", density15_kg_m3, 750.0, 1000.0, "kg/m³")
    share = _combustible_share(water_percent, ash_percent, sulfur_percent)
    dry = 46.423 - 8.792e-6 * density15_kg_m3**2 + 3.170e-3 * density15_kg_m3
    return dry * share + 0.0942 * sulfur_percent - 0.02449 * water_percent


def gross_boie(fuel: Composition) -> float:
    """Gross heating value [MJ/kg] from the elements; the form for vegetable oils, which hold oxygen.

    Qg = 34.73 C + 115.1 H + 4.2 S - 10.8 O + 2.9 N, mass fractions [-].
    Raises: OutOfRange from `Composition`
    Source: modified Boie equation, Perry's Chemical Engineers' Handbook, 9th ed., as given by the `chemicals` library.
    """
    return 34.73 * fuel.carbon + 115.1 * fuel.hydrogen + 4.2 * fuel.sulfur - 10.8 * fuel.oxygen + 2.9 * fuel.nitrogen


def net_from_gross(gross_MJ_kg: float, fuel: Composition) -> float:
    """Net heating value [MJ/kg] from the gross one: less the heat that evaporates the water formed and carried.

    Qn = Qg - 2.442 (8.937 H + W), mass fractions [-]; 8.937 kg water per kg hydrogen.
    Raises: OutOfRange from `Composition`
    Source: enthalpy of evaporation of water at 25 °C, 2.442 MJ/kg; molar masses 18.015 / 2.016.
    """
    return gross_MJ_kg - WATER_EVAPORATION_MJ_PER_KG * (8.937 * fuel.hydrogen + fuel.water)


def default_gross_per_litre(kind: str) -> float:
    """Regulatory default gross heating value [MJ/L] of a fuel `kind` such as "used oil".

    Raises: OutOfRange for a kind the table does not list.
    Source: 40 CFR part 98 table C-1 (used oil 0.138 mmBtu/gal; the vegetable oil row from memory).
    """
    try:
        return _CFR98_C1[kind] * 1e6 * MJ_PER_L_PER_BTU_PER_GAL
    except KeyError:
        raise OutOfRange(f"no default heating value for {kind!r}; known: {', '.join(_CFR98_C1)}") from None
