"""Supply tank, suction line, refill pump, day tank and nozzle block."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tests.records.oil import Oil, heat_capacity


@dataclass
class Line:
    """Refill line: free pump flow [l/s], lift [kPa], laminar resistance of pipe and of clean filter [kPa s/(l cSt)]."""

    free_l_s: float
    lift_kPa: float
    pipe: float
    filter: float

    def flow(self, viscosity_cSt: float, plug: float) -> tuple[float, float]:
        """Delivered flow [l/s] and suction vacuum [kPa]; a pump starved beyond 25 kPa loses its fill."""
        resistance = (self.pipe + self.filter * (1.0 + plug)) * viscosity_cSt
        low, high = 0.0, self.free_l_s
        vacuum = 0.0
        for _ in range(22):
            flow = 0.5 * (low + high)
            vacuum = self.lift_kPa + resistance * flow
            starved = max(0.0, (vacuum - 25.0) / 62.0)
            if self.free_l_s * (1.0 - min(1.0, starved) ** 1.4) > flow:
                low = flow
            else:
                high = flow
        return 0.5 * (low + high), min(vacuum, 88.0)


@dataclass
class TankShape:
    """Day tank: brim, float's upper point, differential, low, high-level and starving marks [l], heat [J/K, W/K]."""

    brim_l: float
    full_l: float
    differential_l: float
    low_l: float
    high_l: float
    starve_l: float
    steel_J_K: float
    loss_W_K: float
    element_tau_s: float
    mix_tau_s: float
    plume_gain: float
    probe_tau_s: float
    control_tau_s: float


class DayTank:
    """Oil in the day tank: mass [kg], temperature, what the probe and the thermostat bulb see [degC]."""

    __slots__ = ("bulb", "cold_J", "element_W", "mass", "oil", "probe", "shape", "spilled_l", "temperature")

    def __init__(self, shape: TankShape, oil: Oil, start_C: float) -> None:
        self.shape = shape
        self.oil = oil
        self.temperature = self.probe = self.bulb = start_C
        self.mass = (shape.full_l - 0.3 * shape.differential_l) * oil.density(start_C)
        self.element_W = 0.0
        self.cold_J = 0.0
        self.spilled_l = 0.0

    @property
    def level_l(self) -> float:
        """Contents at their own temperature [l]: warm oil stands higher."""
        return self.mass / self.oil.density(self.temperature)

    def step(
        self, dt: float, in_l_s: float, in_C: float, out_kg_s: float, heater_W: float, room_C: float, loop_W: float
    ) -> None:
        """Advance ``dt`` [s]. Cold oil first lies in a plume and mixes in over a time of its own."""
        s = self.shape
        cp = heat_capacity(self.temperature)
        if in_l_s > 0.0:
            added = in_l_s * dt * self.oil.density(in_C)
            self.mass += added
            self.cold_J += added * cp * (self.temperature - in_C)
        self.mass = max(self.mass - out_kg_s * dt, 0.05)
        over = self.level_l - s.brim_l
        if over > 0.0:
            self.mass -= over * self.oil.density(self.temperature)
            self.spilled_l += over
        self.element_W += (1.0 - math.exp(-dt / s.element_tau_s)) * (heater_W - self.element_W)
        mixed = self.cold_J * (1.0 - math.exp(-dt / s.mix_tau_s))
        self.cold_J -= mixed
        store = self.mass * cp + s.steel_J_K
        heat = dt * (self.element_W - s.loss_W_K * (self.temperature - room_C) - loop_W) - mixed
        self.temperature += heat / store
        seen = self.temperature - s.plume_gain * self.cold_J / store
        self.probe += (1.0 - math.exp(-dt / s.probe_tau_s)) * (seen - self.probe)
        self.bulb += (1.0 - math.exp(-dt / s.control_tau_s)) * (self.temperature - self.bulb)


@dataclass
class BlockShape:
    """Nozzle block: heat capacity [J/K], loss to room, to primary air, to the glowing chamber, to the loop [W/K]."""

    store_J_K: float
    loss_W_K: float
    fan_W_K: float
    soak_W_K: float
    loop_W_K: float
    probe_tau_s: float
    control_tau_s: float


class NozzleBlock:
    """The nozzle block with the oil in it [degC]."""

    __slots__ = ("bulb", "loop_W", "probe", "shape", "temperature")

    def __init__(self, shape: BlockShape, start_C: float) -> None:
        self.shape = shape
        self.temperature = self.probe = self.bulb = start_C
        self.loop_W = 0.0

    def step(
        self,
        dt: float,
        heater_W: float,
        room_C: float,
        chamber_C: float,
        tank_C: float,
        oil_kg_s: float,
        fan: bool,
        loop: bool,
    ) -> None:
        """Advance ``dt`` [s]; ``fan`` is combustion air over the head, ``loop`` the circulation pump."""
        s = self.shape
        self.loop_W = s.loop_W_K * (tank_C - self.temperature) if loop else 0.0
        arriving = room_C + 0.85 * (tank_C - room_C)
        heat = heater_W + self.loop_W + oil_kg_s * 2050.0 * (arriving - self.temperature)
        heat -= s.loss_W_K * (self.temperature - room_C)
        heat += s.soak_W_K * (chamber_C - self.temperature)
        if fan:
            heat -= s.fan_W_K * (self.temperature - room_C)
        self.temperature += dt * heat / s.store_J_K
        self.probe += (1.0 - math.exp(-dt / s.probe_tau_s)) * (self.temperature - self.probe)
        self.bulb += (1.0 - math.exp(-dt / s.control_tau_s)) * (self.temperature - self.bulb)
