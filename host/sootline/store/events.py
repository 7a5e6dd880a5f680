"""Finished events with their features, and the owner's log."""

import sqlite3
from collections.abc import Iterable

import msgspec

from sootline.events import Event
from sootline.profile import LogEntry
from sootline.store import schema

_features = msgspec.json.Decoder(dict[str, float | str | bool | None])
_entry = msgspec.json.Decoder(LogEntry)


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


def read(
    db: sqlite3.Connection, furnace: str | None, kind: str | None, start_ms: int | None, end_ms: int | None
) -> list[Event]:
    rows = db.execute(
        "SELECT furnace, kind, start_ms, end_ms, features FROM event WHERE (:furnace IS NULL OR furnace = :furnace)"
        " AND (:kind IS NULL OR kind = :kind) AND (:start IS NULL OR start_ms >= :start)"
        " AND (:end IS NULL OR start_ms < :end) ORDER BY start_ms, kind, furnace",
        {"furnace": furnace, "kind": kind, "start": start_ms, "end": end_ms},
    )
    return [Event(name, what, begin, end, _features.decode(features)) for name, what, begin, end, features in rows]


def add_log(db: sqlite3.Connection, furnace: str, entries: Iterable[LogEntry]) -> None:
    """One entry a furnace, time, kind and channel; writing it again corrects it."""
    db.executemany(
        "INSERT OR REPLACE INTO log VALUES (?, ?, ?, ?, ?)",
        [(furnace, e.at_ms, e.kind, e.channel or "", msgspec.json.encode(e)) for e in entries],
    )


def remove_log(db: sqlite3.Connection, furnace: str, entry: LogEntry) -> None:
    db.execute(
        "DELETE FROM log WHERE furnace = ? AND at_ms = ? AND kind = ? AND channel = ?",
        (furnace, entry.at_ms, entry.kind, entry.channel or ""),
    )


def read_log(db: sqlite3.Connection, furnace: str) -> list[LogEntry]:
    rows = db.execute("SELECT entry FROM log WHERE furnace = ? ORDER BY at_ms, kind, channel", (furnace,))
    return [_entry.decode(entry) for (entry,) in rows]
