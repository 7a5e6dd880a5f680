"""What a fuel is made of, by mass."""

from dataclasses import dataclass, fields
from math import fsum

from sootline.errors import OutOfRange


@dataclass(frozen=True)
class Composition:
    """Mass fractions [kg/kg] of carbon, hydrogen, sulfur, oxygen, nitrogen, water and ash; they sum to 1 within 2 %."""

    carbon: float
    hydrogen: float
    sulfur: float = 0.0
    oxygen: float = 0.0
    nitrogen: float = 0.0
    water: float = 0.0
    ash: float = 0.0

    def __post_init__(self) -> None:
        parts = [float(getattr(self, f.name)) for f in fields(self)]
        if any(not 0.0 <= p <= 1.0 for p in parts) or abs(fsum(parts) - 1.0) > 0.02:
            raise OutOfRange(f"mass fractions must lie in 0 to 1 and sum to 1; they sum to {fsum(parts):g}")


# Common analyses; "used lubricant" is an assumed typical drain, not a measured one.
HEATING_OIL = Composition(0.862, 0.137, sulfur=0.001)
NO_2 = Composition(0.865, 0.132, sulfur=0.003)
USED_LUBRICANT = Composition(0.847, 0.130, sulfur=0.004, oxygen=0.006, water=0.005, ash=0.008)
RAPESEED = Composition(0.776, 0.117, oxygen=0.107)
