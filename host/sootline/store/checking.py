"""Whether everything that was written can be read back."""

import sqlite3
from pathlib import Path

from sootline.errors import StoreDamaged
from sootline.store import day_file, logbook, parts
from sootline.store.sessions import Sessions


def verify(sessions: Sessions) -> list[str]:
    """One line for each thing that is not as it was written: the database, every block, every page of every file."""
    with sessions.read() as db:
        problems = [f"{sessions.folder}: {row[0]}" for row in db.execute("PRAGMA integrity_check") if row[0] != "ok"]
        ids = [part for (part,) in db.execute("SELECT id FROM part ORDER BY furnace, start_ms, id")]
        photos = [logbook.photo_path(sessions.folder, id) for id in logbook.with_photo(db)]
    problems += [f"{path} is missing; put back a backup" for path in photos if not path.exists()]
    for part in ids:
        with sessions.read() as db:
            problem = _verify_part(db, sessions.folder, part)
        if problem is not None:
            problems.append(problem)
    return problems


def _verify_part(db: sqlite3.Connection, folder: Path, number: int) -> str | None:
    part = parts.by_number(db, number)
    if part is None:
        return None  # sealed or dropped meanwhile
    where = (
        f"rows of {part.start_ms} to {part.end_ms} ms" if part.file is None else str(folder / parts.DAYS / part.file)
    )
    boots = parts.boot_numbers(db, part.furnace)
    try:
        if part.file is not None:
            rows = day_file.decode(folder / parts.DAYS / part.file, None, boots, check=True)
        else:
            rows = parts.load(db, folder, part)
    except StoreDamaged as error:
        return str(error)
    except Exception as error:  # a damaged block fails wherever the damage happens to be
        return f"{where}: {error}; put back a backup"
    if len(rows) < part.row_count:
        return f"{where}: {len(rows)} rows where {part.row_count} were written; put back a backup"
    if len(rows) and (rows.t_ms.min() > part.first_ms or rows.t_ms.max() < part.last_ms):
        return f"{where}: its rows do not span the times written; put back a backup"
    return None
