"""Air a fuel needs and the flue gas it gives.

Gas volumes are m³ at 0 °C and 101.325 kPa per kg of fuel, ideal gas (22.414 m³/kmol).
"""

from dataclasses import dataclass

from sootline.errors import OutOfRange
from sootline.heat.composition import Composition
from sootline.heat.elementwise import F, check_range

AIR_OXYGEN = 0.2095
AIR_KG_PER_M3N = 1.2922


@dataclass(frozen=True)
class Stoichiometry:
    """Combustion of 1 kg fuel with exactly enough air."""

    oxygen_m3n: float
    air_m3n: float
    air_kg: float
    dry_flue_m3n: float
    water_m3n: float
    co2_max_percent: float

    @property
    def dry_flue_per_air(self) -> float:
        """Dry flue gas per combustion air at lambda 1 [m³/m³]."""
        return self.dry_flue_m3n / self.air_m3n


def stoichiometry(fuel: Composition) -> Stoichiometry:
    """Stoichiometric oxygen, air and flue gas of `fuel` [m³ at 0 °C per kg, kg/kg, %].

    O2min = 1.866 C + 5.556 H + 0.70 S - 0.70 O; Lmin = O2min/0.2095;
    dry flue = 1.866 C + 0.70 S + 0.7905 Lmin; water = 11.11 H + 1.244 W; CO2max = 1.866 C / dry flue.
    Raises: OutOfRange from `Composition`, or when the fuel needs no air
    Source: molar volumes of the complete combustion reactions, 22.414 m³/kmol.
    """
    oxygen = 1.866 * fuel.carbon + 5.556 * fuel.hydrogen + 0.70 * fuel.sulfur - 0.70 * fuel.oxygen
    if oxygen <= 0.0:
        raise OutOfRange("this composition needs no air: it is not a fuel")
    air = oxygen / AIR_OXYGEN
    dry = 1.866 * fuel.carbon + 0.70 * fuel.sulfur + (1.0 - AIR_OXYGEN) * air
    return Stoichiometry(
        oxygen_m3n=oxygen,
        air_m3n=air,
        air_kg=air * AIR_KG_PER_M3N,
        dry_flue_m3n=dry,
        water_m3n=11.11 * fuel.hydrogen + 1.244 * fuel.water,
        co2_max_percent=100.0 * 1.866 * fuel.carbon / dry,
    )


def air_ratio_from_o2(o2_percent: F, fuel: Composition) -> F:
    """Air ratio lambda [-] from oxygen in the dry flue gas [%]; excess air is lambda - 1.

    lambda = 1 + r O2 / (20.95 - O2), r the dry flue gas per air at lambda 1.
    Valid: O2 0 to 20 %, complete combustion.
    Raises: OutOfRange
    Source: mass balance with air at 20.95 % oxygen.
    """
    check_range("flue oxygen", o2_percent, 0.0, 20.0, "%")
    return 1.0 + stoichiometry(fuel).dry_flue_per_air * o2_percent / (100.0 * AIR_OXYGEN - o2_percent)


def air_ratio_from_co2(co2_percent: F, fuel: Composition) -> F:
    """Air ratio lambda [-] from carbon dioxide in the dry flue gas [%].

    lambda = 1 + r (CO2max/CO2 - 1).
    Valid: CO2 above 1 % and not above the fuel's CO2max, complete combustion.
    Raises: OutOfRange
    Source: mass balance with air at 20.95 % oxygen.
    """
    balance = stoichiometry(fuel)
    check_range("flue carbon dioxide", co2_percent, 1.0, balance.co2_max_percent, "%")
    return 1.0 + balance.dry_flue_per_air * (balance.co2_max_percent / co2_percent - 1.0)


def o2_from_co2(co2_percent: F, fuel: Composition) -> F:
    """Oxygen in the dry flue gas [%] that goes with a carbon dioxide reading [%].

    O2 = 20.95 (1 - CO2/CO2max).
    Valid: CO2 0 to CO2max; a fuel other than assumed shifts the answer.
    Raises: OutOfRange
    Source: mass balance; exact for a fuel that fixes CO2max.
    """
    co2_max = stoichiometry(fuel).co2_max_percent
    check_range("flue carbon dioxide", co2_percent, 0.0, co2_max, "%")
    return 100.0 * AIR_OXYGEN * (1.0 - co2_percent / co2_max)
