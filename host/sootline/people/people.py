"""Accounts, sessions and shared links, in a file of their own that only its owner may read.

It lies beside the store and not in it, so that copies and exports of the data carry nobody's password. Tokens are kept
as SHA-256 hashes: who reads the file cannot sign in with it.
"""

import hashlib
import os
import secrets
import sqlite3
import threading
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from sootline.errors import StoreUnavailable, UserError
from sootline.people import passwords
from sootline.people.person import NOBODY, ROLES, Person, Role

FILE = "people.db"
NAME_LIMIT = 40
DAY_MS = 86_400_000
IDLE_MS = 30 * DAY_MS
LONGEST_MS = 180 * DAY_MS
LINK_MOST_DAYS = 90
_SEEN_EVERY_MS = 3_600_000
_BUSY_MS = 10_000
_LAYOUT = 1

_TABLES = """
CREATE TABLE person (
    id INTEGER PRIMARY KEY, name TEXT NOT NULL, folded TEXT NOT NULL UNIQUE, role TEXT NOT NULL,
    password TEXT NOT NULL, made_ms INTEGER NOT NULL) STRICT;
CREATE TABLE session (
    token BLOB PRIMARY KEY, person INTEGER NOT NULL REFERENCES person ON DELETE CASCADE,
    made_ms INTEGER NOT NULL, seen_ms INTEGER NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE browser (
    token BLOB PRIMARY KEY, person INTEGER NOT NULL REFERENCES person ON DELETE CASCADE,
    made_ms INTEGER NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE link (
    id INTEGER PRIMARY KEY, token BLOB NOT NULL UNIQUE, whom TEXT NOT NULL, furnace TEXT,
    by TEXT NOT NULL, made_ms INTEGER NOT NULL, until_ms INTEGER NOT NULL, seen_ms INTEGER) STRICT;
"""


@dataclass(frozen=True, slots=True)
class Account:
    """Somebody who can sign in. seen_ms: when a session of theirs was last used, to the hour; None: not signed in."""

    name: str
    role: Role
    made_ms: int
    seen_ms: int | None
    sessions: int


@dataclass(frozen=True, slots=True)
class Link:
    """A read-only link given to somebody. furnace: the only one it shows; None for all."""

    id: int
    whom: str
    furnace: str | None
    by: str
    made_ms: int
    until_ms: int
    seen_ms: int | None


class People:
    """All that is kept in `folder`/people.db. Every method may be called from any thread, beside other processes.

    Raises StoreUnavailable when the disk refuses.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE
        self._turn = threading.Lock()
        with self._unavailable():
            folder.mkdir(parents=True, exist_ok=True)
            os.close(os.open(self._path, os.O_CREAT | os.O_RDWR, 0o600))  # before a line of it is written
            self._db = sqlite3.connect(self._path, isolation_level=None, check_same_thread=False)
            self._db.execute(f"PRAGMA busy_timeout = {_BUSY_MS}")
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = FULL")
            self._db.execute("PRAGMA foreign_keys = ON")
            self._lay_out()

    def _lay_out(self) -> None:
        self._db.execute("BEGIN IMMEDIATE")
        layout = int(self._db.execute("PRAGMA user_version").fetchone()[0])
        if layout > _LAYOUT:
            self._db.close()
            raise UserError(f"{self._path} has layout {layout}, newer than {_LAYOUT}; install a newer sootline")
        if layout == 0:
            for statement in _TABLES.split(";\n"):
                self._db.execute(statement)
            self._db.execute(f"PRAGMA user_version = {_LAYOUT}")
        self._db.execute("COMMIT")

    def close(self) -> None:
        with self._turn:
            self._db.close()

    @contextmanager
    def _unavailable(self) -> Iterator[None]:
        try:
            yield
        except (sqlite3.OperationalError, OSError) as error:
            raise StoreUnavailable(f"{self._path} cannot be used: {error}; check disk space and permissions") from None
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.IntegrityError | sqlite3.ProgrammingError):
                raise
            raise StoreUnavailable(f"{self._path} is damaged: {error}; move it away and add everybody anew") from None

    @contextmanager
    def _read(self) -> Iterator[sqlite3.Connection]:
        with self._turn, self._unavailable():
            yield self._db

    @contextmanager
    def _write(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it or nothing."""
        with self._turn, self._unavailable():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise

    def _note(self, statement: str, *values: object) -> None:
        """Write what may be lost: nobody is kept from looking because the disk is full."""
        with suppress(StoreUnavailable), self._write() as db:
            db.execute(statement, values)

    # accounts

    def any(self) -> bool:
        """Whether there is an account at all."""
        with self._read() as db:
            return db.execute("SELECT 1 FROM person LIMIT 1").fetchone() is not None

    def accounts(self, now_ms: int) -> list[Account]:
        """Everybody, by name."""
        with self._read() as db:
            rows = db.execute(
                "SELECT name, role, person.made_ms, max(seen_ms), count(token) FROM person LEFT JOIN session"
                " ON session.person = person.id AND seen_ms > ? AND session.made_ms > ? GROUP BY id ORDER BY folded",
                (now_ms - IDLE_MS, now_ms - LONGEST_MS),
            )
            return [Account(*row) for row in rows]

    def add(self, name: str, role: Role, password: str, now_ms: int) -> None:
        """Raises UserError where the name or the password cannot be had, or the first one is not an owner."""
        name = proper_name(name)
        if role not in ROLES[1:]:
            raise UserError(f"there is no role '{role}'; take one of {', '.join(ROLES[1:])}")
        kept = passwords.hashed(password)
        with self._write() as db:
            if role != "owner" and db.execute("SELECT 1 FROM person WHERE role = 'owner'").fetchone() is None:
                raise UserError("the first one must be an owner, who can then add the others")
            try:
                db.execute(
                    "INSERT INTO person (name, folded, role, password, made_ms) VALUES (?, ?, ?, ?, ?)",
                    (name, _folded(name), role, kept, now_ms),
                )
            except sqlite3.IntegrityError:
                raise UserError(f"there is already somebody called {name}") from None

    def remove(self, name: str) -> None:
        """Take an account away, with its sessions. Raises UserError for the last owner while there are others."""
        with self._write() as db:
            person, role = _find(db, name)
            others = db.execute(
                "SELECT count(*), total(role = 'owner') FROM person WHERE id != ?", (person,)
            ).fetchone()
            if role == "owner" and others[0] and not others[1]:
                raise UserError(f"{proper_name(name)} is the only owner; add another one first")
            db.execute("DELETE FROM person WHERE id = ?", (person,))

    def set_password(self, name: str, password: str) -> None:
        """Give a new password; all sessions of this person end."""
        kept = passwords.hashed(password)
        with self._write() as db:
            person, _ = _find(db, name)
            db.execute("UPDATE person SET password = ? WHERE id = ?", (kept, person))
            db.execute("DELETE FROM session WHERE person = ?", (person,))
            db.execute("DELETE FROM browser WHERE person = ?", (person,))

    def fits(self, name: str, password: str) -> str | None:
        """The name as it is written, where the password is theirs. Takes a quarter of a second and 64 MiB."""
        with self._read() as db:
            row = db.execute("SELECT name, password FROM person WHERE folded = ?", (_folded(name),)).fetchone()
        found, kept = row or ("", None)
        if not passwords.fits(kept, password) or kept is None:
            return None
        if passwords.is_outdated(kept):
            with self._write() as db:
                new = passwords.hashed(password) if len(password) >= passwords.SHORTEST else kept
                db.execute("UPDATE person SET password = ? WHERE name = ? AND password = ?", (new, found, kept))
        return str(found)

    # sessions

    def sign_in(self, name: str, now_ms: int) -> str:
        """A new session; returns its token. Sessions that have ended are cleared away."""
        token = secrets.token_urlsafe(32)
        with self._write() as db:
            person, _ = _find(db, name)
            db.execute(
                "DELETE FROM session WHERE seen_ms <= ? OR made_ms <= ?", (now_ms - IDLE_MS, now_ms - LONGEST_MS)
            )
            db.execute("INSERT INTO session VALUES (?, ?, ?, ?)", (_hash(token), person, now_ms, now_ms))
        return token

    def by_session(self, token: str, now_ms: int) -> Person:
        """Whose session it is; nobody's when it has ended."""
        with self._read() as db:
            row = db.execute(
                "SELECT name, role, seen_ms FROM session JOIN person ON person.id = session.person"
                " WHERE token = ? AND seen_ms > ? AND session.made_ms > ?",
                (_hash(token), now_ms - IDLE_MS, now_ms - LONGEST_MS),
            ).fetchone()
        if row is None:
            return NOBODY
        if now_ms - row[2] > _SEEN_EVERY_MS:
            self._note("UPDATE session SET seen_ms = ? WHERE token = ?", now_ms, _hash(token))
        return Person(row[0], row[1])

    def sign_out(self, token: str) -> None:
        with self._write() as db:
            db.execute("DELETE FROM session WHERE token = ?", (_hash(token),))

    def sign_out_everywhere(self, name: str) -> None:
        """End all sessions of a person, and forget the browsers they used."""
        with self._write() as db:
            person, _ = _find(db, name)
            db.execute("DELETE FROM session WHERE person = ?", (person,))
            db.execute("DELETE FROM browser WHERE person = ?", (person,))

    def new_browser(self, name: str, now_ms: int) -> str:
        """Note that a person has signed in in a browser; returns the token that tells it apart later."""
        token = secrets.token_urlsafe(32)
        with self._write() as db:
            person, _ = _find(db, name)
            db.execute("DELETE FROM browser WHERE made_ms <= ?", (now_ms - 400 * DAY_MS,))
            db.execute("INSERT INTO browser VALUES (?, ?, ?)", (_hash(token), person, now_ms))
        return token

    def knows_browser(self, token: str, name: str) -> bool:
        """Whether this person has signed in in this browser before."""
        with self._read() as db:
            row = db.execute(
                "SELECT 1 FROM browser JOIN person ON person.id = browser.person WHERE token = ? AND folded = ?",
                (_hash(token), _folded(name)),
            ).fetchone()
        return row is not None

    # links

    def share(self, whom: str, furnace: str | None, days: int, by: str, now_ms: int) -> str:
        """A read-only link for somebody; returns its token, which is shown this once."""
        whom = proper_name(whom)
        if not 1 <= days <= LINK_MOST_DAYS:
            raise UserError(f"a link lasts from 1 to {LINK_MOST_DAYS} days")
        token = secrets.token_urlsafe(32)
        with self._write() as db:
            db.execute("DELETE FROM link WHERE until_ms <= ?", (now_ms - LINK_MOST_DAYS * DAY_MS,))
            db.execute(
                "INSERT INTO link (token, whom, furnace, by, made_ms, until_ms) VALUES (?, ?, ?, ?, ?, ?)",
                (_hash(token), whom, furnace, by, now_ms, now_ms + days * DAY_MS),
            )
        return token

    def links(self, now_ms: int) -> list[Link]:
        """The links that can still be used, those that end first in front."""
        with self._read() as db:
            rows = db.execute(
                "SELECT id, whom, furnace, by, made_ms, until_ms, seen_ms FROM link WHERE until_ms > ?"
                " ORDER BY until_ms, id",
                (now_ms,),
            )
            return [Link(*row) for row in rows]

    def by_link(self, token: str, now_ms: int) -> Person:
        """Who holds a link: a viewer; nobody when it has ended or was taken back."""
        with self._read() as db:
            row = db.execute(
                "SELECT id, whom, furnace, seen_ms FROM link WHERE token = ? AND until_ms > ?", (_hash(token), now_ms)
            ).fetchone()
        if row is None:
            return NOBODY
        if row[3] is None or now_ms - row[3] > _SEEN_EVERY_MS:
            self._note("UPDATE link SET seen_ms = ? WHERE id = ?", now_ms, row[0])
        return Person(row[1], "viewer", furnace=row[2], by_link=True)

    def take_back(self, link: int) -> bool:
        """End a link now; False when it is not there any more."""
        with self._write() as db:
            return db.execute("DELETE FROM link WHERE id = ?", (link,)).rowcount > 0


def proper_name(name: str) -> str:
    """A name as it is kept: one line, 1 to 40 printable characters. Raises UserError."""
    line = " ".join(unicodedata.normalize("NFC", name).split())
    if not 1 <= len(line) <= NAME_LIMIT or not line.isprintable():
        raise UserError(f"a name has 1 to {NAME_LIMIT} letters or digits, in one line")
    return line


def _folded(name: str) -> str:
    """How names are compared: without regard to upper case, spaces and ways of writing an accent."""
    return " ".join(unicodedata.normalize("NFC", name).split()).casefold()


def _find(db: sqlite3.Connection, name: str) -> tuple[int, str]:
    row = db.execute("SELECT id, role FROM person WHERE folded = ?", (_folded(name),)).fetchone()
    if row is None:
        raise UserError(f"there is nobody called {name}; 'sootline people list' shows everybody")
    return row[0], row[1]


def _hash(token: str) -> bytes:
    return hashlib.sha256(token.encode()).digest()
