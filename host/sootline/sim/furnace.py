"""The live, steppable furnace: time, plant, switchgear and surroundings put together."""

import math
import random
from collections.abc import Sequence
from typing import Any, NamedTuple

from sootline.sim import exchanger, plant, suction
from sootline.sim.actions import ACTIONS
from sootline.sim.exchanger import AIR_KG_PER_KG, GAS_J_KGK, IDLE_GAS_W_K
from sootline.sim.faults import Fault, FaultBook
from sootline.sim.plant import Drive, State, Totals
from sootline.sim.sensors import standing_sensor_faults
from sootline.sim.signals import process_values
from sootline.sim.spec import FurnaceSpec
from sootline.sim.surroundings import TICK_MS, USABLE_SUPPLY, Surroundings
from sootline.sim.switchgear import Switchgear
from sootline.sim.truth import Diary, FaultInterval, Truth
from sootline.sim.weather import HOUR_MS, Weather

ACTIVE_STRIDE_MS, IDLE_STRIDE_MS = 5_000, 60_000
CLOSEST_MS = 40  # a contact's moment is found to this; the contract asks for 200
PRESSURE_EXPONENT = 0.6  # oil through a siphon nozzle against atomising pressure; common practice, no law
_MOVING = ("pump", "burner", "tank_heater", "nozzle_heater", "blower")


class Edge(NamedTuple):
    """An on/off channel changed."""

    t_ms: int
    channel: str
    on: bool


class Furnace:
    """One furnace from a seed. The same calls give the same result; steps of another length differ by rounding.

    spec: what it is made of; seed: of everything random; start_ms: first moment, UTC milliseconds
    faults: what goes wrong when; weather: its own, from the seed, when None; start_C: temperature of everything at
    the first moment, by default the room as its thermostat keeps it with the oil already warm
    """

    spec: FurnaceSpec
    t_ms: int
    faults: FaultBook
    exchanger: exchanger.Exchanger
    suction: suction.Suction
    around: Surroundings
    gear: Switchgear
    state: State
    totals: Totals
    drive: Drive

    def __init__(
        self,
        spec: FurnaceSpec,
        seed: int,
        start_ms: int,
        faults: Sequence[Fault] = (),
        weather: Weather | None = None,
        start_C: float | None = None,
    ) -> None:
        self.spec = spec
        self.t_ms = start_ms
        self.faults = FaultBook(faults)
        self.exchanger = exchanger.design(spec)
        self.suction = suction.design(spec)
        sky = weather if weather is not None else Weather(seed)
        self.around = Surroundings(spec, sky, self.exchanger, random.Random(f"{seed}/slow"))
        self.gear = Switchgear(spec, self.faults, random.Random(f"{seed}/events"))
        self.state = self._first_state(start_C)
        self.totals, self.drive = Totals(), Drive()
        self.around.start(start_ms, self.state.air_C)
        self.around.look_at_oil(self.state.block_C, self.state.oil)
        self.diary = Diary(start_ms)
        self._acted = False
        self._ticked_kg = 0.0
        self._next_tick_ms = (start_ms // TICK_MS + 1) * TICK_MS
        self._next_fault_ms: int | None = start_ms
        self._settle([])

    def _first_state(self, start_C: float | None) -> State:
        if start_C is not None:
            return plant.at_rest(self.spec, start_C)
        room = plant.at_rest(self.spec, self.spec.building.night_C)
        if self.spec.heating != "keep-warm":
            return room
        tank, nozzle = self.spec.tank.setpoint_C, self.spec.nozzle.setpoint_C
        kg = self.spec.tank_volume_l * self.spec.first_oil.density_kg_l(tank)
        warm = room._replace(tank_kg=kg, tank_C=tank, element_C=tank, tank_probe_C=tank)
        return warm._replace(block_C=nozzle, nozzle_probe_C=nozzle)

    def advance(self, to_ms: int, until_edge: bool = False) -> list[Edge]:
        """Run up to `to_ms`. Returns what switched since the last call, in order, each with its own moment.

        until_edge: stop already at the first moment at which something switches
        """
        edges: list[Edge] = []
        if self._acted:
            self._acted = False
            self._settle(edges)
        while self.t_ms < to_ms and not (until_edge and edges):
            due_ms = self._due_ms()
            target_ms = min(to_ms, due_ms, self.t_ms + self._stride_ms)
            state, totals = self._step(target_ms)
            share = self.gear.crossing(self.state, state)
            if share <= 1.0:
                crossing_ms = self.t_ms + max(CLOSEST_MS, math.ceil(share * (target_ms - self.t_ms)))
                if crossing_ms < target_ms:
                    target_ms = crossing_ms
                    state, totals = self._step(target_ms)
            self.state, self.totals, self.t_ms = state, totals, target_ms
            if target_ms >= due_ms or (share <= 1.0 and self.gear.restless(state)):
                self._settle(edges)
        return edges

    def signals(self) -> dict[str, float | bool]:
        """What perfect converters would read now, for every channel this furnace has (probe lag in, noise out)."""
        return process_values(self, self.spec.channels)

    def act(self, name: str, **details: Any) -> None:
        """Do something a person can do at the furnace, now. Takes effect with the next `advance`.

        Raises: ValueError for an unknown action; TypeError for details it does not take.
        """
        action = ACTIONS.get(name)
        if action is None:
            raise ValueError(f"unknown action {name!r}; known: {', '.join(ACTIONS)}")
        action(self, **details)
        self._acted = True
        self.diary.actions.append((self.t_ms, name))

    def set_tank_l(self, litres: float) -> None:
        """Draw off or top up the day tank by hand, at its own temperature."""
        self.state = self.state._replace(tank_kg=litres * self.state.oil.density_kg_l(self.state.tank_C))
        self._acted = True

    def repair(self, fault: str, channel: str = "") -> None:
        """End every standing fault of a kind, on one heater or channel or on all."""
        self.faults.end(fault, self.t_ms, channel)
        self._next_fault_ms = self.faults.next_change(self.t_ms)

    @property
    def truth(self) -> Truth:
        """What really happened so far."""
        faults = tuple(
            FaultInterval(f.name, f.channel, f.start_ms, self.t_ms if f.end_ms is None else f.end_ms)
            for f in self.faults.faults
            if f.start_ms <= self.t_ms
        )
        return self.diary.truth(self.t_ms, faults)

    @property
    def sensor_faults(self) -> dict[str, str]:
        """Channels whose chip is sick now, and how: open, short, absent, crc or frozen."""
        return standing_sensor_faults(self.faults.faults, self.t_ms)

    @property
    def stack_rise_K(self) -> float:
        """Steady stack above the clean furnace for the ash that lies in it now."""
        return self.exchanger.steady_stack_C(self.around.fouling_K_W) - self.exchanger.steady_stack_C(0.0)

    @property
    def pumping_l_s(self) -> float:
        """Oil the pump delivers while energised; 0.0 when none comes."""
        if self.faults.on("pump-motor-dead") or self.faults.on("supply-closed") or self._supply_empty:
            return 0.0
        full = self.suction.flow_l_s(self.around.supply_mm2_s, self.around.filter_resistance)
        return full * (1.0 - self.faults.size("air-leak"))

    @property
    def air_pressure_Pa(self) -> float:
        """Atomising air at the regulator [Pa]."""
        nominal = self.spec.air_pressure_Pa * (1.0 + self.around.pressure_wander)
        return nominal * (1.0 - self.faults.size("compressor-sag"))

    @property
    def _supply_empty(self) -> bool:
        return self.state.supply_l <= USABLE_SUPPLY * self.spec.supply_volume_l

    @property
    def _stride_ms(self) -> int:
        return ACTIVE_STRIDE_MS if any(self.gear.outputs[name] for name in _MOVING) else IDLE_STRIDE_MS

    def _step(self, to_ms: int) -> tuple[State, Totals]:
        return plant.advance(self.spec, self.state, self.totals, self.drive, (to_ms - self.t_ms) / 1000.0)

    def _due_ms(self) -> int:
        due_ms = min(self._next_tick_ms, self.gear.next_due(self.t_ms))
        return due_ms if self._next_fault_ms is None else min(due_ms, self._next_fault_ms)

    def _settle(self, edges: list[Edge]) -> None:
        """Everything that happens at a moment: faults, the slow minute, switching; then the drive of the next step."""
        if self._next_fault_ms is not None and self.t_ms >= self._next_fault_ms:
            self.faults.at(self.t_ms)
            self._next_fault_ms = self.faults.next_change(self.t_ms)
        if self.t_ms >= self._next_tick_ms:
            self._next_tick_ms = (self.t_ms // TICK_MS + 1) * TICK_MS
            self._tick()
        before = dict(self.gear.outputs)
        flame, light_s = self.gear.flame, self.gear.light_s
        self.gear.settle(self.t_ms, self.state, self.around)
        for name, on in self.gear.outputs.items():
            if on != before[name]:
                edges.append(Edge(self.t_ms, name, on))
        self._write_diary(flame, light_s)
        self.drive = self._drive()

    def _tick(self) -> None:
        burned = self.totals.burned_kg
        s = self.state
        self.around.tick(self.t_ms, s.air_C, s.block_C, burned - self._ticked_kg, s.oil, self.faults)
        self._ticked_kg = burned
        if self.t_ms % HOUR_MS == 0:
            self.diary.rise(self.t_ms, self.stack_rise_K)

    def _write_diary(self, flame_before: bool, light_s: float) -> None:
        gear, totals, diary = self.gear, self.totals, self.diary
        diary.phase(self.t_ms, gear.phase())
        if gear.flame != flame_before:
            diary.flame(self.t_ms, gear.flame, light_s, totals.burned_kg)
        full = not gear.float_calls
        diary.pump(self.t_ms, gear.outputs["pump"], totals.pumped_l, totals.burned_kg, full, self.around.supply_C)
        for name, at_C in (("tank", self.state.tank_probe_C), ("nozzle", self.state.nozzle_probe_C)):
            heating = gear.oil_heated and not (name == "tank" and gear.low.closed)
            diary.preheat(self.t_ms, name, heating, gear.ready[name].closed, at_C, gear.setpoint_C[name])

    def _drive(self) -> Drive:
        s, gear, around = self.state, self.gear, self.around
        out = gear.outputs
        nozzle_kg_s = self._nozzle_kg_s() if gear.primary.oil_valve else 0.0
        fire_W = nozzle_kg_s * s.oil.net_J_kg if gear.flame else 0.0
        gas_W_K = self._gas_W_K(nozzle_kg_s if gear.flame else 0.0)
        flow = 1.0 - self.faults.size("belt-slip") if out["blower"] else 0.0
        conductance, capacity = self.exchanger.air_conductance(flow)
        leak_l_h = self.faults.size("loop-leak") if out["circulation"] else 0.0
        return Drive(
            pump_l_s=self.pumping_l_s if out["pump"] else 0.0,
            nozzle_kg_s=nozzle_kg_s,
            leak_kg_s=leak_l_h / 3600.0 * s.oil.density_kg_l(s.tank_C),
            fire_W=fire_W,
            gas_W_K=gas_W_K,
            gas_decay=self.exchanger.gas_decay(gas_W_K, around.fouling_K_W),
            burner_air=out["burner"],
            tank_heater_W=gear.heater_W("tank"),
            nozzle_heater_W=gear.heater_W("nozzle"),
            line_C=s.tank_C if out["circulation"] else s.air_C,
            air_conductance_W_K=conductance,
            air_W_K=capacity,
            supply_C=around.supply_C,
            supply_oil=around.supply_oil,
            outdoor_C=around.outdoor_C,
            building_loss_W_K=self.spec.building.loss_W_K,
            # Warm supply air reaches the thermostat while the fan runs, cold draught while it stands.
            draught_K=self.faults.size("thermostat-draught") * (1.0 if out["blower"] else -1.0),
        )

    def _nozzle_kg_s(self) -> float:
        pressure = self.air_pressure_Pa / self.spec.air_pressure_Pa
        size = self.around.nozzle_flow * (self.faults.size("wrong-nozzle") or 1.0)
        litres: float = self.spec.firing_l_h * size * pressure**PRESSURE_EXPONENT
        return litres / 3600.0 * self.state.oil.density_kg_l(self.state.tank_C)

    def _gas_W_K(self, fuel_kg_s: float) -> float:
        """Flue gas capacity rate: the burner's air does not follow the oil, so overfiring eats into the excess."""
        if not self.gear.primary.motor:
            return IDLE_GAS_W_K
        air_kg_s = self.exchanger.fuel_kg_s * self.spec.air_ratio * AIR_KG_PER_KG * (1.0 + self.around.air_wander)
        return (air_kg_s + fuel_kg_s) * GAS_J_KGK
