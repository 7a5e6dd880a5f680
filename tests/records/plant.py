"""One furnace and its house, drawn from a seed: sizes, controls, habits. No two records share one."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.records.building import Building, Schedule
from tests.records.controls import PrimaryTimes
from tests.records.exchanger import STOICH, Geometry, fit_units, rise_table, steady_stack
from tests.records.oil import OILS, Oil
from tests.records.oilside import BlockShape, Line, TankShape
from tests.records.variety import PLAIN, Variety
from tests.records.weather import Climate


@dataclass
class Heater:
    """One heater with its thermostat: set point, hysteresis, limit told to the owner, cut-out [degC, K], power [W]."""

    setpoint_C: float
    hysteresis_K: float
    limit_C: float
    trip_C: float
    power_W: float


@dataclass
class Plant:
    """Everything fixed about one furnace; see the parts for units."""

    rated_kW: float
    oil: Oil
    geometry: Geometry
    clean_stack_C: float
    building: Building
    schedule: Schedule
    climate: Climate
    line: Line
    tank: TankShape
    block: BlockShape
    times: PrimaryTimes
    tank_heater: Heater
    nozzle_heater: Heater
    limiter_s: float
    float_slop: float
    keep_warm: bool
    loop: bool
    supply_volume_l: float
    supply_outdoor_share: float
    supply_tau_s: float
    thermostat_K: float
    air_kPa: float
    air_tau_s: float
    burner_in_purge: bool
    fan: tuple[float, float, float, float]
    high_limit_C: float
    stack_limit_C: float
    to_flame_s: float
    to_flame_sd: float
    ash_K_100h: float
    draft_Pa: float
    draft_sense: float
    stack_tau_s: float
    volts: float
    missing: tuple[str, ...] = ()
    variety: Variety = PLAIN
    rises: tuple[list[float], list[float]] = field(default_factory=lambda: ([], []))

    def rise_K(self, foul: float) -> float:
        """Rise of the steady stack over clean [K] for a deposit."""
        return float(np.interp(foul, *self.rises))

    def foul(self, rise_K: float) -> float:
        """Deposit that raises the steady stack by ``rise_K``."""
        return float(np.interp(rise_K, self.rises[1], self.rises[0]))


def _log(rng: np.random.Generator, low: float, high: float) -> float:
    return float(math.exp(rng.uniform(math.log(low), math.log(high))))


def draw_plant(rng: np.random.Generator, fixed: dict[str, Any]) -> Plant:
    """Draw a plant. ``fixed`` overrides single draws by name: see the uses of ``pick`` below."""

    def pick(name: str, value: Any) -> Any:
        return fixed.get(name, value)

    rated_kW = pick("rated_kW", round(_log(rng, 20.0, 82.0), 1))
    oil = OILS[pick("oil", str(rng.choice(sorted(OILS))))]
    geometry = _geometry(rng, rated_kW, oil, pick)
    stack_C = pick("stack_C", float(rng.uniform(185.0, 325.0)))
    fit_units(geometry, stack_C)
    climate = Climate(
        january_mean_C=pick("january_C", float(rng.uniform(-9.0, 3.0))),
        season_swing_K=float(rng.uniform(8.0, 12.0)),
        day_swing_K=float(rng.uniform(2.0, 6.0)),
        system_sd_K=float(rng.uniform(2.5, 5.0)),
        wind_mean=float(rng.uniform(1.5, 5.0)),
    )
    schedule = Schedule(
        day_C=float(rng.choice([15.0, 16.0, 18.0, 19.0])),
        night_C=float(rng.choice([7.0, 9.0, 11.0, 13.0])),
        from_h=float(rng.choice([5.5, 6.0, 7.0])),
        to_h=float(rng.choice([16.5, 18.0, 20.0])),
        weekends=bool(rng.random() < 0.5),
    )
    if pick("setback", bool(rng.random() < 0.7)) is False:
        schedule.night_C = schedule.day_C
    useful_W = rated_kW * 1000.0 * 0.8
    loss = useful_W * pick("load", float(rng.uniform(0.4, 0.75))) / (schedule.day_C - climate.january_mean_C + 8.0)
    building = Building(
        loss_W_K=loss,
        air_J_K=loss * float(rng.uniform(2.5, 5.0)) * 3600.0,
        mass_J_K=loss * float(rng.uniform(15, 45)) * 3600.0,
        coupling_W_K=loss * float(rng.uniform(1.0, 3.0)),
        gain_W=loss * float(rng.uniform(0.5, 3.0)),
        wind_share=float(rng.uniform(0.005, 0.04)),
        strata_K=float(rng.uniform(0.5, 4.0)),
        sensor_tau_s=float(rng.uniform(120.0, 400.0)),
    )
    on_s = pick("firing_min", float(rng.uniform(6.0, 22.0))) * 60.0
    band = float(np.clip((on_s - 200.0) * 0.45 * useful_W / building.air_J_K, 0.3, 3.0))
    burn_l_h = geometry.fuel_kg_s * 3600.0 / oil.density(55.0)
    tank, limiter_s, usual_s = _tank(rng, burn_l_h, pick)
    outdoors = float(pick("supply_outdoor", float(rng.choice([0.0, 0.4, 0.8, 1.0]))))
    # an owner whose supply tank stands in the cold has sized his line for it
    reference = oil.viscosity(12.0 - 12.0 * outdoors)
    free = tank.differential_l / usual_s
    line = Line(
        free_l_s=free * 1.12,
        lift_kPa=float(rng.uniform(2.0, 14.0)),
        pipe=float(rng.uniform(3.0, 9.0)) / (free * reference),
        filter=float(rng.uniform(2.0, 5.0)) / (free * reference),
    )
    keep_warm = bool(pick("keep_warm", bool(rng.random() < 0.5)))
    tank_heater = _tank_heater(rng, tank, keep_warm, pick)
    nozzle_heater, block = _nozzle(rng, tank_heater.setpoint_C, pick)
    timed = bool(rng.random() < 0.35)
    plant = Plant(
        rated_kW=rated_kW,
        oil=oil,
        geometry=geometry,
        clean_stack_C=stack_C,
        building=building,
        schedule=schedule,
        climate=climate,
        line=line,
        tank=tank,
        block=block,
        times=PrimaryTimes(
            purge_s=pick("purge_s", float(rng.choice([0.5, 5.0, 10.0, 15.0, 25.0]))),
            trial_s=pick("trial_s", float(rng.choice([15.0, 20.0, 30.0, 45.0]))),
            after_s=float(rng.choice([0.5, 15.0, 60.0])),
            recycle_s=float(rng.uniform(60.0, 90.0)),
            retries=pick("retries", int(rng.choice([0, 0, 1]))),
            losses=3,
        ),
        tank_heater=tank_heater,
        nozzle_heater=nozzle_heater,
        limiter_s=limiter_s,
        float_slop=float(rng.uniform(0.005, 0.035)),
        keep_warm=keep_warm,
        loop=bool(pick("loop", bool(rng.random() < 0.4))),
        supply_volume_l=float(pick("supply_l", max(float(rng.choice([400.0, 650.0, 900.0, 1500.0])), 35.0 * rated_kW))),
        supply_outdoor_share=outdoors,
        supply_tau_s=float(rng.uniform(5.0, 40.0)) * 3600.0,
        thermostat_K=band,
        air_kPa=float(rng.uniform(65.0, 135.0)),
        air_tau_s=float(rng.uniform(1.5, 6.0)),
        burner_in_purge=bool(rng.random() < 0.6),
        fan=(
            float(rng.uniform(50, 62)),
            float(rng.uniform(34, 40)),
            float(rng.uniform(30, 90)) if timed else 0.0,
            float(rng.uniform(120, 240)),
        ),
        high_limit_C=float(rng.uniform(93.0, 108.0)),
        stack_limit_C=0.0,
        to_flame_s=float(rng.uniform(1.2, 4.5)),
        to_flame_sd=float(rng.uniform(0.15, 0.6)),
        ash_K_100h=float(pick("ash_K_100h", 1.0)),
        draft_Pa=float(rng.uniform(9.0, 16.0)),
        draft_sense=float(rng.uniform(0.0, 0.012)),
        stack_tau_s=float(pick("stack_tau_s", _log(rng, 5.0, 60.0))),
        volts=float(rng.choice([120.0, 230.0])),
        rises=rise_table(geometry),
    )
    plant.stack_limit_C = float(pick("stack_limit_C", 10.0 * math.ceil((_hottest(plant) + 30.0) / 10.0)))
    plant.missing = _missing(rng, tuple(pick("must_have", ())))
    return plant


def _hottest(plant: Plant) -> float:
    return steady_stack(plant.geometry, plant.foul(60.0))


def _geometry(rng: np.random.Generator, rated_kW: float, oil: Oil, pick: Any) -> Geometry:
    power = rated_kW * 1000.0
    fuel = power / oil.heating_value
    excess = pick("excess_air", float(rng.uniform(1.45, 2.1)))
    gas_W_K = fuel * (1.0 + STOICH * excess) * 1105.0
    useful = 0.8 * power
    return Geometry(
        fuel_kg_s=fuel,
        heating_value=oil.heating_value,
        excess_air=excess,
        chamber_units=float(rng.uniform(0.4, 0.8)),
        chamber_J_K=power * float(rng.uniform(0.15, 0.4)),
        wall_J_K=power * float(rng.uniform(0.9, 2.2)),
        radiation_W_K=gas_W_K * float(rng.uniform(0.5, 1.0)),
        chamber_loss_W_K=gas_W_K * 0.03,
        air_W_K=useful / float(rng.uniform(70.0, 120.0)),
        air_flow_W_K=useful / float(rng.uniform(26.0, 42.0)),
        off_flow=float(rng.uniform(0.03, 0.12)),
        pipe_tau_s=float(rng.uniform(150.0, 500.0)),
        pipe_share=float(rng.uniform(0.0, 0.25)),
        plenum_tau_s=float(rng.uniform(15.0, 50.0)),
    )


def _tank(rng: np.random.Generator, burn_l_h: float, pick: Any) -> tuple[TankShape, float, float]:
    least = burn_l_h * float(rng.uniform(6.8, 9.0)) / 60.0
    brim = max(pick("tank_l", _log(rng, 3.5, 20.0)), least / 0.13)
    full = 0.78 * brim
    differential = pick("differential_l", round(float(np.clip(_log(rng, 0.06, 0.12) * brim, max(least, 0.2), 1.5)), 2))
    limiter_s = pick("limiter_s", float(rng.choice([12.0, 15.0, 20.0, 25.0, 30.0, 45.0])))
    usual_s = limiter_s * pick("refill_share", float(rng.uniform(0.3, 0.55)))
    shape = TankShape(
        brim_l=brim,
        full_l=full,
        differential_l=differential,
        low_l=0.42 * brim,
        high_l=0.88 * brim,
        starve_l=0.2 * brim,
        steel_J_K=480.0 * (1.0 + 0.25 * brim),
        loss_W_K=float(rng.uniform(0.25, 0.6)) * brim ** (2 / 3),
        element_tau_s=float(rng.uniform(15.0, 70.0)),
        mix_tau_s=float(rng.uniform(15.0, 90.0)),
        plume_gain=float(rng.choice([0.0, 0.5, 1.0])),
        probe_tau_s=float(rng.uniform(6.0, 40.0)),
        control_tau_s=float(rng.uniform(10.0, 60.0)),
    )
    return shape, limiter_s, usual_s


def _tank_heater(rng: np.random.Generator, tank: TankShape, keep_warm: bool, pick: Any) -> Heater:
    setpoint = float(pick("tank_set_C", float(rng.choice([50.0, 55.0, 60.0, 65.0, 70.0]))))
    wanted = tank.full_l * 0.88 * 2000.0 + tank.steel_J_K
    minutes = float(rng.uniform(12.0, 28.0)) if not keep_warm else float(rng.uniform(20.0, 60.0))
    power = float(np.clip(50.0 * round(wanted * (setpoint - 12.0) / (minutes * 60.0) / 50.0), 250.0, 1500.0))
    limit = setpoint + float(rng.choice([25.0, 30.0, 35.0]))
    return Heater(
        setpoint,
        float(rng.uniform(1.0, 4.0)),
        limit,
        limit + float(rng.uniform(4.0, 12.0)),
        pick("tank_heater_W", power),
    )


def _nozzle(rng: np.random.Generator, tank_C: float, pick: Any) -> tuple[Heater, BlockShape]:
    setpoint = float(pick("nozzle_set_C", min(100.0, tank_C + float(rng.choice([15.0, 20.0, 25.0, 30.0])))))
    limit = setpoint + float(rng.choice([35.0, 40.0, 45.0]))
    store = float(rng.uniform(500.0, 1300.0))
    power = float(pick("nozzle_heater_W", 50.0 * round(np.clip(store * 0.26, 200.0, 400.0) / 50.0)))
    block = BlockShape(
        store_J_K=store,
        loss_W_K=float(rng.uniform(0.4, 0.9)),
        fan_W_K=float(rng.uniform(0.1, 0.5)),
        soak_W_K=float(rng.uniform(0.01, 0.06)),
        loop_W_K=float(rng.uniform(0.5, 1.5)),
        probe_tau_s=float(rng.uniform(5.0, 30.0)),
        control_tau_s=float(rng.uniform(4.0, 25.0)),
    )
    return Heater(setpoint, float(rng.uniform(1.0, 4.0)), limit, limit + float(rng.uniform(5.0, 12.0)), power), block


OPTIONAL = (
    "supply_air",
    "outdoor",
    "combustion_air",
    "supply",
    "air_pressure",
    "suction",
    "draft_fire",
    "draft_breech",
    "supply_level",
    "tank_level",
    "tank_heater_current",
    "nozzle_heater_current",
    "refill_lockout",
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


def _missing(rng: np.random.Generator, must_have: tuple[str, ...]) -> tuple[str, ...]:
    """Channels this owner never wired up, however complete the rest."""
    share = float(rng.uniform(0.0, 0.35))
    return tuple(name for name in OPTIONAL if rng.random() < share and name not in must_have)
