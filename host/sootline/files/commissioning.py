"""Commissioning records on disk: `DATA/commissioning/FURNACE.json`, written whole or not at all."""

import fcntl
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from pathlib import Path

from sootline.commissioning import record as rec
from sootline.commissioning.record import Record
from sootline.errors import UserError
from sootline.files.whole import write_whole
from sootline.walkthrough import waiting_words

FOLDER = "commissioning"


def path(data: Path, furnace: str) -> Path:
    return data / FOLDER / f"{furnace}.json"


def load(data: Path, furnace: str) -> Record | None:
    """The record of a furnace, None where none was started. Raises UserError that names the file."""
    file = path(data, furnace)
    try:
        record = rec.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except OSError as error:
        raise UserError(f"{file}: cannot be read: {error.strerror}") from None
    except (UserError, UnicodeDecodeError) as error:
        raise UserError(f"{file}: {error}") from None
    if record.furnace != furnace:
        raise UserError(f"{file}: is the record of '{record.furnace}'; move it to its own name")
    return record


def add(
    data: Path, furnace: str, step: str, on: date, by: str, values: Mapping[str, object], channel: str = ""
) -> Record:
    """Evaluate one more step and keep it. Raises UserError when it is not passed or cannot be kept.

    Terminal and page may write at once: each reads, adds and writes under one lock.
    """
    with _alone(data):
        record = load(data, furnace) or Record(furnace)
        record = rec.add(record, step, on, by, values, channel)
        try:
            write_whole(path(data, furnace), rec.dumps(record))
        except OSError as error:
            raise UserError(f"{path(data, furnace)}: cannot be written: {error.strerror}; nothing was kept") from None
    return record


@contextmanager
def _alone(data: Path) -> Iterator[None]:
    try:
        (data / FOLDER).mkdir(parents=True, exist_ok=True)
        lock = (data / FOLDER / ".lock").open("w")
    except OSError as error:
        raise UserError(f"{data / FOLDER}: cannot be written: {error.strerror}; nothing was kept") from None
    with lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


class Records:
    """The records of a data folder, read again when a file has changed.

    problems: furnace -> why its file cannot be used; the last good record of it stays in force
    """

    def __init__(self, data: Path) -> None:
        self._data = data
        self._read: dict[str, tuple[int, int, int]] = {}
        self._records: dict[str, Record] = {}
        self.problems: dict[str, str] = {}

    def get(self, furnace: str) -> Record | None:
        """The record of a furnace, None where none was started."""
        try:
            found = path(self._data, furnace).stat()
        except OSError:
            for known in (self._read, self._records, self.problems):
                known.pop(furnace, None)
            return None
        stamp = (found.st_mtime_ns, found.st_size, found.st_ino)
        if self._read.get(furnace) != stamp:
            self._read[furnace] = stamp
            try:
                record = load(self._data, furnace)
                self.problems.pop(furnace, None)
                if record is not None:
                    self._records[furnace] = record
            except UserError as error:
                self.problems[furnace] = str(error)
        return self._records.get(furnace)

    def waiting(self, furnace: str, fitted: Collection[str]) -> Mapping[str, str]:
        """Verdict -> the step it waits for, in words; nothing waits where no record was started."""
        record = self.get(furnace)
        if record is None:
            return {}
        return {verdict: waiting_words(needs) for verdict, needs in rec.waiting(record, fitted).items()}
