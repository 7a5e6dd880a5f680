"""Parts: the rows of a finished hour as one block in the database, or of a sealed day as one file.

The parts of a furnace and its loose packs together are its readings. Where a part and loose packs, or an hour and a
sealed day, speak of the same span (late rows), reading brings them together, and the next sealing makes them one.
"""

import sqlite3
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sootline.store import block, day_file, packs
from sootline.store.block import HOUR_MS, Block
from sootline.wire.placement import WINDOW_MS

DAYS = "days"  # folder of the sealed days, a folder for each furnace within


@dataclass(frozen=True, slots=True)
class Part:
    """Where the rows of one span are kept: `block` in the database, or `file` below the folder of days."""

    id: int
    furnace: int
    start_ms: int
    end_ms: int
    first_ms: int
    last_ms: int
    row_count: int
    columns: int | None
    file: str | None
    block: bytes | None


_FIELDS = "id, furnace, start_ms, end_ms, first_ms, last_ms, row_count, columns, file, block"


def overlapping(db: sqlite3.Connection, furnace: int, start_ms: int, end_ms: int) -> list[Part]:
    """The parts that hold rows of [start_ms, end_ms), in order of their first row."""
    rows = db.execute(
        f"SELECT {_FIELDS} FROM part WHERE furnace = ? AND start_ms > ? AND start_ms < ?"
        " AND last_ms >= ? AND first_ms < ? ORDER BY first_ms, id",
        (furnace, start_ms - block.DAY_MS, end_ms, start_ms, end_ms),
    )
    return [Part(*row) for row in rows]


def received(db: sqlite3.Connection, furnace: int, first_ms: int, last_ms: int) -> list[Part]:
    """The parts with rows that arrived from first_ms to last_ms."""
    rows = db.execute(
        f"SELECT {_FIELDS} FROM part WHERE furnace = ? AND last_received_ms >= ? AND first_received_ms <= ?",
        (furnace, first_ms, last_ms),
    )
    return [Part(*row) for row in rows]


def by_number(db: sqlite3.Connection, number: int) -> Part | None:
    row = db.execute(f"SELECT {_FIELDS} FROM part WHERE id = ?", (number,)).fetchone()
    return None if row is None else Part(*row)


def load(
    db: sqlite3.Connection,
    folder: Path,
    part: Part,
    channels: Collection[str] | None = None,
    boots: Mapping[str, int] | None = None,
) -> Block:
    """The rows of a part. From a file they come without origin, unless `boots` (name -> number) is given."""
    if part.file is not None:
        return day_file.decode(folder / DAYS / part.file, channels, boots)
    assert part.block is not None
    (names,) = db.execute("SELECT names FROM columns WHERE id = ?", (part.columns,)).fetchone()
    return block.from_bytes(part.block, names.split())


def boot_numbers(db: sqlite3.Connection, furnace: int) -> dict[str, int]:
    return dict(db.execute("SELECT name, id FROM boot WHERE furnace = ?", (furnace,)).fetchall())


def insert(
    db: sqlite3.Connection,
    names: packs.Names,
    furnace: int,
    span: tuple[int, int],
    rows: Block,
    file: tuple[str, int] | None = None,
) -> None:
    """Add a part for a span. file: name and size of the file that holds it; without one it becomes a block."""
    data = None if file else block.to_bytes(rows)
    cursor = db.execute(
        "INSERT INTO part (furnace, start_ms, end_ms, first_ms, last_ms, first_received_ms, last_received_ms,"
        " row_count, byte_count, columns, file, block) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            furnace,
            *span,
            int(rows.t_ms.min()),
            int(rows.t_ms.max()),
            int(rows.received_ms.min()),
            int(rows.received_ms.max()),
            len(rows),
            file[1] if file else len(data or b""),
            None if file else names.columns(tuple(rows.columns)),
            file[0] if file else None,
            data,
        ),
    )
    ranges = [
        (cursor.lastrowid, int(boot), int(seqs.min()), int(seqs.max()))
        for boot in np.unique(rows.boot)
        for seqs in (rows.seq[rows.boot == boot],)
    ]
    db.executemany("INSERT INTO part_boot (part, boot, first_seq, last_seq) VALUES (?, ?, ?, ?)", ranges)


def remove(db: sqlite3.Connection, ids: Iterable[int]) -> None:
    for part in ids:
        db.execute("DELETE FROM part WHERE id = ?", (part,))
        db.execute("DELETE FROM part_boot WHERE part = ?", (part,))


def pack_hours(
    db: sqlite3.Connection, names: packs.Names, furnace: int, now_ms: int, most: int
) -> tuple[int, list[int]]:
    """Turn loose packs of hours that are over, at most `most` bytes of them, into blocks.

    Packs of a board whose clock was never set wait until what arrives can no longer move them: with a clock that
    drifts, nearly every pack moves those before it a little.
    Returns how many packs it took, and the hours that changed.
    """
    waiting = db.execute(
        "SELECT pack.boot, seq, received_ms, base_ms, columns, rows FROM boot JOIN pack ON pack.boot = boot.id"
        " WHERE boot.furnace = ? AND last_ms < ? AND (synced_uptime_ms IS NOT NULL OR received_ms <= ?)"
        " ORDER BY first_ms",
        (furnace, now_ms // HOUR_MS * HOUR_MS, now_ms - WINDOW_MS),
    )
    taken: list[tuple[int, int, int, int, int, bytes]] = []
    for pack in waiting:
        taken.append(pack)
        most -= len(pack[5])
        if most <= 0:
            break
    waiting.close()
    rows = block.join(block.from_packs((pack for pack in taken if pack[5]), packs.column_sets(db)))
    hours = rows.split(HOUR_MS)
    for hour_ms, part in hours.items():
        span = (hour_ms, hour_ms + HOUR_MS)
        there = [p for p in overlapping(db, furnace, *span) if p.file is None]
        merged = block.join([*(load(db, Path(), p) for p in there), part])
        remove(db, [p.id for p in there])
        insert(db, names, furnace, span, merged)
    db.executemany("DELETE FROM pack WHERE boot = ? AND seq = ?", [pack[:2] for pack in taken])
    for boot in {pack[0] for pack in taken}:
        packs.add_seen(db, boot, [pack[1] for pack in taken if pack[0] == boot])
    if taken:
        names.forget()  # a boot at hand would not know of packs that are no longer loose
    return len(taken), list(hours)


def holding(db: sqlite3.Connection, boot: int, seq: int) -> list[Part]:
    """The parts that may hold rows of a pack."""
    rows = db.execute(
        f"SELECT {_FIELDS} FROM part WHERE id IN"
        " (SELECT part FROM part_boot WHERE boot = ? AND first_seq <= ? AND last_seq >= ?)",
        (boot, seq, seq),
    )
    return [Part(*row) for row in rows]


def loosen(db: sqlite3.Connection, names: packs.Names, folder: Path, part: Part) -> None:
    """Turn a part back into loose packs, so that they can be moved."""
    rows = load(db, folder, part, boots=boot_numbers(db, part.furnace))
    order = np.lexsort((rows.t_ms, rows.seq, rows.boot))
    origin = np.stack([rows.boot[order], rows.seq[order]])
    starts = np.flatnonzero(np.concatenate([[True], (origin[:, 1:] != origin[:, :-1]).any(axis=0)]))
    for i, j in zip(starts, [*starts[1:], len(order)], strict=True):
        packs.put_back(db, names, rows.take(order[i:j]))
    remove(db, [part.id])
