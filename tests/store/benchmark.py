"""Size and speed of the store beside VictoriaMetrics, DuckDB and plain wide SQLite rows, as ratios of one run.

    python -m tests.store.benchmark [--days 200]

One sample is 14 channels. The season is synthetic with the noise of real sensors (tests/store/season.py); what
compresses and how well depends on that noise, so read the ratios, not the bytes.
"""

import argparse
import http.client
import json
import multiprocessing
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from sootline.series import Rows
from sootline.store import Store
from sootline.wire.pack import Pack
from tests.store import season
from tests.store.making import DAY_MS, FURNACE, START_MS
from tests.store.servers import victoria_metrics

CHANNELS = (*season.ANALOG, *season.STATES)
PACK_ROWS = 12


def entropy_bytes(values: np.ndarray) -> float:
    """Order-0 entropy of the first differences [bytes]: what a simple ideal coder would need."""
    _, counts = np.unique(np.diff(values), return_counts=True)
    share = counts / counts.sum()
    return float(-(share * np.log2(share)).sum() * len(values) / 8)


def timed(action: Callable[[], Any], times: int = 5) -> float:
    """Median time of an action [ms]."""
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        action()
        taken.append((time.perf_counter() - begin) * 1e3)
    return statistics.median(taken)


def size_of(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def line(what: str, ours: str, ratio: str, goal: str = "") -> None:
    print(f"{what:<58} {ours:>14} {ratio:>26} {goal}", flush=True)


def packs_of(rows: Rows, first_seq: int, n: int) -> list[Pack]:
    """Packs of n samples each."""
    packs = []
    for k, i in enumerate(range(0, len(rows), n)):
        base_ms = int(rows.t_ms[i])
        part = Rows(rows.t_ms[i : i + n] - base_ms, {name: v[i : i + n] for name, v in rows.values.items()})
        packs.append(Pack(FURNACE, "b1", first_seq + k, 0, base_ms, part))
    return packs


def load_ours(store: Store, days: list[Rows]) -> None:
    """As it comes in: a pack a sample, house-keeping four times a day."""
    seq = 0
    for rows in days:
        arrived = season.arrivals(rows.t_ms, seed=seq).tolist()
        packs = packs_of(rows, seq, 1)
        for i in range(0, len(packs), len(packs) // 4):
            with store.batch() as batch:
                for k in range(i, i + len(packs) // 4):
                    batch.pack(packs[k], arrived[k], packs[k].base_ms or 0)
            store.compact(int(rows.t_ms[k]) + 2 * season.EVERY_MS)
        seq += len(packs)


def load_sqlite(path: Path, days: list[Rows]) -> sqlite3.Connection:
    db = sqlite3.connect(path)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute(f"CREATE TABLE r (t INTEGER PRIMARY KEY, {', '.join(f'{c} REAL' for c in CHANNELS)})")
    for rows in days:
        table = [rows.t_ms.tolist(), *(rows.values[c].tolist() for c in CHANNELS)]
        with db:
            db.executemany(f"INSERT INTO r VALUES ({', '.join('?' * 15)})", zip(*table, strict=True))
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return db


def load_duckdb(path: Path, days: list[Rows]) -> duckdb.DuckDBPyConnection:
    db = duckdb.connect(str(path))
    for i, rows in enumerate(days):
        db.register("day", pa.table({"t": rows.t_ms, **{c: rows.values[c] for c in CHANNELS}}))
        db.execute("CREATE TABLE r AS SELECT * FROM day" if i == 0 else "INSERT INTO r SELECT * FROM day")
    db.execute("CHECKPOINT")
    return db


def load_server(port: int, days: list[Rows]) -> None:
    link = http.client.HTTPConnection("127.0.0.1", port)
    seq = 0
    for rows in days:
        arrived = season.arrivals(rows.t_ms, seed=seq)
        seq += len(rows)
        columns = [rows.t_ms.tolist(), (arrived - rows.t_ms).tolist(), *(rows.values[c].tolist() for c in CHANNELS)]
        lines = [
            f"f,furnace={FURNACE} {','.join(f'{c}={v}' for c, v in zip(('delay', *CHANNELS), row[1:], strict=True))}"
            f" {row[0]}000000"
            for row in zip(*columns, strict=True)
        ]
        for i in range(0, len(lines), 5000):
            link.request("POST", "/api/v2/write", "\n".join(lines[i : i + 5000]))
            answer = link.getresponse()
            answer.read()
            assert answer.status == 204
    for path in ("/internal/force_flush", "/internal/force_merge"):
        link.request("GET", path)
        link.getresponse().read()
    time.sleep(10)


def export(port: int, channel: str, start_ms: int, end_ms: int) -> list[tuple[np.ndarray, np.ndarray]]:
    link = http.client.HTTPConnection("127.0.0.1", port)
    match = f"match[]={{__name__=~%22f_({channel})%22}}"
    link.request("GET", f"/api/v1/export?{match}&start={start_ms / 1000}&end={(end_ms - 1) / 1000}")
    found = [json.loads(text) for text in link.getresponse().read().splitlines()]
    return [(np.array(series["timestamps"]), np.array(series["values"])) for series in found]


def ingest(folder: Path, rows: Rows, n: int, first_seq: int = 0) -> tuple[float, float]:
    """Samples a second, and a second of processor time, committed every 100 packs of n samples."""
    packs = packs_of(rows, first_seq, n)
    with Store.open(folder) as store:
        begin, busy = time.perf_counter(), time.process_time()
        for i in range(0, len(packs), 100):
            with store.batch() as batch:
                for pack in packs[i : i + 100]:
                    batch.pack(pack, pack.base_ms or 0, pack.base_ms or 0)
        return len(rows) / (time.perf_counter() - begin), len(rows) / (time.process_time() - busy)


def beside_mirror(folder: Path, days: list[Rows]) -> tuple[float, float, float]:
    """(samples a second of ingest beside a mirror that drains a day, the same alone before it, lines it sent then)."""
    alone, _ = ingest(folder / "store", days[0], 1)
    with victoria_metrics(folder / "server") as (port, _):
        command = [sys.executable, "-m", "sootline", "mirror", f"http://127.0.0.1:{port}", "--data", folder / "store"]
        with subprocess.Popen(command, stderr=subprocess.DEVNULL) as mirror:
            while not received(port):
                time.sleep(0.01)
            before = received(port)
            rate, _ = ingest(folder / "store", days[1], 1, len(days[0]))
            sent = received(port) - before
            mirror.terminate()
    return rate, alone, sent


def received(port: int) -> int:
    """How many values a server has taken in by the line protocol."""
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics", timeout=30) as answer:
        told = [
            text
            for text in answer.read().decode().splitlines()
            if text.startswith('vm_rows_inserted_total{type="influx"}')
        ]
    return int(float(told[0].split()[1])) if told else 0


def write_on(folder: Path, rows: Rows, end_ms: int, over: Any) -> None:
    """The writer of `beside`: a day of packs again and again, a commit each 100, without rest."""
    packs, round_ = packs_of(rows, 0, 1), 0
    with Store.open(folder) as store:
        while not over.is_set():
            boot = f"busy-{round_}"
            for i in range(0, len(packs), 100):
                with store.batch() as batch:
                    for pack in packs[i : i + 100]:
                        batch.pack(replace(pack, boot=boot), end_ms, end_ms + (pack.base_ms or 0) - START_MS)
                if over.is_set():
                    break
            round_ += 1
            store.compact(end_ms + 2 * DAY_MS)


def beside(folder: Path, rows: Rows, end_ms: int) -> tuple[float, float, float]:
    """Median and worst time of a page query (two hours of 14 channels) beside a writer, and its median alone [ms]."""
    with Store.open(folder, read_only=True) as reader:

        def query() -> float:
            begin = time.perf_counter()
            reader.read(FURNACE, end_ms - 7_200_000, end_ms)
            time.sleep(0.01)
            return (time.perf_counter() - begin) * 1e3 - 10

        alone = statistics.median(query() for _ in range(100))
        spawn = multiprocessing.get_context("spawn")
        over = spawn.Event()
        writer = spawn.Process(target=write_on, args=(folder, rows, end_ms, over))
        writer.start()
        time.sleep(2)
        taken = [query() for _ in range(300)]
        over.set()
        writer.join()
    return statistics.median(taken), max(taken), alone


def sizes(folder: Path, days: list[Rows], plain: int, duck: int, server: int) -> None:
    channels_floor = sum(
        entropy_bytes(np.rint(v * 100).astype(np.int64)) for rows in days for v in rows.values.values()
    )
    arrival_floor = sum(entropy_bytes(season.arrivals(rows.t_ms, seed=i)) for i, rows in enumerate(days))
    readings = other = 0
    for path in (folder / "days").glob("*/*.parquet"):
        group = pq.read_metadata(path).row_group(0)
        for i in range(group.num_columns):
            column = group.column(i)
            if column.path_in_schema in ("received", "boot", "seq"):
                other += column.total_compressed_size
            else:
                readings += column.total_compressed_size
    files = size_of(folder / "days")
    everything = size_of(folder)
    mb = 1e6
    line(
        "season: 14 channels and their times",
        f"{readings / mb:.2f} MB",
        f"{readings / channels_floor:.2f} x entropy",
        "<= 1.3",
    )
    line(
        "season: with arrival, boot, number of each row",
        f"{files / mb:.2f} MB",
        f"{files / (channels_floor + arrival_floor):.2f} x entropy",
        "<= 1.3",
    )
    line(
        "  the same beside the server (also with arrival)",
        f"{files / mb:.2f} MB",
        f"{files / server:.2f} x VictoriaMetrics",
        "<= 1.3",
    )
    line("  the same beside DuckDB / plain rows (without)", "", f"{files / duck:.2f} x, {files / plain:.3f} x")
    line(
        "whole folder (days, hours, hot rows, free pages)",
        f"{everything / mb:.2f} MB",
        f"{everything / server:.2f} x VictoriaMetrics",
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=200)
    parser.add_argument("--own-grain", action="store_true", help="each sensor with its own grain instead of 0.1")
    n = parser.parse_args()
    days = list(season.days(n.days, grain=None if n.own_grain else 0.1))
    end_ms = START_MS + n.days * DAY_MS
    with tempfile.TemporaryDirectory() as name, victoria_metrics(Path(name) / "server") as (port, _):
        folder = Path(name)
        print(f"{n.days} days of {len(CHANNELS)} channels every 5 s, {sum(map(len, days)):,} samples")
        for n_rows, goal in ((1, ">= 20,000/s"), (PACK_ROWS, "")):
            rate, busy = ingest(folder / f"ingest-{n_rows}", days[0], n_rows)
            title = f"ingest, commit per 100 packs of {n_rows} sample{'s' * (n_rows > 1)}"
            line(title, f"{rate:,.0f}/s", f"{busy:,.0f} per CPU second", goal)
        rate, alone, sent = beside_mirror(folder / "mirrored", days)
        line(
            "ingest of single samples beside a mirror draining a day",
            f"{rate:,.0f}/s",
            f"{rate / alone:.2f} of alone; {sent:,} values sent",
        )
        store = Store.open(folder / "ours")
        load_ours(store, days)
        plain = load_sqlite(folder / "plain.db", days)
        duck = load_duckdb(folder / "duck.db", days)
        load_server(port, days)
        last = (end_ms - DAY_MS, end_ms)
        sql = f"SELECT * FROM r WHERE t >= {last[0]} AND t < {last[1]} ORDER BY t"
        compare(
            "last 24 h, 14 channels",
            timed(lambda: store.read(FURNACE, *last)),
            timed(lambda: np.array(plain.execute(sql).fetchall())),
            timed(lambda: duck.execute(sql).fetchnumpy()),
            timed(lambda: export(port, "|".join(CHANNELS), *last)),
            "<= 0.100 of rows",
        )
        compare(
            "whole season, one channel",
            timed(lambda: store.read(FURNACE, START_MS, end_ms, ("stack",)), 3),
            timed(lambda: np.array(plain.execute("SELECT t, stack FROM r ORDER BY t").fetchall()), 3),
            timed(lambda: duck.execute("SELECT t, stack FROM r ORDER BY t").fetchnumpy(), 3),
            timed(lambda: export(port, "stack", START_MS, end_ms), 3),
            "<= 0.067 of rows and server",
        )
        overview = timed(lambda: store.overview(FURNACE, "stack", START_MS, end_ms, 1000), 21)
        buckets = f"SELECT (t - {START_MS}) * 1000 // {end_ms - START_MS} b, min(stack), max(stack) FROM r GROUP BY b"
        rows_ms = timed(lambda: plain.execute(buckets.replace("//", "/")).fetchall(), 1)
        duck_ms = timed(lambda: duck.execute(buckets).fetchnumpy(), 3)
        line(
            "season overview, 1,000 pixels", f"{overview:.2f} ms",
            f"{overview / rows_ms:.4f} rows, {overview / duck_ms:.3f} DuckDB", "<= 5 ms",
        )  # fmt: skip
        store.compact(end_ms + 3 * DAY_MS)
        duck.close()
        plain.close()
        sizes(
            folder / "ours",
            days,
            (folder / "plain.db").stat().st_size,
            (folder / "duck.db").stat().st_size,
            size_of(folder / "server"),
        )
        store.close()
        median, worst, alone = beside(folder / "ours", days[0], end_ms)
        line(
            "page query beside a busy writer, median / worst",
            f"{median:.1f} / {worst:.1f} ms",
            f"{alone:.1f} ms alone",
            "never blocked 50 ms",
        )


def compare(what: str, ours: float, rows: float, duck: float, server: float, goal: str) -> None:
    line(what, f"{ours:.1f} ms", f"{ours / rows:.3f} of plain rows", goal)
    line("", "", f"{ours / duck:.3f} of DuckDB")
    line("", "", f"{ours / server:.3f} of the server")


if __name__ == "__main__":
    main()
