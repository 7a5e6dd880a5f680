"""Ice point, boiling point and bath comparison of a temperature channel."""

import math
from dataclasses import dataclass
from typing import Literal

from sootline.errors import OutOfRange, UserError

Sensor = Literal["thermocouple", "pt1000", "1-wire"]

ICE_TOLERANCE_K: dict[Sensor, float] = {"thermocouple": 1.5, "pt1000": 0.5, "1-wire": 0.5}
BATH_TOLERANCE_K: dict[Sensor, float] = {"thermocouple": 2.0, "pt1000": 1.0, "1-wire": 1.0}
OFFSET_LIMIT_K = 3.0
SLOPE_LIMITS = (0.98, 1.02)
BOILING_RANGE_PA = (50e3, 110e3)


@dataclass(frozen=True, slots=True)
class Correction:
    """True temperature = (reading - offset_K) * slope, readings in Celsius."""

    offset_K: float
    slope: float = 1.0

    def corrected_C(self, reading_C: float) -> float:
        return (reading_C - self.offset_K) * self.slope


def boiling_point_C(station_Pa: float) -> float:
    """Boiling point of water [Celsius] at the station's own pressure [Pa], 50 to 110 kPa.

    Antoine equation with the usual constants for 1 to 100 Celsius (pressure in mmHg); within 0.08 K of IAPWS-IF97
    over the range. The pressure must not be reduced to sea level. Raises OutOfRange.
    """
    low, high = BOILING_RANGE_PA
    if not low <= station_Pa <= high:
        raise OutOfRange(f"boiling point: {station_Pa:g} Pa is outside {low:g} to {high:g} Pa")
    return 1730.63 / (8.07131 - math.log10(station_Pa / 133.322)) - 233.426


def ice_point(reading_C: float, sensor: Sensor) -> Correction:
    """Offset from a bath of crushed, drained ice. Raises UserError when the channel is further off than it may be."""
    limit = ICE_TOLERANCE_K[sensor]
    if not abs(reading_C) <= limit:
        raise UserError(f"Reads {reading_C:.2f} °C in ice, over {limit:g} K off: stir, wait; else replace the probe.")
    return Correction(reading_C)


def two_points(ice_C: float, boiling_C: float, station_Pa: float) -> Correction:
    """Offset and slope from the ice and boiling points. Raises UserError outside 3 K and 0.98 to 1.02."""
    span_K = boiling_C - ice_C
    slope = boiling_point_C(station_Pa) / span_K if span_K > 0 else math.inf
    if abs(ice_C) > OFFSET_LIMIT_K:
        raise UserError(f"Offset {ice_C:.1f} K is over {OFFSET_LIMIT_K:g} K: replace the probe, do not correct it.")
    if not SLOPE_LIMITS[0] <= slope <= SLOPE_LIMITS[1]:
        raise UserError(f"Slope {slope:.3f} is outside 0.98 to 1.02: replace the probe, do not correct it.")
    return Correction(ice_C, slope)


def bath_difference_K(reading_C: float, reference_C: float, sensor: Sensor) -> float:
    """Probe less reference in a warm stirred bath, for probes that are not boiled. Raises UserError when too large."""
    difference = reading_C - reference_C
    limit = BATH_TOLERANCE_K[sensor]
    if not abs(difference) <= limit:
        raise UserError(f"Reads {difference:+.2f} K off the reference, over {limit:g} K: check both, then replace.")
    return difference
