"""What differs from house to house beyond sizes: drawn for blocks only, so that named records keep their data.

The plain variety changes nothing. Amounts are common practice or from memory unless a source is named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from tests.records.exchanger import fit_units, rise_table
from tests.records.weather import walk

if TYPE_CHECKING:
    from tests.records.plant import Plant
    from tests.records.sensors import Instruments

# Last digit and noise [K] of temperature readers: averaged and plain bus sensors (12, 10 and 9 bit), a bare
# thermocouple converter, a good and a noisy resistance reader (from memory of data sheets).
READERS = ((0.0625, 0.015), (0.0625, 0.05), (0.25, 0.06), (0.5, 0.1), (0.25, 0.6), (0.01, 0.02), (0.1, 0.35))
STACK_READERS = ((0.25, 0.3), (0.25, 1.2), (1.0, 0.5), (0.1, 0.4), (0.0625, 2.0))
SLOW = ("room", "outdoor", "supply", "supply_level", "combustion_air", "return_air", "tank_level")


@dataclass(frozen=True)
class Variety:
    """One house's ways; every default leaves the plain furnace as it is."""

    intake_outdoor: float = 0.0  # share of the burner's air that comes from outdoors
    anticipator: float = 0.0  # heat of the thermostat's anticipator, in differentials
    anticipator_tau_s: float = 300.0
    duty_nozzle: bool = False  # heater driven by time-proportioning instead of a hysteresis
    duty_tank: bool = False
    loop_with_burner: bool = False  # oil loop rests while the burner rests
    wind_cooling: float = 0.08  # draught through the idle furnace, per m/s of wind
    heated_days: tuple[int, ...] | None = None
    hall_W: tuple[float, ...] = ()  # other heat in the hall, hour by hour
    fuel_walk: tuple[float, ...] = ()  # firing rate and combustion air as shares, every ten minutes
    air_walk: tuple[float, ...] = ()
    readers: dict[str, tuple[float, float]] = field(default_factory=dict)
    spark_K: float = 0.0  # what the ignition transformer does to the stack reading
    sun_K: float = 0.0  # sun on the outdoor probe
    bounce_s: float = 0.0  # float contact
    lost_rows: float = 0.0  # chance of a hole to begin at a row
    hole_rows: float = 1.0
    bare_changes: bool = False  # the row of a change carries only the on/off channels
    slow_s: float = 0.0  # slow channels are read this seldom


PLAIN = Variety()


def draw_variety(rng: np.random.Generator, days: float, plant: Plant, form: str, steady: bool) -> Variety:
    """Draw a variety. ``steady`` asks for a house that is heated every day, as faults need to show."""
    temperatures = ("tank", "nozzle", "return_air", "supply_air", "room", "outdoor", "combustion_air", "supply")
    readers = {name: READERS[int(rng.integers(len(READERS)))] for name in temperatures}
    readers["stack"] = STACK_READERS[int(rng.integers(len(STACK_READERS)))]
    weekend = not steady and rng.random() < 0.15
    even = form == "uniform"
    return Variety(
        intake_outdoor=float(rng.choice([0.0, 0.0, 0.3, 1.0])),
        anticipator=float(rng.uniform(1.1, 1.35)) if plant.keep_warm and rng.random() < 0.35 else 0.0,
        anticipator_tau_s=float(rng.uniform(250.0, 500.0)),
        duty_nozzle=bool(rng.random() < 0.35),
        duty_tank=bool(rng.random() < 0.15),
        loop_with_burner=bool(rng.random() < 0.4),
        wind_cooling=float(rng.choice([0.08, 0.15, 0.35])),
        heated_days=(5, 6) if weekend else None,
        hall_W=_hall(rng, days, plant) if rng.random() < 0.4 else (),
        # job-site scatter of an unnormalised stack is some 5 K from day to day (from memory)
        fuel_walk=_shares(rng, days, float(rng.choice([0.0, 0.008, 0.018])), 30.0),
        air_walk=_shares(rng, days, float(rng.choice([0.0, 0.015, 0.035])), 8.0),
        readers=readers,
        spark_K=float(rng.choice([0.0, 0.0, 2.0, 6.0])),
        sun_K=float(rng.choice([0.0, 3.0, 9.0])),
        bounce_s=float(rng.choice([0.0, 0.15, 0.5])),
        lost_rows=0.0 if even else float(rng.choice([0.0, 2e-4, 1e-3])),
        hole_rows=float(rng.uniform(1.0, 4.0)),
        bare_changes=bool(not even and rng.random() < 0.2),
        slow_s=float(rng.choice([0.0, 0.0, 30.0, 60.0])),
    )


def _shares(rng: np.random.Generator, days: float, sd: float, memory_h: float) -> tuple[float, ...]:
    """A share that wanders about 1, every ten minutes."""
    if sd == 0.0:
        return ()
    return tuple((1.0 + sd * np.clip(walk(int(days * 144) + 2, memory_h * 3600.0, rng), -2.5, 2.5)).tolist())


def _hall(rng: np.random.Generator, days: float, plant: Plant) -> tuple[float, ...]:
    """A stove, machines or people: some hours on most working days, up to half the loss at ten kelvins."""
    heat = np.zeros(int(days * 24) + 26)
    most = plant.building.loss_W_K * 10.0 * float(rng.uniform(0.1, 0.5))
    for day in range(int(days) + 1):
        if rng.random() < 0.6:
            start = int(24 * day + rng.integers(7, 15))
            heat[start : start + int(rng.integers(2, 7))] = most * float(rng.uniform(0.4, 1.0))
    return tuple(heat.tolist())


def vary_plant(plant: Plant, variety: Variety, rng: np.random.Generator) -> None:
    """Fit the plant with the variety, and with shapes the plain draw does not have."""
    plant.variety = variety
    plant.schedule.heated_days = variety.heated_days
    mix = float(math.exp(rng.uniform(math.log(8.0), math.log(240.0))))
    plant.tank.mix_tau_s = mix
    # a probe in the inlet's stream sees the cold oil before it is mixed in
    plant.tank.plume_gain = min(float(rng.choice([0.0, 0.3, 1.0, 2.5])), 90.0 / mix)
    plant.draft_sense = float(rng.choice([0.0, 0.008, 0.025]))
    plant.geometry.off_flow = float(rng.uniform(0.03, 0.25))
    plant.geometry.pipe_share = float(rng.choice([0.0, 0.1, 0.25, 0.45]))
    fit_units(plant.geometry, plant.clean_stack_C)
    plant.rises = rise_table(plant.geometry)
    plant.times = replace(plant.times, after_s=float(rng.choice([0.5, 15.0, 60.0, 180.0, 300.0])))


def vary_tools(tools: Instruments, days: float, rng: np.random.Generator) -> Instruments:
    """Sample times of other boards: one second to ten, idle or not."""
    if tools.uniform:
        return tools
    interval = float(
        rng.choice([1.0, 2.0, 3.0, 5.0, 5.0, 8.0, 10.0] if days < 18.0 else [2.0, 3.0, 5.0, 5.0, 8.0, 10.0])
    )
    return replace(
        tools,
        interval_s=interval,
        idle_interval_s=float(rng.choice([10.0, 30.0, 60.0, 60.0, 120.0, 300.0])),
        jitter_s=float(rng.choice([0.02, 0.1, 0.4])),
    )


def bounced(edges: tuple[list[float], list[bool]], longest_s: float, seed: int) -> tuple[list[float], list[bool]]:
    """Edges of a contact that opens once more (or closes) within ``longest_s`` of switching."""
    rng = np.random.default_rng(seed)
    times: list[float] = []
    states: list[bool] = []
    for t, on in zip(*edges, strict=True):
        first, second = np.sort(rng.uniform(0.05, 0.05 + longest_s, 2)).tolist()
        times += [t, t + first, t + second + 0.03]
        states += [on, not on, on]
    return times, states


def spark_noise(stack: np.ndarray, t: np.ndarray, trials: list[tuple[float, float]], size_K: float, seed: int) -> None:
    """Disturb ``stack`` [degC] while the spark is on; ``trials`` are its spans [s]."""
    rng = np.random.default_rng(seed)
    for start, end in trials:
        first, last = np.searchsorted(t, [start, end])
        stack[first:last] += size_K * rng.standard_normal(last - first)


def sun(t: np.ndarray, size_K: float, seed: int) -> np.ndarray:
    """What the sun adds to an outdoor probe [K] at ``t`` [s since midnight]: noon to afternoon, on clear days."""
    days = (t // 86400.0).astype(np.int64)
    clear = np.clip(np.random.default_rng(seed).uniform(-0.6, 1.0, int(days[-1]) + 1 if len(t) else 1), 0.0, 1.0)
    height = np.clip(np.cos(2.0 * math.pi * (t / 86400.0 % 1.0 - 13.0 / 24.0) * 24.0 / 14.0), 0.0, 1.0)
    inside = np.abs(t / 3600.0 % 24.0 - 13.0) < 3.5
    return np.where(inside, size_K * clear[days] * height**2, 0.0)


def holes(count: int, variety: Variety, seed: int) -> np.ndarray:
    """Which of ``count`` rows arrived."""
    rng = np.random.default_rng(seed)
    keep = np.ones(count, dtype=bool)
    for first in np.flatnonzero(rng.random(count) < variety.lost_rows).tolist():
        keep[first : first + int(rng.geometric(1.0 / variety.hole_rows))] = False
    return keep


def thin(
    values: dict[str, np.ndarray], t: np.ndarray, change: np.ndarray, variety: Variety, on_off: frozenset[str]
) -> None:
    """Blank what this board does not send with every row."""
    if variety.slow_s > 0.0:
        beat = np.floor(t / variety.slow_s)
        late = np.concatenate([[False], np.diff(beat) == 0.0])
        for name in SLOW:
            if name in values:
                values[name][late] = np.nan
    if variety.bare_changes:
        for name, x in values.items():
            if name not in on_off:
                x[change] = np.nan
