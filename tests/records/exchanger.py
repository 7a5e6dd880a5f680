"""Fire, refractory, exchanger wall and flue: where the heat of the oil goes.

Gas is quasi-steady and passes two stages: the chamber (to the refractory mass) and the exchanger (to
the steel mass). Refractory and steel are the two stores; the blower takes heat from the steel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

CP_GAS = 1105.0  # J/(kg K), flue gas with excess air, mean over the passes (from memory)
CP_AIR = 1006.0
STOICH = 14.3  # kg air per kg oil (from memory, C/H of mineral oil)


@dataclass
class Geometry:
    """Fixed properties of one furnace: heat capacities [J/K], conductances [W/K], transfer units [-]."""

    fuel_kg_s: float
    heating_value: float
    excess_air: float
    chamber_units: float
    chamber_J_K: float
    wall_J_K: float
    radiation_W_K: float
    chamber_loss_W_K: float
    air_W_K: float
    air_flow_W_K: float
    off_flow: float
    pipe_tau_s: float
    pipe_share: float
    plenum_tau_s: float
    exchanger_units: float = 2.0

    @property
    def air_kg_s(self) -> float:
        """Combustion air at rated firing [kg/s]."""
        return self.fuel_kg_s * STOICH * self.excess_air


class Exchanger:
    """State of fire side: refractory, steel, flue pipe, plenum [degC]; ``foul`` is deposit resistance / clean."""

    __slots__ = ("chamber", "foul", "gas", "geometry", "pipe", "plenum", "taken_W", "wall")

    def __init__(self, geometry: Geometry, start_C: float) -> None:
        self.geometry = geometry
        self.chamber = self.wall = self.pipe = self.plenum = self.gas = start_C
        self.foul = 0.0
        self.taken_W = 0.0

    def step(
        self, dt: float, fuel_kg_s: float, air_share: float, blower: float, intake_C: float, return_C: float
    ) -> None:
        """Advance ``dt`` [s] with burning fuel, combustion air as a share of rated, and blower speed (0 = off)."""
        g = self.geometry
        flow = (g.air_kg_s * air_share / (1.0 + 0.12 * self.foul) + fuel_kg_s) * CP_GAS
        hot = intake_C + fuel_kg_s * g.heating_value * 0.985 / flow
        rated = (g.air_kg_s + g.fuel_kg_s) * CP_GAS
        thin = math.sqrt(rated / flow)
        # a luminous flame gives its heat by radiation: a colder flame gives much less of it
        bright = min(((hot + 273.15) / 1750.0) ** 2.5, 1.8)
        first = 1.0 - math.exp(-g.chamber_units * min(thin, 3.0) * max(bright, 0.08))
        into_chamber = flow * first * (hot - self.chamber)
        middle = hot - first * (hot - self.chamber)
        second = 1.0 - math.exp(-g.exchanger_units * min(thin, 3.0) / (1.0 + self.foul))
        self.gas = middle - second * (middle - self.wall)
        into_wall = flow * second * (middle - self.wall)

        glow = (self.chamber + 273.15) / 900.0
        radiated = g.radiation_W_K * (0.2 + 0.8 * min(glow * glow * glow, 3.0)) * (self.chamber - self.wall)
        if blower > 0.0:
            taken = g.air_W_K * blower**0.6 * (self.wall - return_C)
            air = return_C + taken / (g.air_flow_W_K * blower)
        else:
            taken = 0.07 * g.air_W_K * (self.wall - return_C)
            air = return_C + 0.7 * (self.wall - return_C)
        self.taken_W = taken
        self.chamber += dt * (into_chamber - radiated - g.chamber_loss_W_K * (self.chamber - return_C)) / g.chamber_J_K
        self.wall += dt * (into_wall + radiated - taken) / g.wall_J_K
        self.pipe += (1.0 - math.exp(-dt / g.pipe_tau_s)) * (0.8 * self.gas + 0.2 * return_C - self.pipe)
        self.plenum += (1.0 - math.exp(-dt / g.plenum_tau_s)) * (air - self.plenum)

    @property
    def probe_target(self) -> float:
        """What a perfect probe at the breech would show: mostly gas, a little pipe wall [degC]."""
        share = self.geometry.pipe_share
        return (1.0 - share) * self.gas + share * self.pipe


def steady_stack(
    geometry: Geometry,
    foul: float,
    fuel_share: float = 1.0,
    air_share: float = 1.0,
    blower: float = 1.0,
    air_C: float = 20.0,
) -> float:
    """Breech temperature [degC] after hours of firing at the given shares of rated, deposits and air at ``air_C``."""
    model = Exchanger(geometry, 150.0)
    model.foul = foul
    model.chamber = 700.0
    for _ in range(1200):
        model.step(8.0, geometry.fuel_kg_s * fuel_share, air_share, blower, air_C, air_C)
    return model.probe_target


def fit_units(geometry: Geometry, stack_C: float) -> None:
    """Set the clean exchanger's transfer units so that steady firing at 20 degC air shows ``stack_C``."""
    low, high = 0.3, 8.0
    for _ in range(26):
        geometry.exchanger_units = 0.5 * (low + high)
        if steady_stack(geometry, 0.0) > stack_C:
            low = geometry.exchanger_units
        else:
            high = geometry.exchanger_units


def rise_table(geometry: Geometry) -> tuple[list[float], list[float]]:
    """Deposits [-] and the rise of the steady stack they cause [K], for looking up in either direction."""
    fouls = [0.0, 0.05, 0.1, 0.2, 0.3, 0.45, 0.6, 0.8, 1.0, 1.4]
    clean = steady_stack(geometry, 0.0)
    return fouls, [steady_stack(geometry, foul) - clean for foul in fouls]
