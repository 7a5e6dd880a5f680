"""Oil burned, counted in refills: each refill puts one float differential into the day tank.

The pump's running time says how well oil comes, never how much was burned.
"""

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from sootline.errors import OutOfRange
from sootline.heat.conversions import GALLON_L, W_PER_BTU_PER_H
from sootline.heat.density import Kind, volume_correction_factor
from sootline.heat.elementwise import FloatArray, check_positive, check_range

SPACE_HEATER_LIMIT_W = 500_000.0 * W_PER_BTU_PER_H


@dataclass(frozen=True)
class OilBurned:
    """Oil burned [L at 15 °C] with its standard error [L], and the refills it was counted from."""

    litres: float
    standard_error_l: float
    refills: int


def oil_burned(
    tank_C: FloatArray,
    differential_l: float,
    density15_kg_m3: float,
    differential_se_l: float = 0.0,
    kind: Kind = "lubricant",
) -> OilBurned:
    """Oil burned [L at 15 °C] in a span of refills: count x differential, each corrected to 15 °C.

    tank_C: day-tank temperature just before each refill [°C], NaN where unknown (the mean of the others is taken).
    The float moves through hot oil, so the differential is a hot volume: V15 = sum V VCF(T). Error: the differential's
    own standard error once for all refills, plus one refill of counting play at the two ends, sqrt(2/12).
    Raises: OutOfRange
    Source: float-switch geometry; API MPMS 11.1 / ASTM D1250 volume correction.
    """
    check_positive("differential", differential_l, "L")
    check_range("differential error", differential_se_l, 0.0, differential_l, "L")
    refills = int(tank_C.size)
    if refills == 0:
        return OilBurned(0.0, differential_l / sqrt(12.0), 0)
    if not np.any(np.isfinite(tank_C)):
        raise OutOfRange("no tank temperature for any refill: the volume cannot be corrected to 15 °C")
    known = np.where(np.isfinite(tank_C), tank_C, np.nanmean(tank_C))
    factor = volume_correction_factor(known, density15_kg_m3, kind)
    litres = differential_l * float(np.sum(factor))
    error = hypot(litres * differential_se_l / differential_l, differential_l * sqrt(2.0 / 12.0))
    return OilBurned(litres, error, refills)


def stock_left(stock_l: float, stock_se_l: float, burned: OilBurned) -> tuple[float, float]:
    """Stock left [L at 15 °C] and its standard error [L]: what was there when measured, less what was burned since.

    Not below zero. stock_l, stock_se_l: measured stock and its error [L at 15 °C], by dipstick or level sensor.
    Raises: OutOfRange
    Source: volume balance; errors added in quadrature.
    """
    check_range("stock", stock_l, 0.0, 1e6, "L")
    check_range("stock error", stock_se_l, 0.0, 1e6, "L")
    return max(0.0, stock_l - burned.litres), hypot(stock_se_l, burned.standard_error_l)


@dataclass(frozen=True)
class FiringRate:
    """Firing rate [L/h at 15 °C, US gal/h] and heat input [W], each with a standard error."""

    l_per_h: float
    l_per_h_se: float
    gal_per_h: float
    input_W: float
    input_se_W: float


def firing_rate(
    burned: OilBurned, burning_h: float, gross_MJ_per_l: float, gross_se_MJ_per_l: float = 0.0
) -> FiringRate:
    """Firing rate and heat input from oil burned over `burning_h` burning hours [h].

    q = V15/t; input = q Qg, gross heating value Qg [MJ/L at 15 °C].
    Valid: at least 3 refills, so that the play at the ends is small.
    Raises: OutOfRange
    Source: definition; 1 gal/h at 140 000 Btu/gal is 41.03 kW.
    """
    check_positive("burning time", burning_h, "h")
    check_range("gross heating value", gross_MJ_per_l, 20.0, 50.0, "MJ/L")
    if burned.refills < 3:
        raise OutOfRange(f"{burned.refills} refills are too few for a firing rate; wait for 3")
    rate, rate_se = burned.litres / burning_h, burned.standard_error_l / burning_h
    watts = rate * gross_MJ_per_l * 1e6 / 3600.0
    relative = hypot(rate_se / rate, gross_se_MJ_per_l / gross_MJ_per_l)
    return FiringRate(rate, rate_se, rate / GALLON_L, watts, watts * relative)


@dataclass(frozen=True)
class InputCheck:
    """Heat input against the rating: ratio and standard error [-], and whether it is over by more than the error."""

    ratio: float
    ratio_se: float
    overfired: bool
    above_space_heater_limit: bool


def input_against_rating(rate: FiringRate, rated_W: float, tolerance: float = 0.10) -> InputCheck:
    """Compare the heat input with the furnace's rated input [W].

    Overfired when input/rated - 2 standard errors > 1 + tolerance [-]. The space-heater limit is 500 000 Btu/h.
    Raises: OutOfRange
    Source: plate rating; the 10 % tolerance is common practice; 40 CFR 279.23(a)(2) for the 146.54 kW limit.
    """
    check_positive("rated input", rated_W, "W")
    ratio, se = rate.input_W / rated_W, rate.input_se_W / rated_W
    return InputCheck(ratio, se, ratio - 2.0 * se > 1.0 + tolerance, rate.input_W > SPACE_HEATER_LIMIT_W)


def heat_per_refill(differential_l: float, tank_C: float, density15_kg_m3: float, heating_value_MJ_kg: float) -> float:
    """Heat in one refill [MJ] of `differential_l` [L] measured at `tank_C` [°C].

    E = V VCF(T) rho15 Q / 1000, Q the heating value [MJ/kg].
    Raises: OutOfRange
    Source: API MPMS 11.1 / ASTM D1250 volume correction; heating value as given.
    """
    check_positive("differential", differential_l, "L")
    check_range("heating value", heating_value_MJ_kg, 10.0, 50.0, "MJ/kg")
    litres = differential_l * volume_correction_factor(tank_C, density15_kg_m3)
    return litres * density15_kg_m3 / 1000.0 * heating_value_MJ_kg
