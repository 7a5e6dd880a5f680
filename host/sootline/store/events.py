"""Finished events with their features."""

import sqlite3
from collections.abc import Iterable

import msgspec

from sootline.events import Event
from sootline.store import schema

_features = msgspec.json.Decoder(dict[str, float | str | bool | None])


def put(db: sqlite3.Connection, events: Iterable[Event]) -> None:
    events = list(events)
    db.executemany(
        "INSERT OR REPLACE INTO event (furnace, kind, start_ms, end_ms, features, change) VALUES (?, ?, ?, ?, ?, ?)",
        [
            (*event.key, event.end_ms, msgspec.json.encode(event.features), i)
            for i, event in zip(schema.changes(db, len(events)), events, strict=True)
        ],
    )


def changed(db: sqlite3.Connection, after: int, most: int) -> list[tuple[int, Event]]:
    """Events put after the change number `after`, each with its own, in order."""
    rows = db.execute(
        "SELECT change, furnace, kind, start_ms, end_ms, features FROM event WHERE change > ? ORDER BY change LIMIT ?",
        (after, most),
    )
    return [
        (change, Event(furnace, kind, start_ms, end_ms, _features.decode(features)))
        for change, furnace, kind, start_ms, end_ms, features in rows
    ]


def remove(db: sqlite3.Connection, keys: Iterable[tuple[str, str, int]]) -> None:
    db.executemany("DELETE FROM event WHERE furnace = ? AND kind = ? AND start_ms = ?", list(keys))


def spans(db: sqlite3.Connection, furnace: str, kind: str, start_ms: int, end_ms: int) -> list[tuple[int, int]]:
    """(start_ms, end_ms) of the events that began in start_ms <= t < end_ms, in order."""
    return db.execute(
        "SELECT start_ms, end_ms FROM event WHERE furnace = ? AND kind = ? AND start_ms >= ? AND start_ms < ?"
        " ORDER BY start_ms",
        (furnace, kind, start_ms, end_ms),
    ).fetchall()


def read(
    db: sqlite3.Connection, furnace: str | None, kind: str | None, start_ms: int | None, end_ms: int | None
) -> list[Event]:
    asked = {"furnace = ?": furnace, "kind = ?": kind, "start_ms >= ?": start_ms, "start_ms < ?": end_ms}
    given = {condition: value for condition, value in asked.items() if value is not None}
    rows = db.execute(
        f"SELECT furnace, kind, start_ms, end_ms, features FROM event WHERE {' AND '.join(given) or 'TRUE'}"
        " ORDER BY start_ms, kind, furnace",
        tuple(given.values()),
    )
    return [Event(name, what, begin, end, _features.decode(features)) for name, what, begin, end, features in rows]
