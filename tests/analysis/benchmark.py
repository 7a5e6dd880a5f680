"""Speed of the analysis: a season replayed, one sample live, against a plain loop and (where installed) river.

    python -m tests.analysis.benchmark [DAYS]

Makes a table of DAYS (200) at 5 s with 14 channels once, under the system's temporary directory, from two weeks of
the furnace model repeated with a slow drift. Everything is measured in one run on one core; look at the ratios.
"""

import importlib.util
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet

from sootline.analysis.engine import Engine
from sootline.analysis.watch import Watch
from sootline.channels import CHANNELS
from sootline.files.tables import Tables
from sootline.profile import Profile, parse
from sootline.series import EMPTY, Rows, concatenate
from sootline.sim.faults import Fault
from sootline.sim.run import simulate
from sootline.sim.workshop import ENGINE_SHED, PROFILES
from tests.analysis.kit import DAY_MS, HOUR_MS, T0
from tests.analysis.plain import rules

CHANNEL_SET = (
    "tank", "nozzle", "stack", "return_air", "supply_air", "room", "outdoor", "supply", "air_pressure", "pump", "float",
    "call", "burner", "flame",
)  # fmt: skip
MADE_DAYS, STEP_MS = 14, 5_000
LIVE_ROWS, PLAIN_ROWS, RIVER_ROWS = 5_000, 40_000, 10_000


def profile() -> Profile:
    return parse(PROFILES["engine-shed"])


def season(days: int) -> Path:
    """The table, made where it is not there yet."""
    path = Path(tempfile.gettempdir()) / f"sootline-season-{days}-attended.parquet"
    if path.exists():
        return path
    faults = (Fault("water-slug", T0 + 3 * DAY_MS), Fault("air-leak", T0 + 6 * DAY_MS, T0 + 6 * DAY_MS + 3 * HOUR_MS))
    # the supply tank is filled, and the limiter reset: an empty furnace would be no season
    actions = [(T0 + day * DAY_MS, "fill-supply", {"litres": 400.0}) for day in (3, 7, 11)]
    actions += [(T0 + 6 * DAY_MS + 4 * HOUR_MS + k * 60_000, "refill-reset", {}) for k in range(10)]
    made, _ = simulate(ENGINE_SHED, 2, T0, T0 + MADE_DAYS * DAY_MS, faults, actions, 5.0, 5.0, CHANNEL_SET)
    grid = np.arange(T0, T0 + MADE_DAYS * DAY_MS, STEP_MS)
    columns = {}
    for name in CHANNEL_SET:
        given = ~np.isnan(made.values[name])
        at = np.maximum(np.searchsorted(made.t_ms[given], grid, "right") - 1, 0)
        columns[name] = made.values[name][given][at]
    n = days * DAY_MS // STEP_MS
    repeat = np.arange(n) % len(grid)
    arrays = {"time": pa.array(T0 + STEP_MS * np.arange(n), pa.timestamp("ms", "UTC"))}
    for name, column in columns.items():
        x = column[repeat]
        if name == "stack":
            x = np.round((x + 20.0 * np.arange(n) / n) * 4) / 4
        arrays[name] = pa.array(x > 0.5) if CHANNELS[name].kind == "state" else pa.array(x)
    part = path.with_suffix(".part")
    pa.parquet.write_table(pa.table(arrays), part)
    part.replace(path)
    return path


def replay(path: Path) -> dict[str, float]:
    """Read and analyse the table; run in a process of its own, so that its memory is what it needs."""
    start, cpu = time.perf_counter(), time.process_time()
    watch = Watch(profile(), lambda start_ms, end_ms: EMPTY)
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


def plain(rows: Rows) -> float:
    """CPU seconds a row of a plain loop over the same rules."""
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


def main(days: int) -> None:
    path = season(max(days, MADE_DAYS))
    print(f"{path}: {path.stat().st_size / 1e6:.0f} MB, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    here = Path(__file__).resolve().parents[2]
    command = [sys.executable, "-m", "tests.analysis.benchmark", "--replay", str(path)]
    found = json.loads(subprocess.run(command, check=True, capture_output=True, text=True, cwd=here).stdout)
    per_row = found["cpu"] / found["rows"]
    print(f"season: {found['rows']:,} rows, {found['firings']} firings, {found['events']} events")
    print(f"  {found['alarms']} alarms; CPU {found['cpu']:.2f} s, of it reading {found['reading']:.2f} s")
    print(f"  wall {found['wall']:.2f} s")
    print(f"  {1e6 * per_row:.2f} us a row, peak memory {found['peak_MB']:.0f} MB")
    rows = first_days(path, 12)
    engine_s, watch_s = live(rows)
    print(f"live, one sample a call: engine {1e3 * engine_s:.3f} ms, watch {1e3 * watch_s:.3f} ms")
    print(f"  one core follows {5.0 / watch_s:,.0f} furnaces at 5 s")
    late_s, kept_MB = late(rows)
    print(f"three days late, after a live row: {late_s:.2f} s; states kept {kept_MB:.1f} MB")
    plain_s = plain(rows)
    print(f"plain loop, an object a rule: {1e6 * plain_s:.1f} us a row: {plain_s / per_row:.1f} times the replay")
    if importlib.util.find_spec("river") is None:
        print("river is not installed: not compared")
        return
    river_s = river(rows)
    print(f"river HalfSpaceTrees(10): {1e6 * river_s:.0f} us a row: {river_s / per_row:.0f} times the replay")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--replay"]:
        print(json.dumps(replay(Path(sys.argv[2]))))
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
