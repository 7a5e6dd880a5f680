"""From what was to what was recorded: sample times, probes, noise, quantisation, faults, gaps, clocks."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from tests.records.plant import OPTIONAL, Plant
from tests.records.simulate import SWITCHES, Log
from tests.records.story import ClockStep, Gap, SensorFault
from tests.records.variety import PLAIN, bounced, holes, spark_noise, sun, thin

FOUR = ("tank", "nozzle", "stack", "pump")
SOME = (*FOUR, "float", "call", "return_air")
TEMPERATURES = (
    "tank",
    "nozzle",
    "stack",
    "return_air",
    "supply_air",
    "room",
    "outdoor",
    "combustion_air",
    "supply",
)
SWITCHED = frozenset(SWITCHES)
# Half the last digit, noise sd: a bus sensor, a thermocouple converter, two kinds of resistance readers (from memory).
PROBES = {"bus": (0.0625, 0.04), "thermocouple": (0.25, 0.5), "resistance": (0.03, 0.08), "coarse": (0.5, 0.25)}


@dataclass(frozen=True)
class Instruments:
    """How one board samples and how good its probes are."""

    interval_s: float
    idle_interval_s: float
    uniform: bool
    kinds: dict[str, str]
    offsets: dict[str, float]
    glitches: float
    jitter_s: float
    seed: int


@dataclass
class Samples:
    """Rows for one channel set: true times [s], recorded times [s], values (NaN = none), fault words, boot number."""

    true_t: np.ndarray
    t: np.ndarray
    values: dict[str, np.ndarray]
    faults: dict[str, list[tuple[int, int, str]]]
    boot: np.ndarray
    on_seconds: dict[str, np.ndarray] = field(default_factory=dict)
    change: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=bool))


def draw_instruments(rng: np.random.Generator, form: str) -> Instruments:
    """Draw a board's habits."""
    kinds = {name: str(rng.choice(["bus", "resistance", "coarse"], p=[0.6, 0.3, 0.1])) for name in TEMPERATURES}
    kinds["stack"] = str(rng.choice(["thermocouple", "resistance"], p=[0.75, 0.25]))
    uniform = form == "uniform"
    return Instruments(
        interval_s=float(rng.choice([5.0, 10.0] if form in ("uniform", "packs") else [2.0, 5.0, 5.0, 10.0])),
        idle_interval_s=float(rng.choice([30.0, 60.0, 120.0])),
        uniform=uniform,
        kinds=kinds,
        offsets={name: float(rng.normal(0.0, 0.5)) for name in TEMPERATURES},
        glitches=float(rng.choice([0.0, 0.0, 1.0 / 86400.0])),
        jitter_s=float(rng.uniform(0.0, 0.12)),
        seed=int(rng.integers(2**31)),
    )


def channel_sets(plant: Plant) -> dict[str, tuple[str, ...]]:
    """The three channel sets of a plant."""
    more = [name for name in OPTIONAL if name not in plant.missing and (name != "circulation" or plant.loop)]
    return {"four": FOUR, "some": SOME, "all": (*SOME, "room", *more)}


def truths(plant: Plant, log: Log, names: tuple[str, ...]) -> dict[str, np.ndarray]:
    """The measured quantities on the log's own time, before any probe spoils them, in contract units."""
    c = log.columns
    out: dict[str, np.ndarray] = {}
    chimney = plant.draft_Pa * np.clip((c["gas"] - c["outdoor"]) / 220.0, 0.0, 1.25) * (1.0 + 0.03 * (c["wind"] - 3.0))
    lost = 7.0 * np.square(c["air_share"]) * (1.0 + 1.5 * c["foul"])
    for name in names:
        if name in SWITCHED:
            continue
        if name in c:
            out[name] = c[name]
        elif name == "combustion_air":
            out[name] = c["room"] + 0.3 + plant.variety.intake_outdoor * (c["outdoor"] - c["room"])
        elif name == "supply":
            out[name] = c["supply_C"] + 0.2 * (c["room"] - c["supply_C"])
        elif name == "air_pressure":
            out[name] = c["air_kPa"] * 1000.0
        elif name == "suction":
            out[name] = -c["vacuum_kPa"] * 1000.0
        elif name == "draft_breech":
            out[name] = -chimney
        elif name == "draft_fire":
            out[name] = -chimney + lost
        elif name == "supply_level":
            out[name] = c["supply_l"] / plant.supply_volume_l
        elif name == "tank_level":
            out[name] = c["tank_l"] / plant.tank.brim_l
        else:
            watts = c["tank_W"] if name == "tank_heater_current" else c["nozzle_W"]
            out[name] = watts / plant.volts
    return out


def sample(
    plant: Plant,
    log: Log,
    tools: Instruments,
    names: tuple[str, ...],
    end: float,
    faults: list[SensorFault],
    gaps: list[Gap],
    clock: list[ClockStep],
) -> Samples:
    """Sample one channel set."""
    rng = np.random.default_rng(tools.seed)
    variety = plant.variety
    if variety.bounce_s > 0.0:
        float_edges = bounced(log.edges["float"], variety.bounce_s, tools.seed)
        log = replace(log, edges={**log.edges, "float": float_edges})
    clean = truths(plant, log, names)
    switches = [name for name in names if name in SWITCHED]
    t, change = _times(log, tools, clean, switches, end, rng)
    keep = holes(len(t), variety, tools.seed)
    boot = np.zeros(len(t), dtype=np.int64)
    for gap in gaps:
        if gap.kind == "lost":
            keep &= (t <= gap.start) | (t >= gap.end)
        if gap.reboot:
            boot += t >= gap.end
    t, change, boot = t[keep], change[keep], boot[keep]
    values, words = _read(log, tools, plant, clean, switches, t, rng)
    on_seconds = {
        name: _on_seconds(log, name, t, boot, end) for name in switches if name in ("pump", "burner", "tank_heater")
    }
    for fault in faults:
        if fault.channel in values:
            _spoil(fault, t, values[fault.channel], words.setdefault(fault.channel, []), rng)
            on_seconds.pop(fault.channel, None)
    if variety is not PLAIN:
        thin(values, t, change, variety, SWITCHED)
    stamped = t.copy()
    for step in clock:
        stamped[(t >= step.start) & (t < step.end)] += step.shift_s
    return Samples(t, stamped, values, words, boot, on_seconds, change)


def _times(
    log: Log,
    tools: Instruments,
    clean: dict[str, np.ndarray],
    switches: list[str],
    end: float,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    grid = np.arange(tools.interval_s, end, tools.interval_s)
    if tools.uniform:
        return grid, np.zeros(len(grid), dtype=bool)
    base = log.columns["t"]
    busy = np.zeros(len(grid), dtype=bool)
    for name in switches:
        if name not in ("power", "circulation"):
            busy |= _states(log, name, grid) > 0.5
    for name in ("tank", "nozzle", "stack", "supply_air"):
        if name in clean:
            busy |= np.abs(np.gradient(np.interp(grid, base, clean[name]), tools.interval_s)) > 0.3 / 60.0
    busy[:-1] |= busy[1:]
    every = max(1, round(tools.idle_interval_s / tools.interval_s))
    regular = grid[busy | (np.arange(len(grid)) % every == 0)]
    regular = regular + rng.uniform(0.0, tools.jitter_s, len(regular))
    edges = [np.asarray(log.edges[name][0]) for name in switches]
    changes = np.unique(np.concatenate([*edges, np.zeros(0)]))
    changes = changes[(changes > 0.0) & (changes < end)] + 0.001
    t = np.concatenate([regular, changes])
    flag = np.concatenate([np.zeros(len(regular), dtype=bool), np.ones(len(changes), dtype=bool)])
    order = np.argsort(t, kind="stable")
    t, flag = t[order], flag[order]
    far = np.concatenate([[True], np.diff(t) > 0.002])
    return t[far], flag[far]


def _states(log: Log, name: str, t: np.ndarray) -> np.ndarray:
    times, values = log.edges[name]
    if not times:
        return np.zeros(len(t))
    at = np.searchsorted(np.asarray(times), t, side="right") - 1
    states = np.asarray(values, dtype=np.float64)
    return np.where(at >= 0, states[np.maximum(at, 0)], 0.0)


def _on_seconds(log: Log, name: str, t: np.ndarray, boot: np.ndarray, end: float) -> np.ndarray:
    """Seconds on since boot at each sample."""
    spans = log.spans(name, end)
    marks = np.array([0.0, *[x for span in spans for x in span], end + 1.0])
    total = np.concatenate([[0.0], np.cumsum(np.diff(marks) * (np.arange(len(marks) - 1) % 2))])
    on = np.interp(t, marks, total)
    first = np.concatenate([[True], np.diff(boot) != 0])
    start = np.where(first, on, 0.0)
    return np.asarray(on - np.maximum.accumulate(start))


def _read(
    log: Log,
    tools: Instruments,
    plant: Plant,
    clean: dict[str, np.ndarray],
    switches: list[str],
    t: np.ndarray,
    rng: np.random.Generator,
) -> tuple[dict[str, np.ndarray], dict[str, list[tuple[int, int, str]]]]:
    base = log.columns["t"]
    fire = np.interp(t, base, log.columns["fuel_kg_s"]) > 0.0
    values: dict[str, np.ndarray] = {}
    for name, series in clean.items():
        x = np.interp(t, base, series)
        if name in TEMPERATURES:
            step, noise = plant.variety.readers.get(name) or PROBES[tools.kinds[name]]
            if name == "outdoor" and plant.variety.sun_K > 0.0:
                x = x + sun(t, plant.variety.sun_K, tools.seed)
            x = x + tools.offsets[name] + noise * rng.standard_normal(len(t))
            if name == "stack":
                x = x + np.where(fire, 0.8, 0.0) * rng.standard_normal(len(t))
                if plant.variety.spark_K > 0.0:
                    trials = [(f["valve"], f["lit"] + 2.0) for f in log.firings]
                    trials += [(f["opened"], f["at"]) for f in log.failures]
                    spark_noise(x, t, trials, plant.variety.spark_K, tools.seed)
        elif name == "air_pressure":
            step = 100.0
            x = np.maximum(x + np.where(x > 2000.0, 900.0, 120.0) * rng.standard_normal(len(t)), 0.0)
        elif name in ("suction", "draft_fire", "draft_breech"):
            step, noise = (200.0, 300.0) if name == "suction" else (0.25, 0.8)
            x = x + noise * rng.standard_normal(len(t))
        elif name.endswith("_level"):
            step = 0.005
            x = x + 0.004 * rng.standard_normal(len(t))
        else:
            step = 0.01
            x = np.maximum(x + 0.015 * rng.standard_normal(len(t)), 0.0)
        values[name] = np.round(x / step) * step
    for name in switches:
        values[name] = _states(log, name, t)
    if tools.glitches:
        for name in ("tank", "nozzle"):
            hit = rng.random(len(t)) < tools.glitches * tools.interval_s
            values[name][hit] = 85.0
    return values, {}


def _spoil(
    fault: SensorFault, t: np.ndarray, x: np.ndarray, words: list[tuple[int, int, str]], rng: np.random.Generator
) -> None:
    first, last = np.searchsorted(t, [fault.start, fault.end]).tolist()
    if last <= first:
        return
    if fault.kind in ("open", "short", "absent"):
        x[first:last] = np.nan
        words.append((first, last, fault.kind))
    elif fault.kind == "frozen":
        x[first:last] = x[max(first - 1, 0)]
    elif fault.kind == "stuck-off":
        x[first:last] = 0.0
    elif fault.kind == "spikes":
        hit = rng.random(last - first) < 0.04
        x[first:last] += hit * rng.choice([-1.0, 1.0], last - first) * (fault.size or 80.0)
    elif fault.kind == "drift":
        third = (fault.end - fault.start) / 3.0
        x[first:last] += fault.size * np.clip((t[first:last] - fault.start) / third, 0.0, 1.0)
