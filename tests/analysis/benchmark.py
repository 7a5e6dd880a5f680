"""Speed of the analysis: a season replayed, one sample live, against a plain loop and (where installed) river.

    python -m tests.analysis.benchmark [DAYS]

Makes two tables of DAYS (200) at 5 s with 14 channels once, under the system's temporary directory:
`season`, the furnace model from autumn to spring, cleaned and logged three times, with a fault or two a month; and
`frost`, its coldest fortnight over and over, a refill stalled in each and never cleaned: more of everything that costs
time than a furnace has. Everything is measured in one run on one core; look at the ratios.
"""

import importlib.util
import json
import math
import os
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet

from sootline.analysis.engine import Engine
from sootline.analysis.glitch import GlitchFilter
from sootline.analysis.marks import Mark, StateTrack, state_marks
from sootline.analysis.watch import Watch
from sootline.channels import CHANNELS
from sootline.files.tables import Tables
from sootline.profile import LogEntry, Profile, parse
from sootline.series import EMPTY, Floats, Rows, concatenate
from sootline.sim.faults import Fault
from sootline.sim.run import Action, simulate
from sootline.sim.weather import Weather
from sootline.sim.workshop import ENGINE_SHED, PROFILES
from tests.analysis.kit import DAY_MS, HOUR_MS, T0
from tests.analysis.plain import rules

CHANNEL_SET = (
    "tank", "nozzle", "stack", "return_air", "supply_air", "room", "outdoor", "supply", "air_pressure", "pump", "float",
    "call", "burner", "flame",
)  # fmt: skip
SEED, STEP_MS = 2, 5_000
FORTNIGHT, MONTH = 14, 30
CLEANED = (0.3, 0.5, 0.7)  # shares of the season: three cleanings a season are common practice
MILDER_K = 6.0  # mean of the season above its coldest time: October and April some 12 K above January
LIVE_ROWS, PLAIN_ROWS, RIVER_ROWS = 5_000, 40_000, 10_000


def cleanings_ms(days: int) -> list[int]:
    return [T0 + round(share * days) * DAY_MS + 12 * HOUR_MS for share in CLEANED]


def profile() -> Profile:
    return parse(PROFILES["engine-shed"])


def profile_of(kind: str, days: int) -> Profile:
    """The furnace's, with the log of that table."""
    cleaned = cleanings_ms(days) if kind == "season" else []
    return replace(profile(), log=tuple(LogEntry(at_ms, "cleaning") for at_ms in cleaned))


def table(kind: str, days: int) -> Path:
    return Path(tempfile.gettempdir()) / f"sootline-speed-{kind}-{days}.parquet"


def trouble(days: int, every: int) -> tuple[tuple[Fault, ...], list[Action]]:
    """A slug of water, and air in the suction that stalls the refill for four hours, once in so many days.

    The supply tank is filled, and the limiter reset: an empty furnace would be no season.
    """
    faults: list[Fault] = []
    actions: list[Action] = [(T0 + day * DAY_MS, "fill-supply", {"litres": 400.0}) for day in range(3, days, 4)]
    for start_ms in range(T0, T0 + days * DAY_MS, every * DAY_MS):
        leaks_ms = start_ms + 6 * DAY_MS
        faults.append(Fault("water-slug", start_ms + 3 * DAY_MS, start_ms + 4 * DAY_MS))
        faults.append(Fault("air-leak", leaks_ms, leaks_ms + 3 * HOUR_MS))
        actions += [(leaks_ms + 4 * HOUR_MS + k * 60_000, "refill-reset", {}) for k in range(10)]
    return tuple(faults), actions


def columns(days: int, every: int, actions: list[Action], weather: Weather | None) -> dict[str, Floats]:
    """What the furnace model reads, on an even grid."""
    faults, needed = trouble(days, every)
    end_ms = T0 + days * DAY_MS
    made, _ = simulate(ENGINE_SHED, SEED, T0, end_ms, faults, needed + actions, 5.0, 5.0, CHANNEL_SET, weather)
    grid = np.arange(T0, end_ms, STEP_MS)
    found = {}
    for name in CHANNEL_SET:
        given = ~np.isnan(made.values[name])
        at = np.maximum(np.searchsorted(made.t_ms[given], grid, "right") - 1, 0)
        found[name] = made.values[name][given][at]
    return found


def autumn_to_spring(days: int) -> Weather:
    """The model's winter, milder towards both ends by a cosine."""
    winter, first = Weather(SEED), T0 // DAY_MS
    drawn = {}
    for k in range(-1, days + 1):
        milder_K = MILDER_K * (1 + math.cos(2 * math.pi * k / days))
        dawn_C, afternoon_C = winter.day(first + k)
        drawn[first + k] = (dawn_C + milder_K, afternoon_C + milder_K)
    return Weather(SEED, days=drawn)


def season(days: int) -> Path:
    """The table, made where it is not there yet."""
    path = table("season", days)
    if not path.exists():
        cleaned: list[Action] = [(at_ms, "clean", {}) for at_ms in cleanings_ms(days)]
        write(path, columns(days, MONTH, cleaned, autumn_to_spring(days)))
    return path


def frost(days: int) -> Path:
    """Likewise, of one fortnight; its stack is 20 K hotter at the end than it would be."""
    path = table("frost", days)
    if not path.exists():
        n = days * DAY_MS // STEP_MS
        found = columns(FORTNIGHT, FORTNIGHT, [], None)
        again = {name: x[np.arange(n) % len(x)] for name, x in found.items()}
        again["stack"] = np.round((again["stack"] + 20.0 * np.arange(n) / n) * 4) / 4
        write(path, again)
    return path


def write(path: Path, found: dict[str, Floats]) -> None:
    n = len(next(iter(found.values())))
    arrays = {"time": pa.array(T0 + STEP_MS * np.arange(n), pa.timestamp("ms", "UTC"))}
    for name, x in found.items():
        arrays[name] = pa.array(x > 0.5) if CHANNELS[name].kind == "state" else pa.array(x)
    part = path.with_suffix(".part")
    pa.parquet.write_table(pa.table(arrays), part)
    part.replace(path)


def replay(path: Path, made_for: Profile) -> dict[str, float]:
    """Read and analyse the table; run in a process of its own, so that its memory is what it needs."""
    start, cpu = time.perf_counter(), time.process_time()
    watch = Watch(made_for, lambda start_ms, end_ms: EMPTY)
    n, reading = 0, 0.0
    rows = Tables([path], "engine-shed").rows("engine-shed")
    while True:
        before = time.process_time()
        part = next(rows, None)
        reading += time.process_time() - before
        if part is None:
            break
        n += len(part)
        watch.arrived(part)
    wall, cpu = time.perf_counter() - start, time.process_time() - cpu
    peak_MB = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {
        "rows": n, "wall": wall, "cpu": cpu, "reading": reading, "peak_MB": peak_MB, "alarms": len(watch.alarms),
        "events": len(watch.events), "firings": sum(event.kind == "firing" for event in watch.events),
        "refills": sum(event.kind == "refill" for event in watch.events),
    }  # fmt: skip


def first_days(path: Path, days: int) -> Rows:
    parts, end_ms = [], T0 + days * DAY_MS
    for part in Tables([path], "engine-shed").rows("engine-shed"):
        parts.append(part.between(0, end_ms))
        if part.t_ms[-1] >= end_ms:
            break
    return concatenate(parts)


def each(rows: Rows) -> list[Rows]:
    edges = [*rows.t_ms.tolist(), int(rows.t_ms[-1]) + 1]
    return [rows.between(a, b) for a, b in pairwise(edges)]


def dicts(rows: Rows) -> list[dict[str, float]]:
    columns = [x.tolist() for x in rows.values.values()]
    return [dict(zip(rows.values, row, strict=True)) for row in zip(*columns, strict=True)]


def live(rows: Rows) -> tuple[float, float]:
    """CPU seconds a sample, (engine alone, watch with its saves and its store), after ten days."""
    samples = each(rows.between(T0 + 10 * DAY_MS, T0 + 10 * DAY_MS + LIVE_ROWS * STEP_MS))
    engine = Engine(profile())
    engine.feed(rows.between(0, T0 + 10 * DAY_MS))
    engine.take_changed(), engine.take_events()
    watch = Watch(profile(), lambda start_ms, end_ms: EMPTY)
    watch.resume([rows.between(0, T0 + 10 * DAY_MS)], [])
    start = time.process_time()
    for sample in samples:
        engine.feed(sample)
    middle = time.process_time()
    for sample in samples:
        watch.arrived(sample, int(sample.t_ms[0]) + 100)
    return (middle - start) / len(samples), (time.process_time() - middle) / len(samples)


def late(rows: Rows) -> tuple[float, float]:
    """CPU seconds to take in three days that come after a live row, and the megabytes of the states kept by then."""
    back_ms, live_ms = T0 + 8 * DAY_MS, T0 + 11 * DAY_MS
    watch = Watch(profile(), rows.between)
    watch.resume([rows.between(T0 + day * DAY_MS, T0 + (day + 1) * DAY_MS) for day in range(8)], [])
    watch.arrived(rows.between(live_ms, live_ms + STEP_MS), live_ms + 100)
    start = time.process_time()
    watch.arrived(rows.between(back_ms, live_ms), live_ms + 200)
    return time.process_time() - start, sum(len(state) for _, state in watch._saves) / 1e6


def sample_level(rows: Rows) -> float:
    """CPU seconds a row, a day at a time, of what the plain loop does: from rows to marks, and nothing after."""
    plant, glitches, states = Engine(profile()).plant, GlitchFilter(), dict[str, StateTrack]()
    days = [rows.between(t_ms, t_ms + DAY_MS) for t_ms in range(T0, int(rows.t_ms[-1]), DAY_MS)]
    start = time.process_time()
    for day in days:
        marks: list[Mark] = []
        kept = glitches.feed(day, plant.sampling, marks)
        plant.history.extend(kept)
        marks += state_marks(kept, states, plant.sampling) + plant.condition_marks()
    return (time.process_time() - start) / len(rows)


def plain(rows: Rows) -> float:
    """CPU seconds a row of a plain loop over the same rules, from dicts made before; no event, alarm or cause."""
    conditions = [track.condition for track in Engine(profile()).plant.tracks.values()]
    states = [name for name in CHANNEL_SET if CHANNELS[name].kind == "state"]
    made = rules(conditions, states, CHANNEL_SET)
    part = rows.between(0, int(rows.t_ms[PLAIN_ROWS]))
    table = [
        dict(zip(part.values, row, strict=True))
        for row in zip(*(x.tolist() for x in part.values.values()), strict=True)
    ]
    times = part.t_ms.tolist()
    start = time.process_time()
    for t_ms, row in zip(times, table, strict=True):
        for rule in made:
            rule.step(t_ms, row)
    return (time.process_time() - start) / len(times)


def river(rows: Rows) -> float:
    """CPU seconds a row of HalfSpaceTrees with 10 trees: score_one, then learn_one."""
    from river.anomaly import HalfSpaceTrees  # type: ignore[import-not-found, import-untyped, unused-ignore]

    part = rows.between(0, int(rows.t_ms[RIVER_ROWS]))
    table = [
        dict(zip(part.values, row, strict=True))
        for row in zip(*(x.tolist() for x in part.values.values()), strict=True)
    ]
    limits = {name: (float(x.min()), float(x.max())) for name, x in part.values.items()}
    trees = HalfSpaceTrees(n_trees=10, seed=1, limits=limits)
    start = time.process_time()
    for row in table:
        trees.score_one(row)
        trees.learn_one(row)
    return (time.process_time() - start) / len(table)


def in_a_process(kind: str, days: int) -> dict[str, float]:
    here = Path(__file__).resolve().parents[2]
    command = [sys.executable, "-m", "tests.analysis.benchmark", "--replay", kind, str(days)]
    found: dict[str, float] = json.loads(subprocess.run(command, check=True, capture_output=True, cwd=here).stdout)
    return found


def main(days: int) -> None:
    paths = {"season": season(max(days, FORTNIGHT)), "frost": frost(max(days, FORTNIGHT))}
    per_row = {}
    for kind, path in paths.items():
        found = in_a_process(kind, max(days, FORTNIGHT))
        per_row[kind] = found["cpu"] / found["rows"]
        print(f"{path}: {path.stat().st_size / 1e6:.0f} MB, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
        print(f"{kind}: {found['rows']:,} rows, {found['firings']} firings, {found['refills']} refills")
        print(f"  {found['events']} events, {found['alarms']} alarms")
        print(f"  CPU {found['cpu']:.2f} s, of it reading {found['reading']:.2f} s; wall {found['wall']:.2f} s")
        print(f"  {1e6 * per_row[kind]:.2f} us a row, peak memory {found['peak_MB']:.0f} MB")
    rows = first_days(paths["frost"], 12)
    engine_s, watch_s = live(rows)
    print(f"live, one sample a call: engine {1e3 * engine_s:.3f} ms, watch {1e3 * watch_s:.3f} ms")
    print(f"  one core follows {5.0 / watch_s:,.0f} furnaces at 5 s")
    late_s, kept_MB = late(rows)
    print(f"three days late, after a live row: {late_s:.2f} s; states kept {kept_MB:.1f} MB")
    rules_s, plain_s = sample_level(rows), plain(rows)
    compare("plain loop, an object a rule, without events", plain_s, per_row)
    print(
        f"  the same rules alone here: {1e6 * rules_s:.2f} us a row: the plain loop takes {plain_s / rules_s:.0f} times"
    )
    if importlib.util.find_spec("river") is None:
        print("river is not installed: not compared")
        return
    compare("river HalfSpaceTrees(10)", river(rows), per_row)


def compare(what: str, other_s: float, per_row: dict[str, float]) -> None:
    times = ", ".join(f"{other_s / own_s:.1f} times the replay of {kind}" for kind, own_s in per_row.items())
    print(f"{what}: {1e6 * other_s:.1f} us a row: {times}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--replay"]:
        kind, days = sys.argv[2], int(sys.argv[3])
        print(json.dumps(replay(table(kind, days), profile_of(kind, days))))
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
