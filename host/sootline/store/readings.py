"""Reading back: loose packs, hour blocks and sealed days as one series."""

import sqlite3
from collections.abc import Collection

import numpy as np

from sootline.series import EMPTY, Floats, Rows, Times, concatenate
from sootline.store import block, packs
from sootline.store.block import HOUR_MS


def furnace_number(db: sqlite3.Connection, furnace: str) -> int | None:
    row = db.execute("SELECT id FROM furnace WHERE name = ?", (furnace,)).fetchone()
    return None if row is None else int(row[0])


def read(db: sqlite3.Connection, furnace: str, start_ms: int, end_ms: int, channels: Collection[str] | None) -> Rows:
    number = furnace_number(db, furnace)
    if number is None or end_ms <= start_ms:
        return EMPTY
    loose = block.join(packs.loose(db, number, start_ms, end_ms))
    rank = packs.boot_ranks(db, number)
    return concatenate([block.read(part, rank, start_ms, end_ms, channels) for part in loose.split(HOUR_MS).values()])


def extent(db: sqlite3.Connection, furnace: str) -> tuple[int, int] | None:
    number = furnace_number(db, furnace)
    first_ms, last_ms = db.execute(
        "SELECT min(first_ms), max(last_ms) FROM (SELECT first_ms, last_ms FROM part WHERE furnace = :furnace UNION ALL"
        " SELECT first_ms, last_ms FROM pack WHERE boot IN (SELECT id FROM boot WHERE furnace = :furnace)"
        " AND length(rows))",
        {"furnace": number},
    ).fetchone()
    return None if first_ms is None else (first_ms, last_ms)


def last_received_ms(db: sqlite3.Connection, furnace: str) -> int | None:
    row = db.execute(
        "SELECT max(last) FROM (SELECT max(last_received_ms) AS last FROM part WHERE furnace = :furnace UNION ALL"
        " SELECT max(received_ms) FROM pack WHERE boot IN (SELECT id FROM boot WHERE furnace = :furnace))",
        {"furnace": furnace_number(db, furnace)},
    ).fetchone()
    return None if row[0] is None else int(row[0])


def pixels(t_ms: Times, values: Floats, start_ms: int, end_ms: int, n: int) -> tuple[Times, Floats, Floats]:
    """Lowest and highest value of each of n equal spans of [start_ms, end_ms) that holds one."""
    given = ~np.isnan(values)
    if not given.all():
        t_ms, values = t_ms[given], values[given]
    if not len(t_ms):
        return np.empty(0, np.int64), np.empty(0), np.empty(0)
    edges = start_ms + (np.arange(n + 1, dtype=np.int64) * (end_ms - start_ms)) // n
    first = np.searchsorted(t_ms, edges[:-1])
    held = first < np.append(first[1:], len(t_ms))
    first = first[held]
    return edges[:-1][held], np.minimum.reduceat(values, first), np.maximum.reduceat(values, first)
