"""The logbook: entries with their photos, and searches for causes."""

import sqlite3
from pathlib import Path

import msgspec

from sootline.logbook import Logged, Search
from sootline.profile import LogEntry
from sootline.store import files

PHOTOS = "photos"

_entry = msgspec.json.Decoder(LogEntry)
_search = msgspec.json.Decoder(Search)
_COLUMNS = "id, furnace, entry, by, entered_ms, photo, undone_by, undone_ms"


def add(db: sqlite3.Connection, logged: Logged) -> bool:
    """Keep a line; False when its id was there already and nothing was changed."""
    return bool(
        db.execute(
            "INSERT OR IGNORE INTO logbook VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                logged.id, logged.furnace, logged.entry.at_ms, msgspec.json.encode(logged.entry), logged.by,
                logged.entered_ms, logged.photo, logged.undone_by, logged.undone_ms,
            ),
        ).rowcount
    )  # fmt: skip


def undo(db: sqlite3.Connection, id: str, by: str, at_ms: int) -> None:
    """Mark a line as undone; it stays."""
    db.execute("UPDATE logbook SET undone_by = ?, undone_ms = ? WHERE id = ? AND undone_ms IS NULL", (by, at_ms, id))


def one(db: sqlite3.Connection, id: str) -> Logged | None:
    rows = _lines(db.execute(f"SELECT {_COLUMNS} FROM logbook WHERE id = ?", (id,)))
    return rows[0] if rows else None


def read(db: sqlite3.Connection, furnace: str | None) -> list[Logged]:
    """Every line in order of the time it acts from, undone ones too."""
    return _lines(
        db.execute(
            f"SELECT {_COLUMNS} FROM logbook WHERE :furnace IS NULL OR furnace = :furnace ORDER BY at_ms, id",
            {"furnace": furnace},
        )
    )


def _lines(rows: sqlite3.Cursor) -> list[Logged]:
    return [
        Logged(id, furnace, _entry.decode(entry), by, entered_ms, bool(photo), undone_by, undone_ms)
        for id, furnace, entry, by, entered_ms, photo, undone_by, undone_ms in rows
    ]


def photo_path(folder: Path, id: str) -> Path:
    return folder / PHOTOS / f"{id}.jpg"


def put_photo(folder: Path, id: str, jpeg: bytes) -> None:
    """The file of a photo, whole and on the disk, before the line that names it is committed."""
    path = photo_path(folder, id)
    files.replace(files.write_beside(path, jpeg), path)


def with_photo(db: sqlite3.Connection) -> list[str]:
    """The ids of the lines that have a photo."""
    return [id for (id,) in db.execute("SELECT id FROM logbook WHERE photo ORDER BY at_ms, id")]


def put_search(db: sqlite3.Connection, search: Search) -> None:
    db.execute(
        "INSERT OR REPLACE INTO search VALUES (?, ?, ?, ?)",
        (search.id, search.furnace, search.begun_ms, msgspec.json.encode(search)),
    )


def search(db: sqlite3.Connection, id: str) -> Search | None:
    row = db.execute("SELECT record FROM search WHERE id = ?", (id,)).fetchone()
    return None if row is None else _search.decode(row[0])


def searches(db: sqlite3.Connection, furnace: str | None) -> list[Search]:
    """In order of beginning."""
    rows = db.execute(
        "SELECT record FROM search WHERE :furnace IS NULL OR furnace = :furnace ORDER BY begun_ms, id",
        {"furnace": furnace},
    )
    return [_search.decode(record) for (record,) in rows]
