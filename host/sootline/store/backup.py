"""A copy of the store that can be opened like the original, made while the service runs."""

import shutil
import sqlite3
from pathlib import Path

from sootline.errors import StoreDamaged, StoreUnavailable, UserError
from sootline.store import files, parts, schema
from sootline.store.sessions import Sessions

_TRIES = 5


def backup(sessions: Sessions, target: Path) -> int:
    """Copy the store into the new folder `target`; returns how many day files it holds.

    Raises UserError (the folder is there, or cannot be written), StoreDamaged (a day file is missing).
    """
    if target.exists():
        raise UserError(f"{target} is there already; name a new folder for the copy")
    unfinished = target.with_name(f"{target.name}{files.UNFINISHED}")
    try:
        for _ in range(_TRIES):
            shutil.rmtree(unfinished, ignore_errors=True)
            unfinished.mkdir(parents=True)
            _copy_database(sessions, unfinished / schema.FILE)
            missing = _copy_days(sessions.folder, unfinished)
            if missing is None:
                break
        else:
            raise StoreDamaged(f"{missing} is missing; run 'sootline store verify'")
        unfinished.rename(target)
        files.sync_folder(target.absolute().parent)
    except (OSError, sqlite3.OperationalError) as error:
        raise UserError(f"cannot write the copy to {target}: {getattr(error, 'strerror', None) or error}") from None
    except StoreUnavailable as error:
        raise UserError(str(error)) from None
    return sum(1 for _ in (target / parts.DAYS).glob("*/*.parquet"))


def _copy_database(sessions: Sessions, path: Path) -> None:
    with sessions.read() as db:
        copy = sqlite3.connect(path)
        try:
            db.backup(copy)
        finally:
            copy.close()


def _copy_days(folder: Path, target: Path) -> Path | None:
    """Copy the files the copied database names; the one that is missing, because it was just loosened."""
    db = sqlite3.connect(target / schema.FILE)
    try:
        names = [str(name) for (name,) in db.execute("SELECT file FROM part WHERE file IS NOT NULL")]
    finally:
        db.close()
    for name in names:
        try:
            data = (folder / parts.DAYS / name).read_bytes()
        except FileNotFoundError:
            return folder / parts.DAYS / name
        copy = target / parts.DAYS / name
        files.replace(files.write_beside(copy, data), copy)
    return None
