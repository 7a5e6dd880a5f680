"""Words of the boards that are not readings: announcements, and messages that could not be used."""

import sqlite3
from collections.abc import Mapping
from typing import Any

import msgspec

from sootline.now import SetAside
from sootline.wire.topics import FURNACE_ID

PAYLOAD_KEPT = 4096  # bytes of a set-aside message that are kept
MESSAGES_KEPT = 1000  # newest set-aside messages of a furnace that are kept; the counts go on
REASONS_KEPT = 200  # different reasons counted apart for a furnace; what comes after is counted as OTHER
OTHER = "other reasons"
_PASSING = frozenset({"uptime", "buffered", "buffered_oldest_s", "heap_free", "rssi"})  # say nothing that lasts


def announce(db: sqlite3.Connection, furnace: str, received_ms: int, announcement: Mapping[str, Any]) -> None:
    """Keep an announcement; one that only repeats its predecessor takes that one's place, not its time."""
    newest = db.execute(
        "SELECT received_ms, announcement FROM board WHERE furnace = ? AND received_ms <= ?"
        " ORDER BY received_ms DESC LIMIT 1",
        (furnace, received_ms),
    ).fetchone()
    if newest is not None and _lasting(msgspec.json.decode(newest[1])) == _lasting(announcement):
        received_ms = newest[0]
    db.execute(
        "INSERT OR REPLACE INTO board VALUES (?, ?, ?)", (furnace, received_ms, msgspec.json.encode(announcement))
    )


def _lasting(announcement: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in announcement.items() if key not in _PASSING}


def history(db: sqlite3.Connection, furnace: str) -> list[tuple[int, dict[str, Any]]]:
    rows = db.execute("SELECT received_ms, announcement FROM board WHERE furnace = ? ORDER BY received_ms", (furnace,))
    return [(received_ms, msgspec.json.decode(text)) for received_ms, text in rows]


def newest(db: sqlite3.Connection) -> dict[str, tuple[int, dict[str, Any]]]:
    rows = db.execute("SELECT furnace, max(received_ms), announcement FROM board GROUP BY furnace")
    return {furnace: (received_ms, msgspec.json.decode(text)) for furnace, received_ms, text in rows}


def furnace_of(topic: str) -> str:
    """The furnace a topic `<root>/<furnace>/<leaf>` speaks of, or "" when it speaks of none."""
    parts = topic.split("/")
    return parts[-2] if len(parts) >= 3 and FURNACE_ID.fullmatch(parts[-2]) else ""


def set_aside(db: sqlite3.Connection, furnace: str, received_ms: int, topic: str, payload: bytes, reason: str) -> None:
    db.execute(
        "INSERT INTO set_aside (received_ms, furnace, topic, reason, size, payload) VALUES (?, ?, ?, ?, ?, ?)",
        (received_ms, furnace, topic, reason, len(payload), payload[:PAYLOAD_KEPT]),
    )
    db.execute(
        "DELETE FROM set_aside WHERE furnace = ? AND id <="
        " (SELECT id FROM set_aside WHERE furnace = ? ORDER BY id DESC LIMIT 1 OFFSET ?)",
        (furnace, furnace, MESSAGES_KEPT),
    )
    known = counts(db, furnace)
    if reason not in known and len(known) >= REASONS_KEPT:
        reason = OTHER
    db.execute(
        "INSERT INTO set_aside_count VALUES (?, ?, 1) ON CONFLICT (furnace, reason) DO UPDATE SET n = n + 1",
        (furnace, reason),
    )


def counts(db: sqlite3.Connection, furnace: str) -> dict[str, int]:
    rows = db.execute("SELECT reason, n FROM set_aside_count WHERE furnace = ? ORDER BY n DESC, reason", (furnace,))
    return dict(rows.fetchall())


def last_set_aside(db: sqlite3.Connection, n: int, furnace: str | None) -> list[SetAside]:
    rows = db.execute(
        "SELECT received_ms, topic, reason, size FROM set_aside WHERE :furnace IS NULL OR furnace = :furnace"
        " ORDER BY id DESC LIMIT :n",
        {"furnace": furnace, "n": n},
    )
    return [SetAside(*row) for row in rows]


def drop_before(db: sqlite3.Connection, before_ms: int) -> None:
    """Drop old announcements, but never the newest of a board."""
    db.execute(
        "DELETE FROM board WHERE received_ms < ? AND received_ms <"
        " (SELECT max(received_ms) FROM board AS newer WHERE newer.furnace = board.furnace)",
        (before_ms,),
    )
