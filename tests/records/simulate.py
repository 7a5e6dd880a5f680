"""The furnace run through its days: steps as long as the moment allows, edges to the exact moment."""

from __future__ import annotations

import bisect
import random
from array import array
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from tests.records.building import Room
from tests.records.controls import FanSwitch, HeaterSwitch, Limiter, LimitSwitch, Primary, State
from tests.records.exchanger import Exchanger
from tests.records.oil import Oil
from tests.records.oilside import DayTank, NozzleBlock
from tests.records.plant import Plant

COLUMNS = (
    "t",
    "tank",
    "nozzle",
    "stack",
    "room",
    "return_air",
    "supply_air",
    "outdoor",
    "tank_l",
    "supply_l",
    "supply_C",
    "air_kPa",
    "vacuum_kPa",
    "tank_W",
    "nozzle_W",
    "fuel_kg_s",
    "wind",
    "foul",
    "gas",
    "air_share",
    "tank_true",
    "nozzle_true",
)
SWITCHES = (
    "pump",
    "float",
    "refill_lockout",
    "call",
    "burner",
    "flame",
    "lockout",
    "limit",
    "tank_heater",
    "nozzle_heater",
    "low_level",
    "high_level",
    "leak",
    "circulation",
    "blower",
    "power",
)


@dataclass
class Condition:
    """What is wrong with the plant, or changed by its people, at the moment. Shares are 1 when healthy."""

    supply_ok: float = 1.0
    plug: float = 0.0
    pump_dead: bool = False
    pump_weld: bool = False
    weld_next: bool = False
    float_stuck: str = ""
    differential_share: float = 1.0
    leak_l_h: float = 0.0
    loop_leak_share: float = 0.0
    tank_element: float = 1.0
    nozzle_element: float = 1.0
    tank_short: bool = False
    nozzle_short: bool = False
    spark_delay_s: float = 0.0
    spark_fail: float = 0.0
    no_spark: bool = False
    blind: bool = False
    valve_shut: bool = False
    slug_until: float = -1.0
    fuel_share: float = 1.0
    air_share: float = 1.0
    pressure_share: float = 1.0
    compressor_dead: bool = False
    blower: float = 1.0
    burner_weld: bool = False
    burner_weld_next: bool = False
    deliveries: bool = True
    primary_dead: bool = False
    door: float = 1.0
    thermostat_shift_K: float = 0.0
    thermostat_band: float = 1.0
    thermostat_tau: float = 1.0
    heating: bool = True
    power: bool = True
    tray_wet: bool = False
    ash_factor: float = 1.0
    mains: float = 1.0
    away_C: float | None = None


Edit = tuple[float, Callable[["Simulation"], None]]


@dataclass(frozen=True)
class Ramp:
    """A condition that drifts from one value to another between two moments [s]."""

    start_s: float
    end_s: float
    name: str
    before: float
    after: float

    def at(self, t: float) -> float:
        """Value at ``t``."""
        share = min(1.0, max(0.0, (t - self.start_s) / (self.end_s - self.start_s)))
        return self.before + share * (self.after - self.before)


@dataclass
class Log:
    """What truly happened: ``columns`` by name over ``t`` [s], edges of each switch, and lists of events."""

    columns: dict[str, np.ndarray] = field(default_factory=dict)
    edges: dict[str, tuple[list[float], list[bool]]] = field(default_factory=dict)
    pump_runs: list[dict[str, float | str]] = field(default_factory=list)
    firings: list[dict[str, float]] = field(default_factory=list)
    failures: list[dict[str, float]] = field(default_factory=list)
    losses: list[float] = field(default_factory=list)
    burned_l: float = 0.0
    delivered_l: float = 0.0
    leaked_l: float = 0.0
    start_l: float = 0.0
    end_l: float = 0.0

    def value(self, name: str, t: float) -> float:
        """Interpolated column."""
        return float(np.interp(t, self.columns["t"], self.columns[name]))

    def state(self, channel: str, t: float) -> bool:
        """State of a switch at ``t``."""
        times, values = self.edges[channel]
        i = bisect.bisect_right(times, t) - 1
        return values[i] if i >= 0 else False

    def spans(self, channel: str, end: float) -> list[tuple[float, float]]:
        """On-spans of a switch [s]."""
        times, values = self.edges[channel]
        out: list[tuple[float, float]] = []
        since: float | None = None
        for t, on in zip(times, values, strict=True):
            if on and since is None:
                since = t
            elif not on and since is not None:
                out.append((since, t))
                since = None
        if since is not None:
            out.append((since, end))
        return out


class Simulation:
    """One run of one plant. Edits (timed changes) and ramps make the story; ``run`` returns the log."""

    def __init__(
        self,
        plant: Plant,
        outdoor_C: list[float],
        wind: list[float],
        hour: float,
        weekday: int,
        days: float,
        edits: list[Edit],
        ramps: list[Ramp],
        seed: int,
        start_foul: float = 0.0,
    ) -> None:
        self.plant, self.outdoor_C, self.wind = plant, outdoor_C, wind
        self.hour, self.weekday, self.end = hour, weekday, days * 86400.0
        self.edits, self.ramps = sorted(edits, key=lambda edit: edit[0]), ramps
        self.dice = random.Random(seed)
        self.condition = Condition()
        self.oil = plant.oil
        start = plant.schedule.at(hour, weekday)
        self.room = Room(plant.building, start)
        self.fire = Exchanger(plant.geometry, start)
        self.fire.foul = start_foul
        warm = plant.keep_warm
        self.tank = DayTank(plant.tank, plant.oil, plant.tank_heater.setpoint_C if warm else start)
        self.block = NozzleBlock(plant.block, plant.nozzle_heater.setpoint_C if warm else start)
        self.limiter = Limiter(plant.limiter_s)
        self.limiter.new_marks(plant.tank.full_l, plant.tank.differential_l, plant.float_slop, self.dice)
        self.tank_switch = HeaterSwitch(
            plant.tank_heater.hysteresis_K, plant.tank_heater.trip_C, plant.variety.duty_tank
        )
        self.nozzle_switch = HeaterSwitch(
            plant.nozzle_heater.hysteresis_K, plant.nozzle_heater.trip_C, plant.variety.duty_nozzle
        )
        self.tank_set = plant.tank_heater.setpoint_C
        self.nozzle_set = plant.nozzle_heater.setpoint_C
        self.primary = Primary(plant.times)
        self.fan = FanSwitch(*plant.fan)
        self.high_limit = LimitSwitch(plant.high_limit_C)
        self.supply_l = 0.8 * plant.supply_volume_l
        self.supply_C = self._supply_target(0)
        self.tray_l = self.now = self.anticipated_K = self.other_W = 0.0
        self.rate = self.air = 1.0
        self.log = Log(edges={name: ([], []) for name in SWITCHES}, start_l=self.tank.level_l)
        self.rows = array("d")
        self._was = dict.fromkeys(SWITCHES, False)
        self._flow = self._vacuum = self._run_l = 0.0
        self._run_start = self._tank_W = self._block_W = self._pressure = self._share = 0.0
        hundred_hours_kg = plant.geometry.fuel_kg_s * 360000.0
        self._ash = plant.foul(plant.ash_K_100h) / hundred_hours_kg

    def _supply_target(self, tick: int) -> float:
        share = self.plant.supply_outdoor_share
        return share * self.outdoor_C[tick] + (1.0 - share) * self.room.air

    def _mark(self, t: float, channel: str, on: bool) -> None:
        if self._was[channel] is not on:
            self._was[channel] = on
            times, values = self.log.edges[channel]
            times.append(t)
            values.append(on)

    def run(self) -> Log:
        """Step to the end."""
        t, edit, tick = 0.0, 0, -1
        probe = self.fire.chamber
        plant, c = self.plant, self.condition
        call, band = False, 0.5 * plant.thermostat_K
        fresh = 0.0
        day = True
        setpoint = 15.0
        while t < self.end:
            self.now = t
            while edit < len(self.edits) and self.edits[edit][0] <= t + 1e-6:
                self.edits[edit][1](self)
                edit += 1
                fresh = t
            if int(t // 600.0) > tick:
                tick = int(t // 600.0)
                self._tick(t, tick)
                hour = (self.hour + t / 3600.0) % 24.0
                today = (self.weekday + int((self.hour * 3600.0 + t) // 86400.0)) % 7
                setpoint = plant.schedule.at(hour, today)
                day = 7.0 <= hour < 18.0
            # thermostat
            wish = (setpoint if c.away_C is None else c.away_C) + c.thermostat_shift_K
            half = band * c.thermostat_band
            element = self.room.element if c.thermostat_tau > 0.5 else self.room.air
            element += self.anticipated_K
            if element < wish - half:
                call = True
            elif element > wish + half:
                call = False
            calls = call and c.heating and c.power
            before = self.primary.state
            self._switch(t, calls)
            if self.primary.state is not before:
                fresh = t
            # how far may this step go
            flame = self.primary.flame
            if self.limiter.on or c.pump_weld:
                dt = 0.5
            elif t - fresh < 150.0:
                dt = 2.0
            elif self._was["nozzle_heater"] or c.nozzle_short:
                dt = 3.0
            elif flame or self._was["tank_heater"] or c.tank_short or calls:
                dt = 4.0
            else:
                dt = 10.0 if self.fan.on else 20.0
            if edit < len(self.edits):
                dt = min(dt, max(self.edits[edit][0] - t, 0.02))
            dt = min(dt, max(self.primary.next_event(t) - t, 0.02))
            burning, flow_l_s, dt = self._oil_flows(t, dt)
            self._physics(dt, tick, burning, flow_l_s, day)
            probe_target = self.fire.probe_target
            probe += (1.0 - 2.718281828 ** (-dt / plant.stack_tau_s)) * (probe_target - probe)
            if plant.variety.anticipator > 0.0:
                warmed = plant.variety.anticipator * plant.thermostat_K if call else 0.0
                share = 1.0 - 2.718281828 ** (-dt / plant.variety.anticipator_tau_s)
                self.anticipated_K += share * (warmed - self.anticipated_K)
            t += dt
            self._row(t, tick, probe, burning)
        return self._finish()

    def later(self, t: float, action: Callable[[Simulation], None]) -> None:
        """Add an edit while running, at or after the present moment."""
        bisect.insort(self.edits, (t, action), key=lambda edit: edit[0])

    def new_oil(self, oil: Oil) -> None:
        """Another batch reaches the burner."""
        self.oil = self.tank.oil = oil
        self.fire.geometry = replace(self.fire.geometry, heating_value=oil.heating_value)

    def _tick(self, t: float, tick: int) -> None:
        if self.plant.variety.hall_W:
            self.other_W = self.plant.variety.hall_W[tick // 6]
        if self.plant.variety.fuel_walk:
            self.rate = self.plant.variety.fuel_walk[tick]
        if self.plant.variety.air_walk:
            self.air = self.plant.variety.air_walk[tick]
        if tick % 144 == 60 and self.condition.deliveries and self.supply_l < 0.5 * self.plant.supply_volume_l:
            self.supply_l = 0.95 * self.plant.supply_volume_l
        for ramp in self.ramps:
            if ramp.start_s <= t <= ramp.end_s + 600.0:
                setattr(self.condition, ramp.name, ramp.at(t))
        self.supply_C += (1.0 - 2.718281828 ** (-600.0 / self.plant.supply_tau_s)) * (
            self._supply_target(tick) - self.supply_C
        )

    def _switch(self, t: float, calls: bool) -> None:
        """All relays at one moment."""
        c, plant = self.condition, self.plant
        level = self.tank.level_l
        limiter = self.limiter
        was_on = self._was["pump"]
        if c.power:
            limiter.step(t, level, c.float_stuck)
        else:
            limiter.on = False
        c.pump_weld = c.pump_weld or (c.weld_next and limiter.on)
        c.weld_next = c.weld_next and not c.pump_weld
        pumping = limiter.on or c.pump_weld
        if pumping and not was_on:
            thick = self.oil.viscosity(self.supply_C)
            flow, self._vacuum = plant.line.flow(thick, c.plug)
            self._flow = flow * self.dice.gauss(1.0, 0.012) * c.supply_ok * (0.0 if c.pump_dead else 1.0)
            if c.pump_dead or c.supply_ok < 0.05 or self.supply_l <= 0.0:
                self._vacuum = 0.5
            self._run_l = 0.0
            self._run_start = t
        elif was_on and not pumping:
            why = "limit" if limiter.latched and t - self._run_start >= plant.limiter_s - 0.3 else "float"
            self.log.pump_runs.append(
                {"on": self._run_start, "off": t, "litres": self._run_l, "why": why, "supply_C": self.supply_C}
            )
            share = c.differential_share
            limiter.new_marks(plant.tank.full_l, plant.tank.differential_l * share, plant.float_slop, self.dice)
        low = level < plant.tank.low_l
        heat = c.power and (plant.keep_warm or calls)
        self.tank_switch.step(self.tank.bulb, self.tank.temperature, self.tank_set, heat and not low, t)
        self.nozzle_switch.step(self.block.bulb, self.block.temperature, self.nozzle_set, heat and not low, t)
        self.high_limit.step(self.fire.plenum)
        self._burner(t, calls, level)
        mark = self._mark
        mark(t, "pump", pumping)
        mark(t, "float", limiter.calling and c.power)
        mark(t, "refill_lockout", limiter.latched)
        mark(t, "call", calls)
        state = self.primary.state
        motor = state in (State.PURGE, State.TRIAL, State.RUN)
        mark(t, "burner", motor and (state is not State.PURGE or plant.burner_in_purge))
        mark(t, "flame", self.primary.flame and not c.blind)
        mark(t, "lockout", state is State.LOCKOUT)
        mark(t, "limit", self.high_limit.open)
        mark(t, "tank_heater", self.tank_switch.drive)
        mark(t, "nozzle_heater", self.nozzle_switch.drive)
        mark(t, "low_level", low)
        mark(t, "high_level", level > plant.tank.high_l)
        mark(t, "leak", c.tray_wet or self.tray_l > 0.05)
        mark(t, "circulation", plant.loop and heat and (motor or not plant.variety.loop_with_burner))
        mark(t, "blower", self.fan.on and c.power)
        mark(t, "power", c.power)

    def _burner(self, t: float, calls: bool, level: float) -> None:
        c, plant, primary = self.condition, self.plant, self.primary
        warm = self.tank.bulb > self.tank_set - 7.0 and self.block.bulb > self.nozzle_set - 6.0
        burns = (
            level > plant.tank.starve_l
            and self._pressure > 0.4 * plant.air_kPa
            and not c.valve_shut
            and t >= c.slug_until
            and c.power
        )
        to_flame = float("inf")
        if primary.state is State.PURGE:
            thick = self.oil.viscosity(self.block.temperature)
            if not c.no_spark and self.dice.random() >= c.spark_fail:
                to_flame = max(
                    0.6, self.dice.gauss(plant.to_flame_s, plant.to_flame_sd) + c.spark_delay_s + 0.02 * (thick - 12.0)
                )
                if c.spark_delay_s > 0.0:
                    to_flame += self.dice.expovariate(1.0 / (0.25 * c.spark_delay_s))
        if c.burner_weld_next and primary.state is State.RUN:
            c.burner_weld, c.burner_weld_next = True, False
        wanted = (calls or c.burner_weld) and c.power and not c.primary_dead
        was, fails, losses = primary.flame, primary.fails, primary.losses
        primary.step(t, wanted, warm or c.burner_weld, self.high_limit.open, burns, to_flame, c.blind)
        if primary.fails > fails:
            self.log.failures.append(
                {"at": t, "opened": primary.opened, "locked": float(primary.state is State.LOCKOUT)}
            )
        if primary.losses > losses:
            self.log.losses.append(t)
        if primary.flame and not was:
            self.log.firings.append({"lit": t, "valve": primary.opened, "off": self.end})
        elif was and not primary.flame:
            self.log.firings[-1]["off"] = t

    def _oil_flows(self, t: float, dt: float) -> tuple[float, float, float]:
        """Burning fuel [kg/s], refill flow [l/s], and ``dt`` [s] cut so that the float switches on time."""
        c, plant, tank = self.condition, self.plant, self.tank
        burning = 0.0
        if self.primary.flame:
            thick = max(self.oil.viscosity(self.block.temperature), 2.0)
            drive = (max(self._pressure, 1.0) / plant.air_kPa) ** 0.5
            burning = plant.geometry.fuel_kg_s * c.fuel_share * self.rate * drive * (14.0 / thick) ** 0.05
        flow = 0.0
        density = self.oil.density(tank.temperature)
        losing = burning * (1.0 + c.loop_leak_share) / density + c.leak_l_h / 3600.0
        level = tank.level_l
        limiter = self.limiter
        if limiter.on or c.pump_weld:
            flow = self._flow if self.supply_l > 0.0 else 0.0
            if limiter.on:
                dt = min(dt, max(limiter.started + limiter.limit_s - t, 0.01))
                if flow > losing and level < limiter.upper_l and c.float_stuck == "":
                    dt = min(dt, max((limiter.upper_l - level) / (flow - losing), 0.01))
        elif losing > 0.0 and level > limiter.lower_l and c.float_stuck == "" and not limiter.latched:
            dt = min(dt, max((level - limiter.lower_l) / losing, 0.01))
        return burning, flow, dt

    def _physics(self, dt: float, tick: int, burning: float, flow_l_s: float, day: bool) -> None:
        c, plant, g = self.condition, self.plant, self.plant.geometry
        state = self.primary.state
        motor = state in (State.PURGE, State.TRIAL, State.RUN, State.AFTER)
        outdoor, wind = self.outdoor_C[tick], self.wind[tick]
        return_C = self.room.return_C
        intake_C = return_C + plant.variety.intake_outdoor * (outdoor - return_C)
        if motor:
            share = c.air_share * self.air * (1.0 + plant.draft_sense * (wind - 3.0)) * (293.0 / (intake_C + 273.0))
        else:
            share = (
                g.off_flow
                * (1.0 + plant.variety.wind_cooling * wind)
                * ((max(self.fire.wall - outdoor, 5.0)) / 100.0) ** 0.5
            )
        self._share = share
        blower = c.blower if self.fan.on and c.power else 0.0
        fire = self.fire
        fire.step(dt, burning, share, blower, intake_C, return_C)
        fire.foul += burning * dt * self._ash * c.ash_factor
        self.fan.step(dt, fire.plenum, self.primary.flame)
        leaking = c.loop_leak_share * burning + c.leak_l_h / 3600.0 * self.oil.density(self.tank.temperature)
        tank_on = (self.tank_switch.drive or c.tank_short) and not self.tank_switch.tripped and c.power
        block_on = (self.nozzle_switch.drive or c.nozzle_short) and not self.nozzle_switch.tripped and c.power
        self._tank_W = plant.tank_heater.power_W * c.tank_element * c.mains if tank_on else 0.0
        self._block_W = plant.nozzle_heater.power_W * c.nozzle_element * c.mains if block_on else 0.0
        loop = plant.loop and (plant.keep_warm or self._was["call"]) and c.power
        loop = loop and (motor or not plant.variety.loop_with_burner)
        self.block.step(dt, self._block_W, self.room.air, fire.chamber, self.tank.temperature, burning, motor, loop)
        self.tank.step(dt, flow_l_s, self.supply_C, burning + leaking, self._tank_W, self.room.air, self.block.loop_W)
        self.supply_l = max(0.0, self.supply_l - flow_l_s * dt)
        self._run_l += flow_l_s * dt
        density = self.oil.density(self.tank.temperature)
        self.log.burned_l += burning * dt / density
        self.log.leaked_l += leaking * dt / density
        self.log.delivered_l += flow_l_s * dt
        self.tray_l += self.tank.spilled_l
        self.log.leaked_l += self.tank.spilled_l
        self.tank.spilled_l = 0.0
        self.room.step(dt, fire.taken_W, outdoor, wind, c.door, day, self.fan.on, self.other_W)
        running = motor and state is not State.AFTER and c.power and not c.compressor_dead
        goal = plant.air_kPa * c.pressure_share if running else 0.0
        self._pressure += (1.0 - 2.718281828 ** (-dt / plant.air_tau_s)) * (goal - self._pressure)

    def _row(self, t: float, tick: int, probe: float, burning: float) -> None:
        vacuum = self._vacuum if self._was["pump"] else 0.0
        room, tank = self.room, self.tank
        self.rows.extend(
            (
                t,
                tank.probe,
                self.block.probe,
                probe,
                room.air,
                room.return_C,
                self.fire.plenum,
                self.outdoor_C[tick],
                tank.level_l,
                self.supply_l,
                self.supply_C,
                self._pressure,
                vacuum,
                self._tank_W,
                self._block_W,
                burning,
                self.wind[tick],
                self.fire.foul,
                self.fire.gas,
                self._share,
                tank.temperature,
                self.block.temperature,
            )
        )

    def _finish(self) -> Log:
        table = np.frombuffer(self.rows, dtype=np.float64).reshape(-1, len(COLUMNS))
        self.log.columns = {name: np.ascontiguousarray(table[:, i]) for i, name in enumerate(COLUMNS)}
        self.log.end_l = self.tank.level_l
        for firing in self.log.firings:
            firing["off"] = min(firing["off"], self.end)
        return self.log
