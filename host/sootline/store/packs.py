"""Packs as they arrive: each taken once, kept loose until its hour is over, and movable while its clock is unknown."""

import sqlite3
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sootline.series import Rows
from sootline.store import block
from sootline.wire.pack import Pack
from sootline.wire.placement import BootClock


@dataclass(slots=True)
class Boot:
    """One boot of a board, as far as the writer needs it at hand.

    synced: (uptime_ms, offset_ms) of the earliest uptime at which the board's clock was known to be set
    seen:   [first, last] sequence numbers of packs that are no longer loose, in order, not touching
    """

    id: int
    synced: tuple[int, int] | None
    seen: list[tuple[int, int]]

    def has_seen(self, seq: int) -> bool:
        i = bisect_right(self.seen, (seq, 2**63))
        return i > 0 and seq <= self.seen[i - 1][1]


class Names:
    """Numbers for the names of furnaces, boots and column sets, remembered by the writer until `forget`."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self.forget()

    def forget(self) -> None:
        self._boots: dict[tuple[str, str], Boot] = {}
        self._columns: dict[tuple[str, ...], int] = {}
        self._newest: dict[str, int] = {}

    def furnace(self, name: str) -> int:
        self._db.execute("INSERT OR IGNORE INTO furnace (name) VALUES (?)", (name,))
        return int(self._db.execute("SELECT id FROM furnace WHERE name = ?", (name,)).fetchone()[0])

    def boot(self, furnace: str, name: str) -> Boot:
        boot = self._boots.get((furnace, name))
        if boot is None:
            boot = self._boots[furnace, name] = self._load(self.furnace(furnace), name)
        return boot

    def _load(self, furnace: int, name: str) -> Boot:
        self._db.execute("INSERT OR IGNORE INTO boot (furnace, name) VALUES (?, ?)", (furnace, name))
        boot, uptime_ms, offset_ms = self._db.execute(
            "SELECT id, synced_uptime_ms, synced_offset_ms FROM boot WHERE furnace = ? AND name = ?", (furnace, name)
        ).fetchone()
        seen = self._db.execute("SELECT first_seq, last_seq FROM seen WHERE boot = ? ORDER BY first_seq", (boot,))
        return Boot(boot, None if uptime_ms is None else (uptime_ms, offset_ms), seen.fetchall())

    def newest(self, furnace: str, received_ms: int) -> int:
        """When the pack before this one arrived; remembers that this one arrived at received_ms."""
        before = self._newest.get(furnace)
        if before is None:
            before = last_received_ms(self._db, self.furnace(furnace)) or received_ms
        self._newest[furnace] = received_ms
        return before

    def columns(self, names: Sequence[str]) -> int:
        names = tuple(names)
        number = self._columns.get(names)
        if number is None:
            text = " ".join(names)
            self._db.execute("INSERT OR IGNORE INTO columns (names) VALUES (?)", (text,))
            number = int(self._db.execute("SELECT id FROM columns WHERE names = ?", (text,)).fetchone()[0])
            self._columns[names] = number
        return number


def take(db: sqlite3.Connection, names: Names, pack: Pack, received_ms: int, base_ms: int) -> bool:
    """Keep a pack; False when this (furnace, boot, seq) was there already."""
    boot = names.boot(pack.furnace, pack.boot)
    if boot.seen and boot.has_seen(pack.seq):
        return False
    if not _insert(db, names, boot.id, pack.seq, received_ms, base_ms, pack.rows):
        return False
    if received_ms < names.newest(pack.furnace, received_ms):  # the host's clock was set back
        note_arrival(db, names.furnace(pack.furnace), received_ms)
    if pack.base_ms is None:
        db.execute(
            "INSERT INTO relative (boot, seq, uptime_ms, base_ms, received_ms) VALUES (?, ?, ?, ?, ?)",
            (boot.id, pack.seq, pack.uptime_ms, base_ms, received_ms),
        )
        return True
    synced = (pack.uptime_ms, pack.base_ms - pack.uptime_ms)
    if boot.synced is None or synced < boot.synced:
        boot.synced = synced
        db.execute("UPDATE boot SET synced_uptime_ms = ?, synced_offset_ms = ? WHERE id = ?", (*synced, boot.id))
    return True


def _insert(
    db: sqlite3.Connection, names: Names, boot: int, seq: int, received_ms: int, base_ms: int, rows: Rows
) -> bool:
    columns = block.column_names(rows)
    data = block.pack_bytes(rows, columns)
    first_ms, last_ms = _extent(rows, base_ms)
    cursor = db.execute(
        "INSERT OR IGNORE INTO pack (boot, seq, received_ms, base_ms, first_ms, last_ms, columns, rows)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (boot, seq, received_ms, base_ms, first_ms, last_ms, names.columns(columns), data),
    )
    return cursor.rowcount == 1


def _extent(rows: Rows, base_ms: int) -> tuple[int, int]:
    first = [int(rows.t_ms[0])] if len(rows) else []
    last = [int(rows.t_ms[-1])] if len(rows) else []
    if rows.faults:
        first.append(rows.faults[0].t_ms)
        last.append(rows.faults[-1].t_ms)
    return base_ms + min(first, default=0), base_ms + max(last, default=0)


def movable_base(db: sqlite3.Connection, boot: int, seq: int) -> int | None:
    """Base time of a pack that came without a clock and can still be moved, or None."""
    row = db.execute("SELECT base_ms FROM relative WHERE boot = ? AND seq = ?", (boot, seq)).fetchone()
    return None if row is None else int(row[0])


def note_arrival(db: sqlite3.Connection, furnace: int, received_ms: int) -> None:
    """Tell those who follow arrivals that from received_ms on there is something to read again."""
    db.execute("INSERT INTO arrived_before (furnace, received_ms) VALUES (?, ?)", (furnace, received_ms))


def last_received_ms(db: sqlite3.Connection, furnace: int) -> int | None:
    row = db.execute(
        "SELECT max(last) FROM (SELECT max(last_received_ms) AS last FROM part WHERE furnace = :furnace UNION ALL"
        " SELECT max(received_ms) FROM pack WHERE boot IN (SELECT id FROM boot WHERE furnace = :furnace))",
        {"furnace": furnace},
    ).fetchone()
    return None if row[0] is None else int(row[0])


def move(db: sqlite3.Connection, boot: int, seq: int, by_ms: int) -> None:
    """Shift a loose pack that came without a clock."""
    which = {"by": by_ms, "boot": boot, "seq": seq}
    furnace, received_ms = db.execute(
        "SELECT boot.furnace, received_ms FROM relative JOIN boot ON boot.id = boot WHERE boot = ? AND seq = ?",
        (boot, seq),
    ).fetchone()
    note_arrival(db, furnace, received_ms)
    db.execute("UPDATE relative SET base_ms = base_ms + :by WHERE boot = :boot AND seq = :seq", which)
    db.execute(
        "UPDATE pack SET base_ms = base_ms + :by, first_ms = first_ms + :by, last_ms = last_ms + :by"
        " WHERE boot = :boot AND seq = :seq",
        which,
    )


def add_seen(db: sqlite3.Connection, boot: int, numbers: Iterable[int]) -> None:
    """Remember that these packs of a boot were taken, as ranges."""
    spans = db.execute("SELECT first_seq, last_seq FROM seen WHERE boot = ?", (boot,)).fetchall()
    merged: list[list[int]] = []
    for first, last in sorted([*spans, *((n, n) for n in numbers)]):
        if merged and first <= merged[-1][1] + 1:
            merged[-1][1] = max(merged[-1][1], last)
        else:
            merged.append([first, last])
    db.execute("DELETE FROM seen WHERE boot = ?", (boot,))
    db.executemany("INSERT INTO seen VALUES (?, ?, ?)", [(boot, first, last) for first, last in merged])


def loose(db: sqlite3.Connection, furnace: int, start_ms: int, end_ms: int) -> list[block.Block]:
    """The loose packs that reach into [start_ms, end_ms), as blocks with each its own set of columns."""
    packs: Iterable[tuple[int, int, int, int, int, bytes]] = db.execute(
        "SELECT boot, seq, received_ms, base_ms, columns, rows FROM pack"
        " WHERE boot IN (SELECT id FROM boot WHERE furnace = ?) AND last_ms >= ? AND first_ms < ? AND length(rows)",
        (furnace, start_ms, end_ms),
    )
    return block.from_packs(packs, column_sets(db))


def loose_received(db: sqlite3.Connection, furnace: int, first_ms: int, last_ms: int) -> list[block.Block]:
    """The loose packs that arrived from first_ms to last_ms, as `loose` gives them."""
    found: Iterable[tuple[int, int, int, int, int, bytes]] = db.execute(
        "SELECT boot, seq, received_ms, base_ms, columns, rows FROM pack"
        " WHERE boot IN (SELECT id FROM boot WHERE furnace = ?) AND received_ms BETWEEN ? AND ? AND length(rows)",
        (furnace, first_ms, last_ms),
    )
    return block.from_packs(found, column_sets(db))


def column_sets(db: sqlite3.Connection) -> dict[int, list[str]]:
    return {number: names.split() for number, names in db.execute("SELECT id, names FROM columns")}


def boot_ranks(db: sqlite3.Connection, furnace: int) -> dict[int, int]:
    """Of each boot id, where its name stands among the names of all boots of the furnace."""
    rows = db.execute("SELECT id FROM boot WHERE furnace = ? ORDER BY name", (furnace,))
    return {boot: i for i, (boot,) in enumerate(rows)}


def clocks(db: sqlite3.Connection, furnace: str) -> dict[str, BootClock]:
    """What is known of the clock of each boot, from every pack kept."""
    boots: dict[int, BootClock] = {}
    named: dict[str, BootClock] = {}
    for boot, name, uptime_ms, offset_ms in db.execute(
        "SELECT boot.id, boot.name, synced_uptime_ms, synced_offset_ms FROM boot JOIN furnace"
        " ON furnace.id = boot.furnace WHERE furnace.name = ?",
        (furnace,),
    ):
        boots[boot] = named[name] = BootClock([], [] if uptime_ms is None else [(uptime_ms, offset_ms)])
    for boot, clock in boots.items():
        clock.received.extend(
            db.execute(
                "SELECT uptime_ms, min(received_ms) FROM relative WHERE boot = ? GROUP BY uptime_ms ORDER BY uptime_ms",
                (boot,),
            )
        )
    return named


def relative(db: sqlite3.Connection, furnace: str, boot: str) -> list[tuple[int, int, int]]:
    """(seq, uptime_ms, base_ms) of the packs of a boot that came without a clock, in order of seq."""
    return db.execute(
        "SELECT seq, uptime_ms, relative.base_ms FROM relative JOIN boot ON boot.id = relative.boot JOIN furnace"
        " ON furnace.id = boot.furnace WHERE furnace.name = ? AND boot.name = ? ORDER BY seq",
        (furnace, boot),
    ).fetchall()


def put_back(db: sqlite3.Connection, names: Names, rows: block.Block) -> None:
    """Make rows of one pack loose again, beside those of the same pack that already are."""
    boot, seq, received_ms = int(rows.boot[0]), int(rows.seq[0]), int(rows.received_ms[0])
    there = db.execute(
        "SELECT boot, seq, received_ms, base_ms, columns, rows FROM pack WHERE boot = ? AND seq = ?", (boot, seq)
    ).fetchall()
    base_ms = movable_base(db, boot, seq)
    if base_ms is None:
        base_ms = there[0][3] if there else int(rows.t_ms[0])
    rows = block.join([*block.from_packs(there, column_sets(db)), rows])
    columns = tuple(rows.columns)
    data = block.rows_bytes(rows.t_ms - base_ms, [rows.columns[name] for name in columns])
    extent = (int(rows.t_ms.min()), int(rows.t_ms.max()))
    db.execute(
        "INSERT OR REPLACE INTO pack (boot, seq, received_ms, base_ms, first_ms, last_ms, columns, rows)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (boot, seq, received_ms, base_ms, *extent, names.columns(columns), data),
    )


def knows(db: sqlite3.Connection, boot: Boot, seq: int) -> bool:
    """Whether a pack was ever taken."""
    if boot.has_seen(seq):
        return True
    return db.execute("SELECT 1 FROM pack WHERE boot = ? AND seq = ?", (boot.id, seq)).fetchone() is not None
