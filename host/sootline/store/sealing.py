"""Keeping house: hours into blocks, days into files, old things dropped, stray files brought home."""

import re
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from sootline.errors import StoreDamaged
from sootline.store import arrivals, block, boards, day_file, files, hours, messages, packs, parts, schema
from sootline.store.block import DAY_MS, HOUR_MS
from sootline.store.sessions import Sessions

SETTLE_MS = HOUR_MS  # a day is sealed this long after its end; rows that come later seal it anew
MOVABLE_MS = 30 * DAY_MS  # a pack without a clock stays movable this long, unless its boot's clock became known
BYTES_AT_ONCE = 500_000  # of loose packs turned into blocks in one transaction, so that ingest never waits long
SPARE_PAGES = 500  # unused pages of the database (4 KiB each) that are left for what comes next
STALE_S = 3600.0  # an unfinished file this old belongs to nobody
_DAY_FILE = re.compile(r"(\d{4}-\d\d-\d\d)\.parquet")


@dataclass(frozen=True, slots=True)
class Retention:
    """How many days each kind of thing is kept; None keeps it for ever.

    raw:    every reading
    hourly: lowest, mean and highest of each hour
    events: events, alarms, what people did about them, what was sent, announcements, messages set aside
    """

    raw_days: float | None = 3653.0
    hourly_days: float | None = None
    event_days: float | None = None


@dataclass(slots=True)
class Kept:
    """What keeping house has done. problems: one line for each thing it could not do."""

    packs: int = 0
    days_sealed: int = 0
    parts_dropped: int = 0
    files_adopted: int = 0
    files_removed: int = 0
    problems: list[str] = field(default_factory=list)


def day_path(furnace: str, day_ms: int) -> str:
    """Name of the file of a day below the folder of days."""
    return f"{furnace}/{datetime.fromtimestamp(day_ms / 1000, UTC):%Y-%m-%d}.parquet"


def keep(sessions: Sessions, now_ms: int, retention: Retention) -> Kept:
    """Do all that is due at now_ms. May be called at any time, from any process; raises StoreUnavailable."""
    done = Kept()
    with schema.unavailable(sessions.folder):
        _keep(sessions, now_ms, retention, done)
    return done


def _keep(sessions: Sessions, now_ms: int, retention: Retention, done: Kept) -> None:
    if sessions.looked_round_ms is None or not 0 <= now_ms - sessions.looked_round_ms < DAY_MS:
        _bring_home(sessions, done)  # goes through every file, so at the start and then once a day
        sessions.looked_round_ms = now_ms
    with sessions.read() as db:
        furnaces = dict(db.execute("SELECT id, name FROM furnace").fetchall())
    for furnace, name in furnaces.items():
        _pack_hours(sessions, furnace, now_ms, done)
        for day_ms in _unsealed(sessions, furnace, now_ms - SETTLE_MS - DAY_MS):
            _try(done, partial(_seal, sessions, furnace, name, day_ms, done))
    _settle(sessions, now_ms)
    _drop_old(sessions, now_ms, retention, done)
    _shrink(sessions)


def _try(done: Kept, step: Callable[[], None]) -> None:
    """One damaged file must not keep the rest from being done."""
    try:
        step()
    except StoreDamaged as error:
        done.problems.append(str(error))


def _pack_hours(sessions: Sessions, furnace: int, now_ms: int, done: Kept) -> None:
    n = 1
    while n:
        with sessions.write() as (db, names):
            n, changed = parts.pack_hours(db, names, furnace, now_ms, BYTES_AT_ONCE)
            for hour_ms in changed:
                _try(done, partial(hours.refresh, db, sessions.folder, furnace, [hour_ms]))
        done.packs += n


def _unsealed(sessions: Sessions, furnace: int, last_ms: int) -> list[int]:
    """Days that began no later than last_ms and have rows outside their file."""
    with sessions.read() as db:
        rows = db.execute(
            "SELECT DISTINCT start_ms / :day * :day FROM part WHERE furnace = :furnace AND file IS NULL"
            " AND start_ms < :end ORDER BY 1",
            {"day": DAY_MS, "furnace": furnace, "end": last_ms // DAY_MS * DAY_MS + DAY_MS},
        )
        return [day for (day,) in rows if day <= last_ms]


def _seal(sessions: Sessions, furnace: int, name: str, day_ms: int, done: Kept) -> None:
    """Make the parts of a day one file. Until the last commit everything is where it was."""
    span = (day_ms, day_ms + DAY_MS)
    with sessions.read() as db:
        there = parts.overlapping(db, furnace, *span)
        boots = parts.boot_numbers(db, furnace)
        rows = block.join([parts.load(db, sessions.folder, part, boots=boots) for part in there])
    rows = rows.take(np.lexsort((rows.seq, rows.boot, rows.t_ms)))
    data = day_file.encode(name, rows, {number: boot for boot, number in boots.items()})
    path = day_path(name, day_ms)
    target = sessions.folder / parts.DAYS / path
    beside = files.write_beside(target, data)
    try:
        with sessions.write() as (db, names):
            if [part.id for part in parts.overlapping(db, furnace, *span)] != [part.id for part in there]:
                return  # somebody was faster, or moved a pack: the next time
            files.replace(beside, target)
            parts.remove(db, [part.id for part in there])
            parts.insert(db, names, furnace, span, rows, (path, len(data)))
        done.days_sealed += 1
    finally:
        files.discard(beside)


def _settle(sessions: Sessions, now_ms: int) -> None:
    """Forget where packs without a clock could still be moved to, once nothing can move them."""
    with sessions.write() as (db, _):
        db.execute("DELETE FROM relative WHERE received_ms < ?", (now_ms - MOVABLE_MS,))
        arrivals.forget_notes(db, now_ms)


def _shrink(sessions: Sessions) -> None:
    """Give unused pages back to the disk, some at a time so that the writer never waits long."""
    while True:
        with sessions.write() as (db, _):
            spare = db.execute("PRAGMA freelist_count").fetchone()[0] - SPARE_PAGES
            if spare <= 0:
                return
            db.execute(f"PRAGMA incremental_vacuum({min(spare, 2000)})").fetchall()


def _drop_old(sessions: Sessions, now_ms: int, retention: Retention, done: Kept) -> None:
    if retention.raw_days is not None:
        before_ms = int(now_ms - retention.raw_days * DAY_MS)
        with sessions.write() as (db, _):
            rows = db.execute("SELECT id, file FROM part WHERE end_ms <= ?", (before_ms,)).fetchall()
            parts.remove(db, [part for part, _ in rows])
        done.parts_dropped += len(rows)
        remove_unused(sessions, [file for _, file in rows if file is not None])
    with sessions.write() as (db, _):
        if retention.hourly_days is not None:
            before_ms = int(now_ms - retention.hourly_days * DAY_MS)
            db.execute("DELETE FROM hours WHERE day_ms + ? <= ?", (DAY_MS, before_ms))
        if retention.event_days is not None:
            _drop_events(db, int(now_ms - retention.event_days * DAY_MS))


def _drop_events(db: sqlite3.Connection, before_ms: int) -> None:
    """Drop what ended before a time; alarms that still stand stay, and so does each board's newest word."""
    db.execute("DELETE FROM event WHERE end_ms < ?", (before_ms,))
    db.execute("DELETE FROM alarm WHERE cleared_ms < ?", (before_ms,))
    for table in ("acknowledged", "shelved"):
        db.execute(
            f"DELETE FROM {table} WHERE at_ms < ? AND NOT EXISTS (SELECT 1 FROM alarm WHERE alarm.furnace ="
            f" {table}.furnace AND alarm.alarm = {table}.alarm AND alarm.channel = {table}.channel"
            f" AND alarm.raised_ms = {table}.raised_ms)",
            (before_ms,),
        )
    db.execute("DELETE FROM set_aside WHERE received_ms < ?", (before_ms,))
    boards.drop_before(db, before_ms)
    messages.drop_before(db, before_ms)


def remove_unused(sessions: Sessions, names: list[str]) -> int:
    """Remove files that no part names any more; under the writer's turn, so that none is being put in place."""
    removed = 0
    for name in names:
        with sessions.write() as (db, _):
            if db.execute("SELECT 1 FROM part WHERE file = ?", (name,)).fetchone() is None:
                files.discard(sessions.folder / parts.DAYS / name)
                removed += 1
    return removed


def _bring_home(sessions: Sessions, done: Kept) -> None:
    """Files that no part names: taken in if they hold packs that are nowhere else, else removed.

    They are left by a crash between two steps, or the database was lost or put back from an older copy.
    """
    folder = sessions.folder / parts.DAYS
    found = {path.relative_to(folder).as_posix() for path in folder.glob("*/*.parquet")}
    with sessions.read() as db:
        found -= {name for (name,) in db.execute("SELECT file FROM part WHERE file IS NOT NULL")}
    for name in sorted(found):
        _try(done, partial(_adopt, sessions, name, done))
    _remove_unfinished(folder)


def _adopt(sessions: Sessions, name: str, done: Kept) -> None:
    furnace, _, file = name.partition("/")
    match = _DAY_FILE.fullmatch(file)
    path = sessions.folder / parts.DAYS / name
    if match is None:
        raise StoreDamaged(f"{path} is not a file of the store; move it elsewhere")
    with sessions.write() as (db, names):
        if db.execute("SELECT 1 FROM part WHERE file = ?", (name,)).fetchone() is not None:
            return
        boots = {boot: names.boot(furnace, boot) for boot in day_file.boot_names(path)}
        rows = day_file.decode(path, None, {boot: known.id for boot, known in boots.items()})
        unknown = False
        for boot in boots.values():
            seqs = np.unique(rows.seq[rows.boot == boot.id]).tolist()
            unknown |= any(not packs.knows(db, boot, seq) for seq in seqs)
        if not unknown:
            files.discard(path)
            done.files_removed += 1
            return
        number = names.furnace(furnace)
        day_ms = int(datetime.fromisoformat(match[1]).replace(tzinfo=UTC).timestamp()) * 1000
        parts.insert(db, names, number, (day_ms, day_ms + DAY_MS), rows, (name, path.stat().st_size))
        for boot in boots.values():
            packs.add_seen(db, boot.id, np.unique(rows.seq[rows.boot == boot.id]).tolist())
        names.forget()
        hours.refresh(db, sessions.folder, number, range(day_ms, day_ms + DAY_MS, HOUR_MS))
        done.files_adopted += 1


def _remove_unfinished(folder: Path) -> None:
    now_s = datetime.now(UTC).timestamp()
    for path in folder.glob(f"*/.*{files.UNFINISHED}"):
        if now_s - path.stat().st_mtime > STALE_S:
            files.discard(path)


def retention_from(value: Any) -> Retention:
    """The retention kept under a name in the store, or the default."""
    return Retention(**value) if isinstance(value, dict) else Retention()
