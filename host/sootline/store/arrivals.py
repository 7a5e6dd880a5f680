"""Readings in the order in which they arrived: for those who follow the store and copy it elsewhere."""

import sqlite3
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sootline.series import EMPTY, Rows
from sootline.store import block, packs, parts
from sootline.store.block import DAY_MS
from sootline.wire.placement import WINDOW_MS


@dataclass(frozen=True, slots=True)
class Arrived:
    """What arrived from `first_ms` to `last_ms`, both included. rows: in order of measured time."""

    rows: Rows
    first_ms: int
    last_ms: int


def read(db: sqlite3.Connection, folder: Path, furnace: int, from_ms: int, span_ms: int, now_ms: int) -> Arrived | None:
    """What arrived in the first span_ms, from from_ms on, in which anything did; None when there is nothing.

    Packs without a clock are held back, with all after them, until nothing can move them any more.
    """
    held_ms = _held(db, furnace, now_ms)
    first_ms = _next(db, furnace, from_ms)
    if first_ms is None or (held_ms is not None and first_ms >= held_ms):
        return None
    last_ms = first_ms + span_ms - 1
    if held_ms is not None:
        last_ms = min(last_ms, held_ms - 1)
    boots = parts.boot_numbers(db, furnace)
    found = packs.loose_received(db, furnace, first_ms, last_ms)
    found += [parts.load(db, folder, part, None, boots) for part in parts.received(db, furnace, first_ms, last_ms)]
    joined = block.join(found)
    chosen = joined.take(np.flatnonzero((joined.received_ms >= first_ms) & (joined.received_ms <= last_ms)))
    if not len(chosen):
        return Arrived(EMPTY, first_ms, last_ms)
    rows = block.read(chosen, packs.boot_ranks(db, furnace), -(2**62), 2**62, None)
    return Arrived(rows, first_ms, min(last_ms, int(chosen.received_ms.max())))


def _next(db: sqlite3.Connection, furnace: int, from_ms: int) -> int | None:
    """When the first thing arrived that did so at from_ms or later; for a part that spans from_ms: from_ms itself."""
    (loose,) = db.execute(
        "SELECT min(received_ms) FROM pack WHERE boot IN (SELECT id FROM boot WHERE furnace = ?) AND received_ms >= ?",
        (furnace, from_ms),
    ).fetchone()
    (part,) = db.execute(
        "SELECT min(max(first_received_ms, ?)) FROM part WHERE furnace = ? AND last_received_ms >= ?",
        (from_ms, furnace, from_ms),
    ).fetchone()
    found = [t for t in (loose, part) if t is not None]
    return min(found) if found else None


def _held(db: sqlite3.Connection, furnace: int, now_ms: int) -> int | None:
    (held_ms,) = db.execute(
        "SELECT min(received_ms) FROM relative JOIN boot ON boot.id = boot WHERE boot.furnace = ?"
        " AND synced_uptime_ms IS NULL AND received_ms > ?",
        (furnace, now_ms - WINDOW_MS),
    ).fetchone()
    return None if held_ms is None else int(held_ms)


def brought_back(db: sqlite3.Connection, furnace: int, after: int) -> tuple[int, int] | None:
    """(number, received_ms): from where to read again because of what happened after number `after`, or None."""
    number, received_ms = db.execute(
        "SELECT max(id), min(received_ms) FROM arrived_before WHERE furnace = ? AND id > ?", (furnace, after)
    ).fetchone()
    return None if number is None else (number, received_ms)


def forget_notes(db: sqlite3.Connection, now_ms: int) -> None:
    """Drop notes on arrivals that are a year old; whoever has not followed for a year begins anew."""
    db.execute("DELETE FROM arrived_before WHERE received_ms < ?", (now_ms - 365 * DAY_MS,))
