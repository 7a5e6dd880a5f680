"""Alarm records as the analysis last gave them, and what people did about them.

People's acts stand apart from the records: analysing again may change or remove a record, never an act.
"""

import sqlite3
from collections.abc import Iterable

import msgspec

from sootline.alarms import Acknowledgement, Alarm, Shelf
from sootline.store import schema

Key = tuple[str, str, str | None, int]  # Alarm.key: furnace, alarm, channel, raised_ms
_decoder = msgspec.json.Decoder(Alarm)
_KEY = "furnace = ? AND alarm = ? AND channel = ? AND raised_ms = ?"


def _stored(key: Key) -> tuple[str, str, str, int]:
    furnace, alarm, channel, raised_ms = key
    return furnace, alarm, channel or "", raised_ms


def _key(row: tuple[str, str, str, int]) -> Key:
    furnace, alarm, channel, raised_ms = row
    return furnace, alarm, channel or None, raised_ms


def put(db: sqlite3.Connection, alarms: Iterable[Alarm]) -> None:
    alarms = list(alarms)
    db.executemany(
        "INSERT OR REPLACE INTO alarm (furnace, alarm, channel, raised_ms, cleared_ms, record, change)"
        " VALUES (?, ?, ?, ?, ?, ?, ?)",
        [
            (*_stored(alarm.key), alarm.cleared_ms, msgspec.json.encode(alarm), i)
            for i, alarm in zip(schema.changes(db, len(alarms)), alarms, strict=True)
        ],
    )


def changed(db: sqlite3.Connection, after: int, most: int) -> list[tuple[int, Alarm]]:
    """Alarms put after the change number `after`, each with its own, in order."""
    rows = db.execute("SELECT change, record FROM alarm WHERE change > ? ORDER BY change LIMIT ?", (after, most))
    return [(change, _decoder.decode(record)) for change, record in rows]


def remove(db: sqlite3.Connection, keys: Iterable[Key]) -> None:
    db.executemany(f"DELETE FROM alarm WHERE {_KEY}", [_stored(key) for key in keys])


def read(db: sqlite3.Connection, furnace: str | None, since_ms: int | None) -> list[Alarm]:
    rows = db.execute(
        "SELECT record FROM alarm WHERE (:furnace IS NULL OR furnace = :furnace)"
        " AND (:since IS NULL OR raised_ms >= :since OR cleared_ms IS NULL OR cleared_ms >= :since)"
        " ORDER BY raised_ms, alarm, channel, furnace",
        {"furnace": furnace, "since": since_ms},
    )
    return [_decoder.decode(record) for (record,) in rows]


def acknowledge(db: sqlite3.Connection, key: Key, by: str, at_ms: int) -> None:
    """The last acknowledgement of an alarm stands: it is asked for anew when the alarm has become worse."""
    db.execute("INSERT OR REPLACE INTO acknowledged VALUES (?, ?, ?, ?, ?, ?)", (*_stored(key), by, at_ms))


def acknowledgements(db: sqlite3.Connection, furnace: str | None) -> dict[Key, Acknowledgement]:
    rows = db.execute(
        "SELECT furnace, alarm, channel, raised_ms, by, at_ms FROM acknowledged"
        " WHERE :furnace IS NULL OR furnace = :furnace",
        {"furnace": furnace},
    )
    return {_key(row[:4]): Acknowledgement(row[4], row[5]) for row in rows}


def shelve(db: sqlite3.Connection, key: Key, shelf: Shelf) -> None:
    """The last word on how long an alarm is shelved stands; a time in the past takes it off the shelf."""
    db.execute(
        "INSERT OR REPLACE INTO shelved (furnace, alarm, channel, raised_ms, by, reason, at_ms, until_ms)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (*_stored(key), shelf.by, shelf.reason, shelf.at_ms, shelf.until_ms),
    )


def shelved(db: sqlite3.Connection, furnace: str | None) -> dict[Key, Shelf]:
    rows = db.execute(
        "SELECT furnace, alarm, channel, raised_ms, by, reason, at_ms, until_ms FROM shelved"
        " WHERE :furnace IS NULL OR furnace = :furnace",
        {"furnace": furnace},
    )
    return {_key(row[:4]): Shelf(*row[4:]) for row in rows}
