"""Atomising air pressure against oil flow, measured by the technician; used only inside the measured band."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from sootline.errors import OutOfRange, UserError

LEAST_POINTS = 3
DEVIATION = 0.20


@dataclass(frozen=True, slots=True)
class AirFlow:
    """Points (air pressure [Pa], oil flow [l/h]) in rising pressure, at one stable nozzle temperature [Celsius]."""

    points: tuple[tuple[float, float], ...]
    nozzle_C: float

    def oil_l_per_h(self, air_Pa: float) -> float:
        """Flow at a pressure inside the table [l/h]. Raises OutOfRange outside: no guess beyond what was measured."""
        low, high = self.points[0][0], self.points[-1][0]
        if not low <= air_Pa <= high:
            raise OutOfRange(f"air flow table: {air_Pa:g} Pa is outside the measured {low:g} to {high:g} Pa")
        for (x0, y0), (x1, y1) in pairwise(self.points):
            if air_Pa <= x1:
                return y0 + (y1 - y0) * (air_Pa - x0) / (x1 - x0)
        return self.points[-1][1]

    def deviates(self, air_Pa: float, oil_l_per_h: float) -> bool:
        """True when a flow is over 20 % from the table: look at nozzle, viscosity and compressor. Raises OutOfRange."""
        usual = self.oil_l_per_h(air_Pa)
        return abs(oil_l_per_h - usual) > DEVIATION * usual


def air_flow(pressures_Pa: Sequence[float], flows_l_per_h: Sequence[float], nozzle_C: float) -> AirFlow:
    """Table from three settings or more. Raises UserError when too few, or when flow does not rise with pressure."""
    points = tuple(sorted(zip(pressures_Pa, flows_l_per_h, strict=False)))
    if len(pressures_Pa) != len(flows_l_per_h) or len(points) < LEAST_POINTS:
        raise UserError(f"Note a pressure and a flow for each of {LEAST_POINTS} settings or more.")
    if points[0][1] <= 0 or any(b[0] <= a[0] or b[1] <= a[1] for a, b in pairwise(points)):
        raise UserError("Oil flow must rise with air pressure: a reading is wrong, or the nozzle is. Measure again.")
    return AirFlow(points, nozzle_C)
