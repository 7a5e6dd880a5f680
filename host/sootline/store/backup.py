"""A copy of the data folder that can be opened like the original, made while the service runs.

Besides the store it holds what lies beside it: photos, profiles, commissioning, ledger, used-oil log and whatever else
is kept there. The broker's own folder is left out: what waits in it is no record yet.
"""

import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

from sootline.errors import StoreDamaged, StoreUnavailable, UserError
from sootline.store import files, parts, schema
from sootline.store.sessions import Sessions

_TRIES = 5
_NOT_BESIDE = (schema.FILE, parts.DAYS, "broker", "lock", ".")


def backup(sessions: Sessions, target: Path) -> int:
    """Copy the store and what lies beside it into the new folder `target`; returns how many day files it holds.

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
                _copy_beside(sessions.folder, unfinished)
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
    with closing(sqlite3.connect(target / schema.FILE)) as db:
        names = [str(name) for (name,) in db.execute("SELECT file FROM part WHERE file IS NOT NULL")]
    for name in names:
        try:
            data = (folder / parts.DAYS / name).read_bytes()
        except FileNotFoundError:
            return folder / parts.DAYS / name
        copy = target / parts.DAYS / name
        files.replace(files.write_beside(copy, data), copy)
    return None


def _copy_beside(folder: Path, target: Path) -> None:
    """Everything in the data folder that is not the store itself, with its permissions; no locks, no other copies."""
    for here, names, file_names in os.walk(folder):
        place = Path(here)
        names[:] = [name for name in names if _is_beside(place / name)]
        for name in file_names:
            path = place / name
            own = name.startswith(_NOT_BESIDE) if place == folder else name.startswith(".")
            if own or name.endswith((".db-wal", ".db-shm")) or path.is_symlink() or not path.is_file():
                continue
            copy = target / path.relative_to(folder)
            copy.parent.mkdir(parents=True, exist_ok=True)
            try:
                if path.suffix == ".db":  # in use meanwhile: its log is worked in, and not copied beside it
                    _copy_sqlite(path, copy)
                else:
                    shutil.copy2(path, copy)
            except FileNotFoundError:  # replaced or taken away while we looked
                continue
            with copy.open("rb") as file:
                os.fsync(file.fileno())


def _copy_sqlite(path: Path, copy: Path) -> None:
    """A whole copy of another SQLite file, readable by no more people than the original."""
    copy.touch(mode=0o600)
    original = f"{path.resolve().as_uri()}?mode=ro"
    with closing(sqlite3.connect(original, uri=True)) as db, closing(sqlite3.connect(copy)) as made:
        db.backup(made)
    shutil.copymode(path, copy)


def _is_beside(folder: Path) -> bool:
    """Whether a folder belongs to the copy: not the store's, nor the broker's, nor itself a copy of a store."""
    return not (
        folder.name in _NOT_BESIDE
        or folder.name.startswith(".")
        or folder.name.endswith(files.UNFINISHED)
        or (folder / schema.FILE).exists()
    )
