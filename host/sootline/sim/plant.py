"""The physics of one furnace and its building over one step in which nothing is switched.

Every store of heat or oil is advanced so that what leaves one arrives in another: the balances close to rounding
(the probes only look). Within a step each first-order part follows its exact exponential, its neighbours held.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from operator import add
from typing import NamedTuple

from sootline.sim.exchanger import (
    CHAMBER_IN_W_K,
    CHAMBER_J_K,
    CHAMBER_OUT_W_K,
    IDLE_GAS_W_K,
    JACKET_W_K,
    WALL_J_K,
)
from sootline.sim.oil import Oil, blend
from sootline.sim.spec import FurnaceSpec

ELEMENT_J_K = 300.0  # a heating element runs hotter than the oil and hands over its heat after it is switched off
ELEMENT_W_K = 25.0
SOAK_W_K = 0.15  # chamber to nozzle block: heat soak once air and oil no longer cool it
BLOCK_AIR_W_K = 1.0  # combustion and atomising air past the block
LAST_KG = 0.05  # below the suction of the oil loop
BREECH_S, PLENUM_S, BULB_S = 12.0, 8.0, 90.0  # lags: flue metal, fan switch, room thermostat
TANK_PROBE_S, NOZZLE_PROBE_S, AIR_PROBE_S = 8.0, 5.0, 15.0


class State(NamedTuple):
    """Everything the model remembers of its stores. Temperatures [°C] carry `_C`, contents [L] or [kg]."""

    oil: Oil
    tank_kg: float
    tank_C: float
    element_C: float
    block_C: float
    chamber_C: float
    wall_C: float
    breech_C: float
    plenum_C: float
    air_C: float
    fabric_C: float
    bulb_C: float
    tray_l: float
    supply_l: float
    tank_probe_C: float
    nozzle_probe_C: float
    stack_probe_C: float
    supply_air_probe_C: float


class Totals(NamedTuple):
    """Sums since the start, for balances: oil [kg], heat [J]."""

    pumped_l: float = 0.0
    pumped_kg: float = 0.0
    burned_kg: float = 0.0
    lost_kg: float = 0.0
    oil_in_J: float = 0.0
    oil_out_J: float = 0.0
    element_to_oil_J: float = 0.0
    tank_heater_J: float = 0.0
    tank_loss_J: float = 0.0
    fire_J: float = 0.0
    flue_J: float = 0.0
    air_J: float = 0.0
    jacket_J: float = 0.0
    soak_J: float = 0.0


@dataclass(slots=True)
class Drive:
    """What acts on the plant during a step. Flows [L/s], [kg/s]; power [W]; capacity rates and conductances [W/K]."""

    pump_l_s: float = 0.0
    nozzle_kg_s: float = 0.0
    leak_kg_s: float = 0.0
    fire_W: float = 0.0
    gas_W_K: float = IDLE_GAS_W_K
    gas_decay: float = 0.0
    burner_air: bool = False
    tank_heater_W: float = 0.0
    nozzle_heater_W: float = 0.0
    line_C: float = 20.0
    air_conductance_W_K: float = 0.0
    air_W_K: float = 1.0
    supply_C: float = 10.0
    supply_oil: Oil | None = None
    outdoor_C: float = 0.0
    building_loss_W_K: float = 0.0
    draught_K: float = 0.0


def at_rest(spec: FurnaceSpec, temperature_C: float) -> State:
    """A furnace that has stood cold: everything at one temperature, the float just up."""
    t = temperature_C
    kg = spec.tank_volume_l * spec.first_oil.density_kg_l(t)
    return State(spec.first_oil, kg, t, t, t, t, t, t, t, t, t, t, 0.0, spec.supply_start_l, t, t, t, t)


def tank_volume_l(state: State) -> float:
    return state.tank_kg / state.oil.density_kg_l(state.tank_C)


@lru_cache(maxsize=512)
def lag(dt_s: float, tau_s: float) -> tuple[float, float]:
    """Weights (k, g) of a first-order lag over a step in which its input goes straight from u0 to u1.

    y1 = u1 + (y0 - u0) k - (u1 - u0) g, with k = exp(-dt/tau) and g = (tau/dt)(1 - k): exact, whatever the step.
    """
    k = math.exp(-dt_s / tau_s)
    return k, (1.0 - k) * tau_s / dt_s


@lru_cache(maxsize=512)
def _lags(dt_s: float, stack_probe_s: float) -> tuple[float, ...]:
    held_s = (ELEMENT_J_K / ELEMENT_W_K, BREECH_S, PLENUM_S, AIR_PROBE_S)
    sloping_s = (BULB_S, TANK_PROBE_S, NOZZLE_PROBE_S, stack_probe_s)
    held = (lag(dt_s, tau_s)[0] for tau_s in held_s)
    return (*held, *(weight for tau_s in sloping_s for weight in lag(dt_s, tau_s)))


def advance(spec: FurnaceSpec, s: State, totals: Totals, d: Drive, dt_s: float) -> tuple[State, Totals]:
    """State and totals `dt_s` [s] later under constant drive."""
    element, breech, plenum, air_probe, bulb_k, bulb_g, tank_k, tank_g, nozzle_k, nozzle_g, stack_k, stack_g = _lags(
        dt_s, spec.stack_probe_s
    )
    oil, tank_kg, tank_C, element_C, spilled_l, tank = _day_tank(spec, s, d, dt_s, element)
    block_C, soak_J = _nozzle_block(spec, s, d, dt_s)
    chamber_C, wall_C, stack_C, plenum_C, heats = _furnace(s, d, dt_s, soak_J)
    air_C, fabric_C = _building(spec, s, d, dt_s, heats[2] + heats[3])
    breech_C = stack_C + (s.breech_C - stack_C) * breech
    felt_C = air_C + d.draught_K
    state = State(
        oil,
        tank_kg,
        tank_C,
        element_C,
        block_C,
        chamber_C,
        wall_C,
        breech_C,
        plenum_C + (s.plenum_C - plenum_C) * plenum,
        air_C,
        fabric_C,
        felt_C + (s.bulb_C - s.air_C - d.draught_K) * bulb_k - (air_C - s.air_C) * bulb_g,
        s.tray_l + spilled_l,
        max(0.0, s.supply_l - d.pump_l_s * dt_s) if d.pump_l_s else s.supply_l,
        tank_C + (s.tank_probe_C - s.tank_C) * tank_k - (tank_C - s.tank_C) * tank_g,
        block_C + (s.nozzle_probe_C - s.block_C) * nozzle_k - (block_C - s.block_C) * nozzle_g,
        breech_C + (s.stack_probe_C - s.breech_C) * stack_k - (breech_C - s.breech_C) * stack_g,
        plenum_C + (s.supply_air_probe_C - plenum_C) * air_probe,
    )
    return state, Totals(*map(add, totals, (*tank, *heats, soak_J)))


def _day_tank(
    spec: FurnaceSpec, s: State, d: Drive, dt_s: float, element_kept: float
) -> tuple[Oil, float, float, float, float, tuple[float, ...]]:
    """Oil, contents, temperature, element, overflow [L], totals: cold oil in, warm out, heater, loss to the room."""
    towards = s.tank_C + d.tank_heater_W / ELEMENT_W_K
    element_C = towards + (s.element_C - towards) * element_kept
    heat_J = d.tank_heater_W * dt_s - ELEMENT_J_K * (element_C - s.element_C)
    loss_J = spec.tank.loss_W_K * (s.tank_C - s.air_C) * dt_s
    oil, in_l, in_kg, in_J, out_kg, burned_kg, out_J = s.oil, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    held_J_kg = oil.enthalpy_J_kg(s.tank_C)
    drawn_kg_s = d.nozzle_kg_s + d.leak_kg_s
    if drawn_kg_s and s.tank_kg > LAST_KG:
        out_kg = min(s.tank_kg - LAST_KG, drawn_kg_s * dt_s)
        burned_kg = out_kg * d.nozzle_kg_s / drawn_kg_s
        out_J = out_kg * held_J_kg
    if d.pump_l_s and d.supply_oil is not None:
        in_l = d.pump_l_s * dt_s
        in_kg = in_l * d.supply_oil.density_kg_l(d.supply_C)
        in_J = in_kg * d.supply_oil.enthalpy_J_kg(d.supply_C)
        oil = blend(oil, d.supply_oil, in_kg / (s.tank_kg + in_kg))
    kg = s.tank_kg + in_kg - out_kg
    tank_C = oil.temperature_C((s.tank_kg * held_J_kg + in_J - out_J + heat_J - loss_J) / kg)
    spilled_kg = spilled_l = 0.0
    if in_kg:
        density = oil.density_kg_l(tank_C)
        spilled_kg = max(0.0, kg - spec.overflow_l * density)
        spilled_l = spilled_kg / density
        out_J += spilled_kg * oil.enthalpy_J_kg(tank_C)
    lost_kg = out_kg - burned_kg + spilled_kg
    sums = (in_l, in_kg, burned_kg, lost_kg, in_J, out_J, heat_J, d.tank_heater_W * dt_s, loss_J)
    return oil, kg - spilled_kg, tank_C, element_C, spilled_l, sums


def _nozzle_block(spec: FurnaceSpec, s: State, d: Drive, dt_s: float) -> tuple[float, float]:
    """Block temperature, and heat soaked from the chamber [J]: heater against oil, air and room, the fire behind."""
    oil_W_K = d.nozzle_kg_s * s.oil.specific_heat_J_kgK(d.line_C)
    to_room_W_K = spec.nozzle.loss_W_K + (BLOCK_AIR_W_K if d.burner_air else 0.0)
    total_W_K = oil_W_K + to_room_W_K + SOAK_W_K
    pull_W = d.nozzle_heater_W + oil_W_K * d.line_C + to_room_W_K * s.air_C + SOAK_W_K * s.chamber_C
    towards = pull_W / total_W_K
    block_C = towards + (s.block_C - towards) * math.exp(-dt_s * total_W_K / spec.block_J_K)
    return block_C, SOAK_W_K * (s.chamber_C - 0.5 * (s.block_C + block_C)) * dt_s


def _furnace(
    s: State, d: Drive, dt_s: float, soak_J: float
) -> tuple[float, float, float, float, tuple[float, float, float, float]]:
    """Chamber, wall, breech gas, plenum [°C]; heat of the fire, up the flue, to the air, through the jacket [J]."""
    room_C = s.air_C
    gas_in_C = room_C + d.fire_W / d.gas_W_K
    # A chamber without fire still gives its heat to the air drawn through it, through the same conductance.
    chamber_W_K = CHAMBER_IN_W_K + CHAMBER_OUT_W_K
    chamber_inf = (CHAMBER_IN_W_K * gas_in_C + CHAMBER_OUT_W_K * s.wall_C) / chamber_W_K
    chamber_C = chamber_inf + (s.chamber_C - chamber_inf) * math.exp(-dt_s * chamber_W_K / CHAMBER_J_K)
    from_gas_W = CHAMBER_IN_W_K * (gas_in_C - 0.5 * (s.chamber_C + chamber_C))
    to_wall_W = from_gas_W - (CHAMBER_J_K * (chamber_C - s.chamber_C) + soak_J) / dt_s
    gas_C = gas_in_C - from_gas_W / d.gas_W_K
    gas_conductance = d.gas_W_K * (1.0 - d.gas_decay)
    total_W_K = gas_conductance + d.air_conductance_W_K + JACKET_W_K
    pull_W = gas_conductance * gas_C + to_wall_W + (d.air_conductance_W_K + JACKET_W_K) * room_C
    x = total_W_K * dt_s / WALL_J_K
    wall_inf = pull_W / total_W_K
    wall_C = wall_inf + (s.wall_C - wall_inf) * math.exp(-x)
    mean_C = wall_inf + (s.wall_C - wall_C) / x
    stack_C = mean_C + (gas_C - mean_C) * d.gas_decay
    air_J = d.air_conductance_W_K * (mean_C - room_C) * dt_s
    plenum_C = room_C + air_J / (dt_s * d.air_W_K)
    flue_J = d.gas_W_K * (stack_C - room_C) * dt_s
    heats = (d.fire_W * dt_s, flue_J, air_J, JACKET_W_K * (mean_C - room_C) * dt_s)
    return chamber_C, wall_C, stack_C, plenum_C, heats


def _building(spec: FurnaceSpec, s: State, d: Drive, dt_s: float, heat_J: float) -> tuple[float, float]:
    """Room air and fabric [°C]."""
    b = spec.building
    total_W_K = b.coupling_W_K + d.building_loss_W_K
    pull_W = heat_J / dt_s + b.coupling_W_K * s.fabric_C + d.building_loss_W_K * d.outdoor_C
    towards = pull_W / total_W_K
    air_C = towards + (s.air_C - towards) * math.exp(-dt_s * total_W_K / b.air_J_K)
    flow_J = b.coupling_W_K * (0.5 * (s.air_C + air_C) - s.fabric_C) * dt_s
    return air_C, s.fabric_C + flow_J / b.fabric_J_K
