"""Sizing the chamber and the heat exchanger so that the clean furnace has the stack temperature its owner measured.

The exchanger metal is one lump. Gas and air each pass it as a stream against a wall of one temperature, effectiveness
1 - exp(-NTU): effectiveness-NTU with capacity ratio 0. Ash is a resistance in series on the gas side.
"""

import math
from dataclasses import dataclass

from sootline.heat.combustion import stoichiometry
from sootline.heat.composition import USED_LUBRICANT
from sootline.sim.spec import FurnaceSpec

AIR_KG_PER_KG = stoichiometry(USED_LUBRICANT).air_kg
GAS_J_KGK = 1085.0  # mean of the flue gas up to 300 °C: with it the flue loss follows Siegert's formula
AIR_J_KGK = 1006.0
DESIGN_AIR_C = 16.0
DESIGN_WALL_C = 150.0
AIR_RISE_K = 45.0  # through the furnace at rated fire; common practice
CHAMBER_IN_W_K = 4.0  # flame to refractory
CHAMBER_OUT_W_K = 5.0  # refractory to exchanger, mostly radiation
CHAMBER_J_K = 3200.0
WALL_J_K = 45_000.0
JACKET_W_K = 3.0
IDLE_GAS_W_K = 6.0  # what the chimney draws through a burner that is off
STILL_AIR_W_K = 30.0  # what rises by itself through the exchanger while the fan is off
FLOW_EXPONENT = 0.8  # turbulent heat transfer against flow


@dataclass(frozen=True, slots=True)
class Exchanger:
    """Conductances [W/K] at design flow: gas_W_K, air_W_K capacity rates; gas_side_W_K, air_side_W_K to the metal.

    fuel_kg_s: design firing rate; ash_K_W_per_kg: fouling resistance [K/W] per kg of ash burned
    """

    fuel_kg_s: float
    net_J_kg: float
    gas_W_K: float
    air_W_K: float
    gas_side_W_K: float
    air_side_W_K: float
    ash_K_W_per_kg: float = 0.0

    def gas_decay(self, gas_W_K: float, fouling_K_W: float) -> float:
        """exp(-NTU) of the gas side [-]: the share of the gas's excess over the metal that is left at the breech."""
        clean = self.gas_side_W_K * (gas_W_K / self.gas_W_K) ** FLOW_EXPONENT
        return math.exp(-1.0 / ((1.0 / clean + fouling_K_W) * gas_W_K))

    def air_conductance(self, flow: float) -> tuple[float, float]:
        """Conductance [W/K] metal to air, and capacity rate [W/K] of the air, at `flow` [-] of design (0: fan off)."""
        if flow <= 0.0:
            return STILL_AIR_W_K * (1.0 - math.exp(-1.0)), STILL_AIR_W_K
        capacity = self.air_W_K * flow
        return capacity * (1.0 - math.exp(-self.air_side_W_K * flow**FLOW_EXPONENT / capacity)), capacity

    def steady_stack_C(self, fouling_K_W: float, fuel_kg_s: float | None = None) -> float:
        """Stack temperature [°C] after a long run at design air, air entering at DESIGN_AIR_C."""
        fuel = self.fuel_kg_s if fuel_kg_s is None else fuel_kg_s
        gas_in = DESIGN_AIR_C + fuel * self.net_J_kg / self.gas_W_K
        left = (1.0 - _CHAMBER_W_K / self.gas_W_K) * self.gas_decay(self.gas_W_K, fouling_K_W)
        to_metal = self.gas_W_K * (1.0 - left)
        to_air = self.air_conductance(1.0)[0] + JACKET_W_K
        wall = (to_metal * gas_in + to_air * DESIGN_AIR_C) / (to_metal + to_air)
        return wall + (gas_in - wall) * left


_CHAMBER_W_K = CHAMBER_IN_W_K * CHAMBER_OUT_W_K / (CHAMBER_IN_W_K + CHAMBER_OUT_W_K)


def design(spec: FurnaceSpec) -> Exchanger:
    """The exchanger of a furnace: its clean stack, and the fouling that raises it as the owner's experience says.

    Raises: ValueError when no exchanger can give that stack temperature.
    """
    oil = spec.first_oil
    fuel = spec.firing_l_h / 3600.0 * oil.density_kg_l(spec.tank.setpoint_C)
    gas = fuel * (1.0 + spec.air_ratio * AIR_KG_PER_KG) * GAS_J_KGK
    gas_in = DESIGN_AIR_C + fuel * oil.net_J_kg / gas
    stack = DESIGN_AIR_C + spec.clean_net_stack_K
    if not DESIGN_WALL_C < stack < 0.5 * gas_in:
        raise ValueError(f"{spec.id}: a clean net stack of {spec.clean_net_stack_K:g} K cannot be: take 140 to 600 K")
    left = (stack - DESIGN_WALL_C) / (gas_in - DESIGN_WALL_C)
    decay = left / (1.0 - _CHAMBER_W_K / gas)
    heat_W = gas * (gas_in - stack)
    to_air = heat_W / (DESIGN_WALL_C - DESIGN_AIR_C) - JACKET_W_K
    air = to_air * (DESIGN_WALL_C - DESIGN_AIR_C) / AIR_RISE_K
    clean = Exchanger(fuel, oil.net_J_kg, gas, air, -gas * math.log(decay), -air * math.log(1.0 - to_air / air))
    ash_kg = fuel * 3600.0 * 100.0 * oil.ash_percent / 100.0
    per_kg = fouling_for_rise(clean, spec.fouling_K_per_100h) / ash_kg
    return Exchanger(fuel, oil.net_J_kg, gas, air, clean.gas_side_W_K, clean.air_side_W_K, per_kg)


def fouling_for_rise(exchanger: Exchanger, rise_K: float) -> float:
    """Fouling resistance [K/W] that lifts the steady stack `rise_K` above clean (bisection)."""
    target = exchanger.steady_stack_C(0.0) + rise_K
    low, high = 0.0, 1.0 / exchanger.gas_side_W_K
    while exchanger.steady_stack_C(high) < target:
        low, high = high, 2.0 * high
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if exchanger.steady_stack_C(middle) < target else (low, middle)
    return 0.5 * (low + high)
