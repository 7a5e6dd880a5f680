"""Lowest, mean and highest reading of each channel and hour, and the overview that is drawn from them.

They cover what is in parts; loose packs are added when an overview is made. A row of the table `hours` holds 24 hours
of one channel: four planes of 24 float64 (count, lowest, mean, highest), zstd-compressed, NaN where there is none.
The mean counts each reading for as long as it stands: to the next one, 180 s at most.
"""

import sqlite3
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import zstandard

from sootline.series import Floats, Rows, Times
from sootline.store import block, packs, parts, readings
from sootline.store.block import DAY_MS, HOUR_MS

STANDS_MS = 180_000
_EMPTY_DAY = np.array([[0.0], [np.nan], [np.nan], [np.nan]]).repeat(24, axis=1)
Pixels = tuple[Times, Floats, Floats]


def refresh(db: sqlite3.Connection, folder: Path, furnace: int, hours: Iterable[int]) -> None:
    """Work out again the hours that begin at these times, from the parts that hold them."""
    rank = packs.boot_ranks(db, furnace)
    boots = parts.boot_numbers(db, furnace)
    for hour_ms in hours:
        span = (hour_ms, hour_ms + HOUR_MS)
        held = [parts.load(db, folder, part, None, boots) for part in parts.overlapping(db, furnace, *span)]
        _store(db, furnace, hour_ms, summary(block.read(block.join(held), rank, *span, None), span[1]))


def summary(rows: Rows, end_ms: int) -> dict[str, tuple[float, float, float, float]]:
    """(count, lowest, mean, highest) of each channel of an hour that ends at end_ms."""
    found = {}
    for name, column in rows.values.items():
        given = ~np.isnan(column)
        t_ms, values = rows.t_ms[given], column[given]
        stands = np.clip(np.diff(t_ms, append=end_ms), 1, STANDS_MS)
        mean = float(np.average(values, weights=stands))
        found[name] = (float(len(values)), float(values.min()), mean, float(values.max()))
    return found


def _store(
    db: sqlite3.Connection, furnace: int, hour_ms: int, found: dict[str, tuple[float, float, float, float]]
) -> None:
    day_ms = hour_ms // DAY_MS * DAY_MS
    there = dict(
        db.execute("SELECT channel, table_24 FROM hours WHERE furnace = ? AND day_ms = ?", (furnace, day_ms)).fetchall()
    )
    for channel in there.keys() | found.keys():
        table = _table(there[channel]).copy() if channel in there else _EMPTY_DAY.copy()
        table[:, (hour_ms - day_ms) // HOUR_MS] = found.get(channel, (0.0, np.nan, np.nan, np.nan))
        db.execute(
            "INSERT OR REPLACE INTO hours (furnace, channel, day_ms, table_24) VALUES (?, ?, ?, ?)",
            (furnace, channel, day_ms, zstandard.compress(table.tobytes(), 3)),
        )


def _table(data: bytes) -> Floats:
    return np.frombuffer(zstandard.decompress(data)).reshape(4, 24)


def read(
    db: sqlite3.Connection, furnace: int, channel: str, start_ms: int, end_ms: int
) -> tuple[Times, Floats, Floats, Floats]:
    """(hour_ms, low, mean, high) of the hours of a channel that begin in [start_ms, end_ms) and hold a reading."""
    rows = db.execute(
        "SELECT day_ms, table_24 FROM hours WHERE furnace = ? AND channel = ? AND day_ms > ? AND day_ms < ?",
        (furnace, channel, start_ms - DAY_MS, end_ms),
    ).fetchall()
    if not rows:
        return np.empty(0, np.int64), np.empty(0), np.empty(0), np.empty(0)
    unpack = zstandard.ZstdDecompressor().decompress
    tables = np.frombuffer(b"".join(unpack(data) for _, data in rows)).reshape(-1, 4, 24)
    t_ms = (np.array([day for day, _ in rows], np.int64)[:, None] + np.arange(24) * HOUR_MS).ravel()
    count, low, mean, high = (tables[:, i].ravel() for i in range(4))
    held = (count > 0) & (t_ms >= start_ms) & (t_ms < end_ms)
    return t_ms[held], low[held], mean[held], high[held]


def overview(
    db: sqlite3.Connection, folder: Path, furnace: int, channel: str, start_ms: int, end_ms: int, n: int
) -> Pixels:
    """Lowest and highest value of each of n equal spans; from the hours where a span is an hour or longer.

    Of hours only those wholly inside are taken; the pieces of hours at both ends are read row by row.
    """
    first_ms = -(-start_ms // HOUR_MS) * HOUR_MS
    last_ms = end_ms // HOUR_MS * HOUR_MS
    rank = packs.boot_ranks(db, furnace)

    def rows(begin_ms: int, stop_ms: int) -> tuple[Times, Floats]:
        found = readings.read(db, folder, furnace, begin_ms, stop_ms, (channel,))
        return found.t_ms, found.values.get(channel, np.empty(0))

    if (end_ms - start_ms) < n * HOUR_MS or last_ms <= first_ms:
        t_ms, values = rows(start_ms, end_ms)
        return pixels(t_ms, values, values, start_ms, end_ms, n)
    spans = [rows(start_ms, first_ms), rows(last_ms, end_ms)]
    for hour in readings.loose_hours(db, furnace, first_ms, last_ms):
        found = block.read(hour, rank, first_ms, last_ms, (channel,))
        if channel in found.values:
            spans.append((found.t_ms, found.values[channel]))
    hour_ms, low, _, high = read(db, furnace, channel, first_ms, last_ms)
    t_ms = np.concatenate([hour_ms, *(span[0] for span in spans)])
    low = np.concatenate([low, *(span[1] for span in spans)])
    high = np.concatenate([high, *(span[1] for span in spans)])
    order = np.argsort(t_ms, kind="stable")
    return pixels(t_ms[order], low[order], high[order], start_ms, end_ms, n)


def pixels(t_ms: Times, low: Floats, high: Floats, start_ms: int, end_ms: int, n: int) -> Pixels:
    """The start, lowest and highest value of each of n equal spans of [start_ms, end_ms) that holds one."""
    given = ~np.isnan(low)
    if not given.all():
        t_ms, low, high = t_ms[given], low[given], high[given]
    if not len(t_ms):
        return np.empty(0, np.int64), np.empty(0), np.empty(0)
    edges = start_ms + (np.arange(n + 1, dtype=np.int64) * (end_ms - start_ms)) // n
    first = np.searchsorted(t_ms, edges[:-1])
    held = first < np.append(first[1:], len(t_ms))
    first = first[held]
    return edges[:-1][held], np.minimum.reduceat(low, first), np.maximum.reduceat(high, first)
