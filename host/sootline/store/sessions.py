"""Connections to the SQLite file: one that writes, and as many that read as are reading at one time."""

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sootline.errors import UserError
from sootline.store import packs, schema


class Sessions:
    """Hands out transactions on the store in `folder`. Writers take turns; readers never wait for them."""

    def __init__(self, folder: Path, read_only: bool) -> None:
        self.folder = folder
        self.looked_round_ms: int | None = None  # when stray files were last looked for
        self._read_only = read_only
        self._turn = threading.Lock()
        self._writer: sqlite3.Connection | None = None
        self._names: packs.Names | None = None
        self._version = 0
        self._idle: list[sqlite3.Connection] = []
        if read_only:
            self._idle.append(schema.open_reader(folder))
        else:
            self._open()

    def _open(self) -> tuple[sqlite3.Connection, packs.Names]:
        if self._writer is None or self._names is None:
            self._writer = schema.open_writer(self.folder)
            self._names = packs.Names(self._writer)
        return self._writer, self._names

    @contextmanager
    def write(self) -> Iterator[tuple[sqlite3.Connection, packs.Names]]:
        """One transaction, committed at the end; an error inside leaves nothing of it.

        Raises StoreUnavailable when the disk refuses, UserError when the store was opened for reading.
        """
        if self._read_only:
            raise UserError(f"the store in {self.folder} is open for reading only")
        with self._turn, schema.unavailable(self.folder):
            try:
                db, names = self._open()
                db.execute("BEGIN IMMEDIATE")
                version = db.execute("PRAGMA data_version").fetchone()[0]
                if version != self._version:  # another process has written: what is remembered may be old
                    names.forget()
                    self._version = version
                yield db, names
                db.execute("COMMIT")
            except BaseException:
                self._abandon()
                raise

    def _abandon(self) -> None:
        """Leave no half-written transaction and nothing remembered of it; the next one opens the file anew."""
        writer, self._writer, self._names = self._writer, None, None
        if writer is not None:
            writer.close()

    @contextmanager
    def read(self) -> Iterator[sqlite3.Connection]:
        """One reading transaction: all that is read in it belongs together."""
        with schema.unavailable(self.folder):
            try:
                db = self._idle.pop()
            except IndexError:
                db = schema.open_reader(self.folder)
            try:
                db.execute("BEGIN")
                yield db
                db.execute("ROLLBACK")
            except BaseException:
                db.close()
                raise
            self._idle.append(db)

    def close(self) -> None:
        with self._turn:
            while self._idle:
                self._idle.pop().close()
            self._abandon()  # the last to close writes the log back into the file, which a reader cannot
