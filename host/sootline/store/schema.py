"""The SQLite file: its layout, the numbered steps that lead to it, and how it is opened."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sootline.errors import StoreUnavailable, UserError

FILE = "sootline.db"
BUSY_MS = 10_000  # a second writer (a command beside the service) waits this long for its turn

_LAYOUT_1 = """
CREATE TABLE furnace (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE boot (
    id INTEGER PRIMARY KEY, furnace INTEGER NOT NULL REFERENCES furnace, name TEXT NOT NULL,
    synced_uptime_ms INTEGER, synced_offset_ms INTEGER, UNIQUE (furnace, name)) STRICT;
CREATE TABLE columns (id INTEGER PRIMARY KEY, names TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE pack (
    boot INTEGER NOT NULL REFERENCES boot, seq INTEGER NOT NULL, received_ms INTEGER NOT NULL,
    base_ms INTEGER NOT NULL, first_ms INTEGER NOT NULL, last_ms INTEGER NOT NULL,
    columns INTEGER NOT NULL REFERENCES columns, rows BLOB NOT NULL, PRIMARY KEY (boot, seq)) STRICT, WITHOUT ROWID;
CREATE INDEX pack_by_time ON pack (boot, last_ms);
CREATE TABLE relative (
    boot INTEGER NOT NULL REFERENCES boot, seq INTEGER NOT NULL, uptime_ms INTEGER NOT NULL,
    base_ms INTEGER NOT NULL, received_ms INTEGER NOT NULL, PRIMARY KEY (boot, seq)) STRICT, WITHOUT ROWID;
CREATE TABLE seen (
    boot INTEGER NOT NULL REFERENCES boot, first_seq INTEGER NOT NULL, last_seq INTEGER NOT NULL,
    PRIMARY KEY (boot, first_seq)) STRICT, WITHOUT ROWID;
CREATE TABLE part (
    id INTEGER PRIMARY KEY, furnace INTEGER NOT NULL REFERENCES furnace, start_ms INTEGER NOT NULL,
    end_ms INTEGER NOT NULL, first_ms INTEGER NOT NULL, last_ms INTEGER NOT NULL,
    first_received_ms INTEGER NOT NULL, last_received_ms INTEGER NOT NULL,
    row_count INTEGER NOT NULL, byte_count INTEGER NOT NULL, columns INTEGER REFERENCES columns,
    file TEXT, block BLOB) STRICT;
CREATE INDEX part_by_time ON part (furnace, start_ms);
CREATE TABLE part_boot (
    part INTEGER NOT NULL REFERENCES part, boot INTEGER NOT NULL REFERENCES boot, first_seq INTEGER NOT NULL,
    last_seq INTEGER NOT NULL, PRIMARY KEY (boot, part)) STRICT, WITHOUT ROWID;
CREATE INDEX part_boot_by_part ON part_boot (part);
CREATE TABLE arrived_before (
    id INTEGER PRIMARY KEY, furnace INTEGER NOT NULL REFERENCES furnace, received_ms INTEGER NOT NULL) STRICT;
CREATE TABLE hours (
    furnace INTEGER NOT NULL REFERENCES furnace, channel TEXT NOT NULL, day_ms INTEGER NOT NULL,
    table_24 BLOB NOT NULL, PRIMARY KEY (furnace, channel, day_ms)) STRICT, WITHOUT ROWID;
CREATE TABLE board (
    furnace TEXT NOT NULL, received_ms INTEGER NOT NULL, announcement BLOB NOT NULL,
    PRIMARY KEY (furnace, received_ms)) STRICT, WITHOUT ROWID;
CREATE TABLE set_aside (
    id INTEGER PRIMARY KEY, received_ms INTEGER NOT NULL, furnace TEXT NOT NULL, topic TEXT NOT NULL,
    reason TEXT NOT NULL, size INTEGER NOT NULL, payload BLOB NOT NULL) STRICT;
CREATE INDEX set_aside_by_furnace ON set_aside (furnace, id);
CREATE TABLE set_aside_count (
    furnace TEXT NOT NULL, reason TEXT NOT NULL, n INTEGER NOT NULL,
    PRIMARY KEY (furnace, reason)) STRICT, WITHOUT ROWID;
CREATE TABLE alarm (
    furnace TEXT NOT NULL, alarm TEXT NOT NULL, channel TEXT NOT NULL, raised_ms INTEGER NOT NULL,
    cleared_ms INTEGER, record BLOB NOT NULL, change INTEGER NOT NULL UNIQUE,
    PRIMARY KEY (furnace, alarm, channel, raised_ms)) STRICT, WITHOUT ROWID;
CREATE TABLE acknowledged (
    furnace TEXT NOT NULL, alarm TEXT NOT NULL, channel TEXT NOT NULL, raised_ms INTEGER NOT NULL,
    by TEXT NOT NULL, at_ms INTEGER NOT NULL,
    PRIMARY KEY (furnace, alarm, channel, raised_ms)) STRICT, WITHOUT ROWID;
CREATE TABLE shelved (
    furnace TEXT NOT NULL, alarm TEXT NOT NULL, channel TEXT NOT NULL, raised_ms INTEGER NOT NULL,
    until_ms INTEGER NOT NULL, by TEXT NOT NULL, at_ms INTEGER NOT NULL,
    PRIMARY KEY (furnace, alarm, channel, raised_ms)) STRICT, WITHOUT ROWID;
CREATE TABLE sent (
    furnace TEXT NOT NULL, alarm TEXT NOT NULL, channel TEXT NOT NULL, raised_ms INTEGER NOT NULL,
    contact TEXT NOT NULL, what TEXT NOT NULL, at_ms INTEGER NOT NULL, error TEXT,
    PRIMARY KEY (furnace, alarm, channel, raised_ms, contact, what, at_ms)) STRICT, WITHOUT ROWID;
CREATE TABLE event (
    furnace TEXT NOT NULL, kind TEXT NOT NULL, start_ms INTEGER NOT NULL, end_ms INTEGER NOT NULL,
    features BLOB NOT NULL, change INTEGER NOT NULL UNIQUE,
    PRIMARY KEY (furnace, kind, start_ms)) STRICT, WITHOUT ROWID;
CREATE TABLE log (
    furnace TEXT NOT NULL, at_ms INTEGER NOT NULL, kind TEXT NOT NULL, channel TEXT NOT NULL, entry BLOB NOT NULL,
    PRIMARY KEY (furnace, at_ms, kind, channel)) STRICT, WITHOUT ROWID;
CREATE TABLE change (last INTEGER NOT NULL) STRICT;
INSERT INTO change VALUES (0);
CREATE TABLE remembered (name TEXT PRIMARY KEY, value BLOB NOT NULL) STRICT, WITHOUT ROWID;
"""

# what is said to people, in place of a table that nothing wrote; why an alarm is on the shelf
_LAYOUT_2 = """
DROP TABLE sent;
CREATE TABLE message (
    id TEXT NOT NULL, way INTEGER NOT NULL, contact TEXT NOT NULL, what TEXT NOT NULL, furnace TEXT, alarm TEXT,
    channel TEXT, raised_ms INTEGER, priority TEXT, made_ms INTEGER NOT NULL, due_ms INTEGER NOT NULL,
    title TEXT NOT NULL, body TEXT NOT NULL, state TEXT NOT NULL, tries INTEGER NOT NULL, done_ms INTEGER, error TEXT,
    code TEXT, confirmed_by TEXT, confirmed_ms INTEGER, PRIMARY KEY (id, way)) STRICT, WITHOUT ROWID;
CREATE INDEX message_by_time ON message (made_ms);
CREATE INDEX message_by_state ON message (state, due_ms);
ALTER TABLE shelved ADD COLUMN reason TEXT NOT NULL DEFAULT '';
"""

# the logbook: an entry has an id, an author and a photo, and can be undone; searches for causes
_LAYOUT_3 = """
CREATE TABLE logbook (
    id TEXT PRIMARY KEY, furnace TEXT NOT NULL, at_ms INTEGER NOT NULL, entry BLOB NOT NULL, by TEXT NOT NULL,
    entered_ms INTEGER NOT NULL, photo INTEGER NOT NULL, undone_by TEXT, undone_ms INTEGER) STRICT, WITHOUT ROWID;
INSERT INTO logbook SELECT furnace || '-' || at_ms || '-' || kind || channel, furnace, at_ms, entry, '', at_ms, 0,
    NULL, NULL FROM log;
DROP TABLE log;
CREATE INDEX logbook_by_furnace ON logbook (furnace, at_ms);
CREATE TABLE search (
    id TEXT PRIMARY KEY, furnace TEXT NOT NULL, begun_ms INTEGER NOT NULL, record BLOB NOT NULL) STRICT, WITHOUT ROWID;
"""

# the step at index i leads from layout i to layout i + 1
MIGRATIONS: tuple[str, ...] = (_LAYOUT_1, _LAYOUT_2, _LAYOUT_3)
LAYOUT = len(MIGRATIONS)


def open_writer(folder: Path) -> sqlite3.Connection:
    """The one writing connection, its layout brought up to date. Raises UserError, StoreUnavailable."""
    with unavailable(folder):
        folder.mkdir(parents=True, exist_ok=True)
        db = _connect(folder / FILE, "rwc")
        db.execute("PRAGMA auto_vacuum = INCREMENTAL")  # takes effect only in a new file, before the first table
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = FULL")
        _migrate(db, folder)
    return db


def open_reader(folder: Path) -> sqlite3.Connection:
    """A connection that can only read, from any process. Raises UserError, StoreUnavailable."""
    if not (folder / FILE).exists():
        raise UserError(f"there is no store in {folder}; give the folder that holds {FILE}")
    with unavailable(folder):
        db = _connect(folder / FILE, "ro")
        layout = _layout(db, folder)
    if layout < LAYOUT:
        db.close()
        raise UserError(f"the store in {folder} has layout {layout}; start the service once to bring it to {LAYOUT}")
    return db


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    db = sqlite3.connect(
        f"{path.resolve().as_uri()}?mode={mode}", uri=True, isolation_level=None, check_same_thread=False
    )
    db.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    return db


def _layout(db: sqlite3.Connection, folder: Path) -> int:
    layout = int(db.execute("PRAGMA user_version").fetchone()[0])
    if layout > LAYOUT:
        db.close()
        raise UserError(f"the store in {folder} has layout {layout}, newer than {LAYOUT}; install a newer sootline")
    return layout


def _migrate(db: sqlite3.Connection, folder: Path) -> None:
    """Each step in one transaction together with its number."""
    if _layout(db, folder) == LAYOUT:
        return
    while True:
        db.execute("BEGIN IMMEDIATE")  # another process may be doing the same: look again under the lock
        layout = _layout(db, folder)
        if layout == LAYOUT:
            db.execute("COMMIT")
            return
        for statement in MIGRATIONS[layout].split(";\n"):
            db.execute(statement)
        db.execute(f"PRAGMA user_version = {layout + 1}")
        db.execute("COMMIT")


@contextmanager
def unavailable(folder: Path) -> Iterator[None]:
    """Turns what the disk refuses into StoreUnavailable; errors of our own making pass."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        # ProgrammingError and IntegrityError mean a mistake in this program: waiting would not help
        if isinstance(error, sqlite3.ProgrammingError | sqlite3.IntegrityError | sqlite3.NotSupportedError):
            raise
        raise StoreUnavailable(
            f"cannot use the store in {folder}: {error}; check disk space and permissions"
        ) from error
    except OSError as error:
        raise StoreUnavailable(
            f"cannot use the store in {folder}: {error.strerror or error}; check disk space and permissions"
        ) from error


def changes(db: sqlite3.Connection, n: int) -> range:
    """n numbers for things that change now, greater than any given before, also if those things are gone."""
    (last,) = db.execute("UPDATE change SET last = last + ? RETURNING last", (n,)).fetchone()
    return range(last - n + 1, last + 1)
