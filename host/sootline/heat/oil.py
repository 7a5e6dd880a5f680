"""One batch of oil: what it is, how warm it must be at the nozzle, and how warm it must never be."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import fsum
from typing import Literal

from sootline.errors import OutOfRange
from sootline.heat.blend import blend_lines, check_fractions
from sootline.heat.composition import RAPESEED
from sootline.heat.elementwise import check_range
from sootline.heat.grades import Grade, grade
from sootline.heat.heating_value import gross_boie, gross_d4868, net_d4868, net_from_gross
from sootline.heat.viscosity import ViscosityLine, line_through

ASSUMED_FLASH_C = (200.0 - 32.0) / 1.8  # lower bound of class IIIB liquids, NFPA 30 as quoted; used when untested
ASSUMED_DENSITY_KG_M3 = 885.0
COKING_C = 120.0
SMALL_MARGIN_K = 20.0
UNHEATED_C = 15.0
WATER_CAUTION_PERCENT = 0.5


@dataclass(frozen=True)
class Flash:
    """Flash point [°C] and how it is known: measured, promised by a standard for the unused product, or assumed."""

    temperature_C: float
    known: Literal["measured", "standard", "assumed"]


@dataclass(frozen=True)
class Oil:
    """A batch: viscosity line, density at 15 °C [kg/m³], flash point, heating values [MJ/kg], ash [% by mass].

    notes: what in it is assumed rather than measured, and what to beware of, in words.
    """

    viscosity: ViscosityLine
    density15_kg_m3: float
    flash: Flash
    gross_MJ_kg: float
    net_MJ_kg: float
    ash_percent: float
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Measured:
    """What was tested on a batch, None where it was not: flash [°C], density at 15 °C [kg/m³], contents [% by mass]."""

    flash_C: float | None = None
    density15_kg_m3: float | None = None
    water_percent: float = 0.0
    ash_percent: float | None = None
    sulfur_percent: float = 0.0


def oil_of_parts(parts: Mapping[str, float], tests: Measured | None = None) -> Oil:
    """A blend of known kinds; `parts` maps kind to volume fraction [-]; one kind with fraction 1 is that oil.

    Viscosity by D7152 at 40 and 100 °C, density and ash by volume and mass, flash the lowest of the parts.
    Raises: OutOfRange for unknown kinds or fractions that do not sum to 1
    Source: ASTM D341, D7152, D4868; typical grade values of `heat.grades`.
    """
    measured = Measured() if tests is None else tests
    check_fractions(list(parts.values()))
    rows = [grade(kind) for kind in parts]
    shares = list(parts.values())
    line = rows[0].viscosity() if len(rows) == 1 else blend_lines([r.viscosity() for r in rows], shares)
    density15 = fsum(x * r.density15_kg_m3 for x, r in zip(shares, rows, strict=True))
    mass = [x * r.density15_kg_m3 / density15 for x, r in zip(shares, rows, strict=True)]
    ash = fsum(m * r.ash_percent for m, r in zip(mass, rows, strict=True))
    vegetable = fsum(m for m, r in zip(mass, rows, strict=True) if r.vegetable)
    flash = min((flash_point(r) for r in rows), key=lambda f: f.temperature_C)
    return _oil(line, density15, flash, ash, vegetable, measured, ("viscosity: typical of the kind, not measured",))


def oil_of_points(points: Mapping[float, float], tests: Measured | None = None, vegetable: bool = False) -> Oil:
    """An oil known by two viscosity points, `points` mapping temperature [°C] to viscosity [mm²/s].

    Raises: OutOfRange unless there are two usable points
    Source: ASTM D341; density 885 kg/m³ and ash 0.87 % assumed when not measured.
    """
    measured = Measured() if tests is None else tests
    if len(points) != 2:
        raise OutOfRange(f"two viscosity points are needed, {len(points)} given")
    (t1, v1), (t2, v2) = points.items()
    line = line_through(t1, v1, t2, v2)
    assumed = Flash(ASSUMED_FLASH_C, "assumed")
    return _oil(line, ASSUMED_DENSITY_KG_M3, assumed, 0.87, 1.0 if vegetable else 0.0, measured, ())


def flash_point(row: Grade) -> Flash:
    """Flash point [°C] to reckon with for an untested oil of a grade.

    Source: the standard's minimum where `heat.grades` has one; else 93 °C (200 °F), the lower bound of class IIIB
    liquids after NFPA 30 as quoted by a university: used oil is normally above it, but fuel in it can bring it below.
    """
    return Flash(ASSUMED_FLASH_C, "assumed") if row.flash_C is None else Flash(row.flash_C, "standard")


def _oil(
    line: ViscosityLine,
    density15_kg_m3: float,
    flash: Flash,
    ash_percent: float,
    vegetable_share: float,
    tests: Measured,
    estimates: tuple[str, ...],
) -> Oil:
    """Put the measured values in the place of the assumed ones, and list what stays assumed."""
    notes = list(estimates)
    if tests.density15_kg_m3 is None:
        notes.append("density: assumed")
    if tests.ash_percent is None:
        notes.append("ash: assumed")
    if tests.flash_C is not None:
        check_range("flash point", tests.flash_C, -50.0, 400.0, "°C")
        flash = Flash(tests.flash_C, "measured")
    elif flash.known == "assumed":
        notes.append("flash point: not tested, a cautious value assumed; fuel in the oil lowers it, have it tested")
    else:
        notes.append("flash point: of the unused product; fuel in the oil lowers it, have it tested")
    notes.append("heating value: estimated from density, for oils of normal refining")
    if tests.water_percent > WATER_CAUTION_PERCENT:
        notes.append("water: boils out of hot oil violently and puts flames out; settle and drain it first")
    density15 = density15_kg_m3 if tests.density15_kg_m3 is None else tests.density15_kg_m3
    ash = ash_percent if tests.ash_percent is None else tests.ash_percent
    gross, net = heating_values(density15, tests.water_percent, ash, tests.sulfur_percent, vegetable_share)
    return Oil(line, density15, flash, gross, net, ash, tuple(notes))


def heating_values(
    density15: float, water: float, ash: float, sulfur: float, vegetable_share: float
) -> tuple[float, float]:
    """Gross and net heating value [MJ/kg] of petroleum and vegetable oil with water, ash and sulfur [% by mass].

    density15: at 15 °C [kg/m³]; vegetable_share: mass fraction of vegetable oil [-], taken as rapeseed.
    Raises: OutOfRange
    Source: ASTM D4868 for petroleum (coefficients from memory; used oil is not covered, so an estimate); modified
    Boie equation (Perry's Handbook, 9th ed.) for vegetable oil; mixed by mass.
    """
    gross, net = gross_d4868(density15, water, ash, sulfur), net_d4868(density15, water, ash, sulfur)
    share = 1.0 - (water + ash + sulfur) / 100.0
    dry = gross_boie(RAPESEED)
    gross_veg = dry * share
    net_veg = net_from_gross(dry, RAPESEED) * share - 0.02442 * water
    x = vegetable_share
    return gross * (1.0 - x) + gross_veg * x, net * (1.0 - x) + net_veg * x


AdviceStatus = Literal["heat", "no heating needed", "above flash point", "out of range"]


@dataclass(frozen=True)
class NozzleAdvice:
    """Nozzle temperature for one viscosity [mm²/s]; `temperature_C` is None unless the status is "heat".

    needed_C: what the viscosity asks for, None outside the validity of D341; margin_K: from there up to the flash
    point;
    small_margin: under 20 K; cokes: above 120 °C.
    """

    viscosity_mm2_s: float
    status: AdviceStatus
    temperature_C: float | None
    needed_C: float | None
    margin_K: float | None
    small_margin: bool = False
    cokes: bool = False


def nozzle_advice(oil: Oil, viscosity_mm2_s: float) -> NozzleAdvice:
    """Nozzle temperature [°C] for a wanted viscosity [mm²/s], refused at and above the flash point.

    T from ASTM D341; margin = flash - T. Up to 15 mm²/s atomises well, 15 to 25 is usable (common practice). An assumed
    flash point is treated like a measured one.
    Raises: OutOfRange for a viscosity outside D341
    Source: ASTM D341; never heat oil above its flash point in the fuel system: US Navy fuel training text and
    common practice; coking from 120 °C surface temperature, from memory; 20 K margin, common practice.
    """
    check_range("viscosity", viscosity_mm2_s, 0.21, 2e7, "mm²/s")
    if oil.viscosity.at(UNHEATED_C) <= viscosity_mm2_s:
        return NozzleAdvice(viscosity_mm2_s, "no heating needed", None, None, None)
    try:
        needed = oil.viscosity.temperature_for(viscosity_mm2_s)
    except OutOfRange:
        return NozzleAdvice(viscosity_mm2_s, "out of range", None, None, None)
    margin = oil.flash.temperature_C - needed
    if margin <= 0.0:
        return NozzleAdvice(viscosity_mm2_s, "above flash point", None, needed, margin)
    small, cokes = margin < SMALL_MARGIN_K, needed > COKING_C
    return NozzleAdvice(viscosity_mm2_s, "heat", needed, needed, margin, small, cokes)
