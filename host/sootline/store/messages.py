"""What is and was said to people: each message by each way, with what became of it."""

import sqlite3
from collections.abc import Iterable
from typing import Any

from sootline.messages.message import Message

_COLUMNS = (
    "id, way, contact, what, furnace, alarm, channel, raised_ms, priority, made_ms, due_ms, title, body, state, tries,"
    " done_ms, error, code, confirmed_by, confirmed_ms"
)


def add(db: sqlite3.Connection, messages: Iterable[Message]) -> int:
    """Keep new messages; one that is there already stays as it is. Returns how many were new."""
    return db.executemany(
        f"INSERT OR IGNORE INTO message ({_COLUMNS}) VALUES ({', '.join('?' * 20)})", [_row(m) for m in messages]
    ).rowcount


def update(db: sqlite3.Connection, message: Message) -> None:
    """Keep what became of a message: its state, tries and when it is due again."""
    db.execute(
        "UPDATE message SET due_ms = ?, state = ?, tries = ?, done_ms = ?, error = ? WHERE id = ? AND way = ?",
        (message.due_ms, message.state, message.tries, message.done_ms, message.error, message.id, message.way),
    )


def confirm(db: sqlite3.Connection, contact: str, code: str, by: str, at_ms: int) -> bool:
    """Somebody says that the message with this code has come; False when the contact was sent no such code."""
    return (
        db.execute(
            "UPDATE message SET confirmed_by = ?, confirmed_ms = ? WHERE contact = ? AND code = ? AND"
            " confirmed_ms IS NULL AND state = 'sent' AND made_ms > ?",
            (by, at_ms, contact, code, at_ms - 30 * 86_400_000),
        ).rowcount
        > 0
    )


def waiting(db: sqlite3.Connection, due_ms: int, beyond_ms: int) -> list[Message]:
    """What is to be sent by due_ms, or later than beyond_ms; critical alarms first."""
    rows = db.execute(
        f"SELECT {_COLUMNS} FROM message WHERE state = 'waiting' AND (due_ms <= ? OR due_ms > ?)"
        " ORDER BY priority IS NOT 'critical', due_ms, id, way",
        (due_ms, beyond_ms),
    )
    return [_message(row) for row in rows]


def next_due_ms(db: sqlite3.Connection) -> int | None:
    """When the next message is to be tried."""
    return db.execute("SELECT MIN(due_ms) FROM message WHERE state = 'waiting'").fetchone()[0]  # type: ignore[no-any-return]


def read(db: sqlite3.Connection, since_ms: int | None, before_ms: int | None, most: int) -> list[Message]:
    """Messages made in since_ms <= t < before_ms, the newest first."""
    rows = db.execute(
        f"SELECT {_COLUMNS} FROM message WHERE (:since IS NULL OR made_ms >= :since)"
        " AND (:before IS NULL OR made_ms < :before) ORDER BY made_ms DESC, id, way LIMIT :most",
        {"since": since_ms, "before": before_ms, "most": most},
    )
    return [_message(row) for row in rows]


def drop_before(db: sqlite3.Connection, before_ms: int) -> None:
    """Drop what was sent or given up before a time."""
    db.execute("DELETE FROM message WHERE made_ms < ? AND state <> 'waiting'", (before_ms,))


def _row(message: Message) -> tuple[object, ...]:
    m = message
    return (
        m.id, m.way, m.contact, m.what, *(m.key or (None,) * 4), m.priority, m.made_ms, m.due_ms, m.title, m.body,
        m.state, m.tries, m.done_ms, m.error, m.code, m.confirmed_by, m.confirmed_ms,
    )  # fmt: skip


def _message(row: tuple[Any, ...]) -> Message:
    number, way, contact, what, furnace, alarm, channel, raised_ms, priority, made_ms, due_ms, title, body, *rest = row
    key = None if furnace is None else (furnace, alarm, channel, raised_ms)
    return Message(number, contact, what, made_ms, due_ms, title, body, way, key, priority, *rest)
