"""What an oil needs and gives: nozzle temperature, margin below flash, heat by volume and by refill."""

from sootline.advice.figure import Figure
from sootline.heat.ash import BurnedBatch, ash_brought
from sootline.heat.conversions import fahrenheit
from sootline.heat.density import litres_at_15C
from sootline.heat.oil import (
    NozzleAdvice,
    Oil,
    flash_point,
    heating_values,
    nozzle_advice,
    oil_of_parts,
    oil_of_points,
)
from sootline.heat.refill_use import heat_per_refill
from sootline.heat.viscosity import ViscosityLine

TARGETS_MM2_S = (15.0, 20.0)
CAUTION = (
    "Hot oil burns and its vapour ignites: never heat above the flash point, keep an independent over-temperature "
    "cut-out, and let the burner's maker, a licensed technician and local codes decide."
)


def figures(
    oil: Oil, us: bool = False, differential_l: float | None = None, tank_C: float = 60.0, measured: bool = False
) -> list[Figure]:
    """Every figure of an oil.

    us: °F in the notes; differential_l: oil between the float's levels [L], for what a refill brings, at tank_C [°C];
    measured: the viscosity line goes through measured points
    Raises: OutOfRange
    """
    made = []
    for target in TARGETS_MM2_S:
        advice = nozzle_advice(oil, target)
        note = _advice_text(advice, oil, us)
        name, key = f"nozzle for {target:g} mm²/s", f"nozzle_{target:g}_mm2_s"
        made.append(Figure(key, name, advice.temperature_C, "temperature", note, nozzle_advice))
        if advice.status == "heat":
            key = f"margin_{target:g}_mm2_s"
            made.append(Figure(key, "  below flash by", advice.margin_K, "difference", "", nozzle_advice))
    flash = oil.flash
    made.append(Figure("flash", "flash point", flash.temperature_C, "temperature", flash.known, flash_point))
    for at_C in (20.0, 40.0, 100.0):
        value = float(oil.viscosity.at(at_C))
        name = f"viscosity at {fahrenheit(at_C):.0f} °F" if us else f"viscosity at {at_C:.0f} °C"
        made.append(Figure(f"viscosity_{at_C:.0f}C", name, value, "viscosity", "", ViscosityLine.at))
    per_l = oil.density15_kg_m3 / 1000.0
    maker = oil_of_points if measured else oil_of_parts
    made += [
        Figure("density_15C", "density at 15 °C", oil.density15_kg_m3, "density", "", maker),
        Figure("gross", "heat, gross", oil.gross_MJ_kg, "energy per mass", "", heating_values),
        Figure("net", "heat, net", oil.net_MJ_kg, "energy per mass", "", heating_values),
        Figure("gross_per_l", "heat, gross", oil.gross_MJ_kg * per_l, "energy per volume", "at 15 °C", heating_values),
        Figure(
            "ash",
            "ash brought",
            ash_brought(BurnedBatch(1000.0, oil.density15_kg_m3, oil.ash_percent)),
            "mass per volume",
            "about a tenth stays in the exchanger",
            ash_brought,
        ),
    ]
    if differential_l is not None:
        made += _refill(oil, differential_l, tank_C, us)
    return made


def _refill(oil: Oil, differential_l: float, tank_C: float, us: bool) -> list[Figure]:
    litres = float(litres_at_15C(differential_l, tank_C, oil.density15_kg_m3))
    heat = heat_per_refill(differential_l, tank_C, oil.density15_kg_m3, oil.gross_MJ_kg)
    at = f"measured at {fahrenheit(tank_C):.0f} °F" if us else f"measured at {tank_C:.0f} °C"
    return [
        Figure("refill_hot", "a refill, hot", differential_l, "volume", at, litres_at_15C),
        Figure("refill_15C", "a refill at 15 °C", litres, "volume", "", litres_at_15C),
        Figure("refill_heat", "heat in a refill, gross", heat, "energy", "", heat_per_refill),
    ]


def _advice_text(advice: NozzleAdvice, oil: Oil, us: bool) -> str:
    def shown(temperature_C: float) -> str:
        return f"{fahrenheit(temperature_C):.0f} °F" if us else f"{temperature_C:.0f} °C"

    if advice.status == "no heating needed":
        return "thin enough without heating"
    if advice.status == "out of range" or advice.needed_C is None:
        return "refused: outside the range of ASTM D341"
    if advice.status == "above flash point":
        flash = f"{oil.flash.known} flash point {shown(oil.flash.temperature_C)}"
        remedy = "thin the blend" if oil.flash.known == "measured" else "have the flash point tested, or thin the blend"
        return f"refused: needs {shown(advice.needed_C)}, not below the {flash}; {remedy}"
    notes = []
    if advice.small_margin:
        notes.append(f"small margin below the {oil.flash.known} flash point")
    if advice.cokes:
        notes.append("hot enough to coke on the heater")
    return "; ".join(notes)
