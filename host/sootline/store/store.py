"""The store: one folder, one writer, any number of readers in other threads and processes."""

import sqlite3
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from sootline.alarms import Acknowledgement, Alarm, Shelf
from sootline.errors import StoreDamaged
from sootline.events import Event
from sootline.logbook import Logged, Search
from sootline.messages.message import Message
from sootline.now import SetAside
from sootline.profile import LogEntry, ServiceMode
from sootline.series import Floats, Rows, Times
from sootline.store import (
    alarms,
    arrivals,
    backup,
    boards,
    checking,
    events,
    hours,
    logbook,
    messages,
    packs,
    parts,
    readings,
    sealing,
    sizes,
)
from sootline.store.alarms import Key
from sootline.store.arrivals import Arrived
from sootline.store.block import HOUR_MS
from sootline.store.day_file import FileMissing
from sootline.store.sealing import Kept, Retention
from sootline.store.sessions import Sessions
from sootline.store.sizes import Sizes
from sootline.wire.pack import Pack
from sootline.wire.placement import BootClock

T = TypeVar("T")
_TRIES = 5
_RETENTION = "retention"
_SERVICE = "service mode"


class Batch:
    """What is written in one transaction; made by `Store.batch`."""

    def __init__(self, folder: Path, db: sqlite3.Connection, names: packs.Names) -> None:
        self._folder = folder
        self._db = db
        self._names = names
        self.loosened: list[str] = []  # files that are no longer needed once this is committed

    def pack(self, pack: Pack, received_ms: int, base_ms: int) -> bool:
        """Keep a pack at base_ms; False when (furnace, boot, seq) was there already and nothing was changed."""
        return packs.take(self._db, self._names, pack, received_ms, base_ms)

    def place(self, furnace: str, boot: str, seq: int, base_ms: int) -> bool:
        """Move a pack that came without a clock; False when there is no such pack that can still be moved."""
        number = self._names.boot(furnace, boot).id
        there_ms = packs.movable_base(self._db, number, seq)
        if there_ms is None:
            return False
        if there_ms != base_ms:
            for part in parts.holding(self._db, number, seq):
                self._loosen(part)
            packs.move(self._db, number, seq, base_ms - there_ms)
        return True

    def _loosen(self, part: parts.Part) -> None:
        """Make the packs of a part movable; what is in a damaged file stays there."""
        try:
            parts.loosen(self._db, self._names, self._folder, part)
            hours.refresh(self._db, self._folder, part.furnace, range(part.start_ms, part.end_ms, HOUR_MS))
        except StoreDamaged:
            return
        if part.file is not None:
            self.loosened.append(part.file)

    def announce(self, furnace: str, received_ms: int, announcement: Mapping[str, Any]) -> None:
        boards.announce(self._db, furnace, received_ms, announcement)

    def set_aside(self, received_ms: int, topic: str, payload: bytes, reason: str, furnace: str | None = None) -> None:
        """Count a message that cannot be used and keep its first 4 KiB; furnace: taken from the topic if not given."""
        name = boards.furnace_of(topic) if furnace is None else furnace
        boards.set_aside(self._db, name, received_ms, topic, payload, reason)

    def alarms(self, put: Iterable[Alarm] = (), remove: Iterable[Key] = ()) -> None:
        alarms.remove(self._db, remove)
        alarms.put(self._db, put)

    def acknowledge(self, key: Key, by: str, at_ms: int) -> None:
        alarms.acknowledge(self._db, key, by, at_ms)

    def shelve(self, key: Key, shelf: Shelf) -> None:
        alarms.shelve(self._db, key, shelf)

    def messages(self, new: Iterable[Message]) -> None:
        """Keep messages to be sent; those that are there already stay as they are."""
        messages.add(self._db, new)

    def message(self, message: Message) -> None:
        """Keep what became of a message."""
        messages.update(self._db, message)

    def confirm(self, contact: str, code: str, by: str, at_ms: int) -> bool:
        """Somebody says that the message with this code has come; False when the contact was sent no such code."""
        return messages.confirm(self._db, contact, code, by, at_ms)

    def events(self, put: Iterable[Event] = (), remove: Iterable[tuple[str, str, int]] = ()) -> None:
        events.remove(self._db, remove)
        events.put(self._db, put)

    def log(self, logged: Logged, photo: bytes | None = None) -> bool:
        """Keep a line of the logbook with its photo [JPEG]; False when its id was there and nothing was changed."""
        if photo is not None:
            logbook.put_photo(self._folder, logged.id, photo)
        return logbook.add(self._db, logged)

    def undo(self, id: str, by: str, at_ms: int) -> None:
        """Mark a line of the logbook as undone."""
        logbook.undo(self._db, id, by, at_ms)

    def search(self, search: Search) -> None:
        """Keep a search for a cause, in place of what it was before."""
        logbook.put_search(self._db, search)

    def service(self, furnace: str, modes: Iterable[ServiceMode]) -> None:
        """Keep when somebody worked on the furnace: all of it, in place of what was kept before."""
        self.remember(f"{_SERVICE}/{furnace}", list(modes))

    def remember(self, name: str, value: Any) -> None:
        """Keep a small value of JSON form under a name."""
        self._db.execute("INSERT OR REPLACE INTO remembered VALUES (?, ?)", (name, msgspec.json.encode(value)))


class Store:
    """Open with `Store.open`. Reads see what is committed, from any thread, and never wait for the writer."""

    def __init__(self, sessions: Sessions) -> None:
        self.folder = sessions.folder
        self._sessions = sessions

    @classmethod
    def open(cls, folder: Path, read_only: bool = False) -> "Store":
        """Open or create the store in `folder`.

        read_only: beside the service that writes, from any process; the store must exist
        Raises UserError (newer layout, no store), StoreUnavailable (the disk refuses).
        """
        return cls(Sessions(folder, read_only))

    def close(self) -> None:
        self._sessions.close()

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def batch(self) -> Iterator[Batch]:
        """One transaction: all of it is kept when the block ends, none of it when an error leaves the block.

        Raises StoreUnavailable when the disk refuses; the same batch may then be tried again.
        """
        with self._sessions.write() as (db, names):
            batch = Batch(self.folder, db, names)
            yield batch
        sealing.remove_unused(self._sessions, batch.loosened)

    def _whole(self, read: Callable[[sqlite3.Connection], T]) -> T:
        """What `read` gives, tried again when a file it needed was replaced while it looked."""
        for _ in range(_TRIES):
            try:
                with self._sessions.read() as db:
                    return read(db)
            except FileMissing as error:
                missing = error
        raise missing

    # readings

    def read(self, furnace: str, start_ms: int, end_ms: int, channels: Collection[str] | None = None) -> Rows:
        """Readings of start_ms <= t < end_ms; rows and channels without a reading among `channels` are left out."""
        return self._whole(
            lambda db: readings.read(db, self.folder, readings.number(db, furnace), start_ms, end_ms, channels)
        )

    def overview(
        self, furnace: str, channel: str, start_ms: int, end_ms: int, pixels: int
    ) -> tuple[Times, Floats, Floats]:
        """(t_ms, low, high) of each of `pixels` equal spans that holds a reading; t_ms is the start of the span.

        Where a span is an hour or longer, an hour counts wholly to the span in which it begins.
        """
        return self._whole(
            lambda db: hours.overview(db, self.folder, readings.number(db, furnace), channel, start_ms, end_ms, pixels)
        )

    def hours(self, furnace: str, channel: str, start_ms: int, end_ms: int) -> tuple[Times, Floats, Floats, Floats]:
        """(hour_ms, low, mean, high) of the finished hours that begin in [start_ms, end_ms) and hold a reading."""
        with self._sessions.read() as db:
            return hours.read(db, readings.number(db, furnace), channel, start_ms, end_ms)

    def furnaces(self) -> list[str]:
        """Every furnace that ever sent a pack or an announcement, in order of name."""
        with self._sessions.read() as db:
            rows = db.execute("SELECT name FROM furnace UNION SELECT furnace FROM board ORDER BY 1")
            return [name for (name,) in rows]

    def extent(self, furnace: str) -> tuple[int, int] | None:
        """Times of the first and the last row, or None where there is none."""
        with self._sessions.read() as db:
            return readings.extent(db, readings.number(db, furnace))

    def last_received_ms(self, furnace: str) -> int | None:
        """When the newest pack arrived."""
        with self._sessions.read() as db:
            return packs.last_received_ms(db, readings.number(db, furnace))

    # following

    def arrived(self, furnace: str, from_ms: int, span_ms: int, now_ms: int) -> Arrived | None:
        """What arrived in the first span_ms, from from_ms on, in which anything did; None when there is nothing.

        A pack without a clock, and all after it, is held back until nothing can move it any more (six hours).
        """
        return self._whole(
            lambda db: arrivals.read(db, self.folder, readings.number(db, furnace), from_ms, span_ms, now_ms)
        )

    def brought_back(self, furnace: str, after: int) -> tuple[int, int] | None:
        """(number, received_ms): follow again from received_ms, for packs were moved or the host's clock set back."""
        with self._sessions.read() as db:
            return arrivals.brought_back(db, readings.number(db, furnace), after)

    def changed_alarms(self, after: int, most: int) -> list[tuple[int, Alarm]]:
        """Alarms put after change number `after`, in order of change."""
        with self._sessions.read() as db:
            return alarms.changed(db, after, most)

    def changed_events(self, after: int, most: int) -> list[tuple[int, Event]]:
        """Events put after change number `after`, in order of change."""
        with self._sessions.read() as db:
            return events.changed(db, after, most)

    # clocks

    def boot_clocks(self, furnace: str) -> dict[str, BootClock]:
        """What is known of the clock of each boot."""
        with self._sessions.read() as db:
            return packs.clocks(db, furnace)

    def relative_packs(self, furnace: str, boot: str) -> list[tuple[int, int, int]]:
        """(seq, uptime_ms, base_ms) of the packs of a boot that came without a clock and can still be moved."""
        with self._sessions.read() as db:
            return packs.relative(db, furnace, boot)

    # boards

    def announcements(self) -> dict[str, tuple[int, dict[str, Any]]]:
        """Of each furnace the newest announcement, with the time since when it has said the same."""
        with self._sessions.read() as db:
            return boards.newest(db)

    def announced(self, furnace: str) -> list[tuple[int, dict[str, Any]]]:
        """Every change of what a board announced, in order."""
        with self._sessions.read() as db:
            return boards.history(db, furnace)

    def set_aside_counts(self, furnace: str) -> dict[str, int]:
        with self._sessions.read() as db:
            return boards.counts(db, furnace)

    def last_set_aside(self, n: int, furnace: str | None = None) -> list[SetAside]:
        """The newest messages set aside, newest first."""
        with self._sessions.read() as db:
            return boards.last_set_aside(db, n, furnace)

    # findings and acts

    def alarms(self, furnace: str | None = None, since_ms: int | None = None) -> list[Alarm]:
        """Alarm records in order of raised, alarm, channel; with since_ms those that stood at that time or later."""
        with self._sessions.read() as db:
            return alarms.read(db, furnace, since_ms)

    def acknowledgements(self, furnace: str | None = None) -> dict[Key, Acknowledgement]:
        with self._sessions.read() as db:
            return alarms.acknowledgements(db, furnace)

    def shelved(self, furnace: str | None = None) -> dict[Key, Shelf]:
        with self._sessions.read() as db:
            return alarms.shelved(db, furnace)

    def messages(self, since_ms: int | None = None, before_ms: int | None = None, most: int = 100_000) -> list[Message]:
        """What was said to whom in since_ms <= made < before_ms, the newest first."""
        with self._sessions.read() as db:
            return messages.read(db, since_ms, before_ms, most)

    def waiting_messages(self, due_ms: int, beyond_ms: int = 2**62) -> list[Message]:
        """What is to be sent by due_ms, or later than beyond_ms; critical alarms first."""
        with self._sessions.read() as db:
            return messages.waiting(db, due_ms, beyond_ms)

    def next_message_ms(self) -> int | None:
        """When the next message is to be tried; None when none waits."""
        with self._sessions.read() as db:
            return messages.next_due_ms(db)

    def events(
        self,
        furnace: str | None = None,
        kind: str | None = None,
        start_ms: int | None = None,
        end_ms: int | None = None,
    ) -> list[Event]:
        """Events that began in start_ms <= t < end_ms, in order of beginning."""
        with self._sessions.read() as db:
            return events.read(db, furnace, kind, start_ms, end_ms)

    def event_spans(self, furnace: str, kind: str, start_ms: int, end_ms: int) -> list[tuple[int, int]]:
        """(start_ms, end_ms) of each event that began in start_ms <= t < end_ms; many, without their features."""
        with self._sessions.read() as db:
            return events.spans(db, furnace, kind, start_ms, end_ms)

    def log(self, furnace: str) -> list[LogEntry]:
        """What was done at a furnace and holds, as the analysis takes it: without what was undone."""
        return [logged.entry for logged in self.logbook(furnace) if not logged.undone]

    def logbook(self, furnace: str | None = None) -> list[Logged]:
        """Every line in the order in which they act, undone ones too."""
        with self._sessions.read() as db:
            return logbook.read(db, furnace)

    def logged(self, id: str) -> Logged | None:
        """One line of the logbook."""
        with self._sessions.read() as db:
            return logbook.one(db, id)

    def photo(self, id: str) -> bytes | None:
        """The photo [JPEG] of a line, or None. `id` is one the logbook has given out."""
        try:
            return logbook.photo_path(self.folder, id).read_bytes()
        except FileNotFoundError:
            return None

    def search(self, id: str) -> Search | None:
        """One search for a cause."""
        with self._sessions.read() as db:
            return logbook.search(db, id)

    def searches(self, furnace: str | None = None) -> list[Search]:
        """Searches for causes in order of beginning."""
        with self._sessions.read() as db:
            return logbook.searches(db, furnace)

    def service(self, furnace: str) -> list[ServiceMode]:
        """When somebody worked on the furnace, in order of beginning."""
        kept: list[ServiceMode] = msgspec.convert(self.recall(f"{_SERVICE}/{furnace}") or [], list[ServiceMode])
        return kept

    def recall(self, name: str) -> Any:
        """What was kept by `Batch.remember`, or None."""
        with self._sessions.read() as db:
            row = db.execute("SELECT value FROM remembered WHERE name = ?", (name,)).fetchone()
        return None if row is None else msgspec.json.decode(row[0])

    def recall_all(self, prefix: str) -> dict[str, Any]:
        """What was kept by `Batch.remember` under names that begin with `prefix`, by name."""
        with self._sessions.read() as db:
            rows = db.execute("SELECT name, value FROM remembered WHERE substr(name, 1, ?) = ?", (len(prefix), prefix))
            return {name: msgspec.json.decode(value) for name, value in rows}

    # keeping house

    def retention(self) -> Retention:
        return sealing.retention_from(self.recall(_RETENTION))

    def set_retention(self, retention: Retention) -> None:
        with self.batch() as batch:
            batch.remember(_RETENTION, retention)

    def compact(self, now_ms: int) -> Kept:
        """Pack finished hours, seal finished days, drop what is older than the retention. Call it every few minutes."""
        return sealing.keep(self._sessions, now_ms, self.retention())

    def verify(self) -> list[str]:
        """Read everything back; one line for each thing that is not as it was written."""
        return checking.verify(self._sessions)

    def sizes(self) -> Sizes:
        """How much there is of each furnace."""
        with self._sessions.read() as db:
            return sizes.sizes(db, self.folder)

    def backup(self, target: Path) -> int:
        """Copy the store into the new folder `target`, also beside a writer; returns how many day files it holds."""
        return backup.backup(self._sessions, target)
