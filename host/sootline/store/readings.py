"""Reading back: loose packs, blocks of hours and sealed days as one series."""

import sqlite3
from collections.abc import Callable, Collection, Iterator
from functools import partial
from pathlib import Path

from sootline.series import EMPTY, Rows, concatenate
from sootline.store import block, packs, parts
from sootline.store.block import HOUR_MS, Block

# (first_ms, last_ms, load): load(origin) gives the rows, with boot, seq and arrival only when origin is true
Piece = tuple[int, int, Callable[[bool], Block]]


def number(db: sqlite3.Connection, furnace: str) -> int:
    """The number of a furnace; 0, which no furnace has, for one that sent no pack."""
    row = db.execute("SELECT id FROM furnace WHERE name = ?", (furnace,)).fetchone()
    return 0 if row is None else int(row[0])


def read(
    db: sqlite3.Connection, folder: Path, furnace: int, start_ms: int, end_ms: int, channels: Collection[str] | None
) -> Rows:
    if end_ms <= start_ms:
        return EMPTY
    rank = packs.boot_ranks(db, furnace)
    found = clusters(pieces(db, folder, furnace, start_ms, end_ms, channels))
    blocks = block.chain([bring_together(cluster) for cluster in found])
    return concatenate([block.read(one, rank, start_ms, end_ms, channels) for one in blocks])


def pieces(
    db: sqlite3.Connection, folder: Path, furnace: int, start_ms: int, end_ms: int, channels: Collection[str] | None
) -> list[Piece]:
    """Everything that holds rows of [start_ms, end_ms), in order of the first row."""
    boots = parts.boot_numbers(db, furnace)

    def load(part: parts.Part, origin: bool) -> Block:
        return parts.load(db, folder, part, channels, boots if origin else None)

    found: list[Piece] = [
        (part.first_ms, part.last_ms, partial(load, part)) for part in parts.overlapping(db, furnace, start_ms, end_ms)
    ]
    for hour in loose_hours(db, furnace, start_ms, end_ms):
        found.append((int(hour.t_ms[0]), int(hour.t_ms[-1]), partial(_at_hand, hour)))
    return sorted(found, key=lambda piece: piece[:2])


def _at_hand(rows: Block, origin: bool) -> Block:
    return rows


def loose_hours(db: sqlite3.Connection, furnace: int, start_ms: int, end_ms: int) -> list[Block]:
    """The rows of loose packs by the hour, each sorted by time."""
    return list(block.join(packs.loose(db, furnace, start_ms, end_ms)).split(HOUR_MS).values())


def clusters(found: list[Piece]) -> Iterator[list[Piece]]:
    """Pieces whose spans touch, together."""
    cluster: list[Piece] = []
    last_ms = 0
    for piece in found:
        if cluster and piece[0] > last_ms:
            yield cluster
            cluster = []
        last_ms = max(last_ms, piece[1]) if cluster else piece[1]
        cluster.append(piece)
    if cluster:
        yield cluster


def bring_together(cluster: list[Piece]) -> Block:
    """The rows of a cluster; a lone piece whose times increase needs no origin."""
    if len(cluster) == 1:
        rows = cluster[0][2](False)
        if rows.increasing():
            return rows
    return block.join([load(True) for _, _, load in cluster])


def extent(db: sqlite3.Connection, furnace: int) -> tuple[int, int] | None:
    first_ms, last_ms = db.execute(
        "SELECT min(first_ms), max(last_ms) FROM (SELECT first_ms, last_ms FROM part WHERE furnace = :furnace UNION ALL"
        " SELECT first_ms, last_ms FROM pack WHERE boot IN (SELECT id FROM boot WHERE furnace = :furnace)"
        " AND length(rows))",
        {"furnace": furnace},
    ).fetchone()
    return None if first_ms is None else (first_ms, last_ms)
