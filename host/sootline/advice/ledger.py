"""The ledger file of a furnace: a line each for a prediction and for its outcome, only ever added to.

A line carries the digest of `heat.proof`; reading works the chain out again and stops at the first line that differs.
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec

from sootline.errors import OutOfRange, UserError
from sootline.heat.proof import Ledger, Outcome, Prediction


class Line(msgspec.Struct, frozen=True, omit_defaults=True):
    """The prediction alone when it was made; with its outcome when that was measured."""

    prediction: Prediction
    digest: str
    outcome: Outcome | None = None


def path_of(folder: Path, furnace: str) -> Path:
    return folder / "ledger" / f"{furnace}.jsonl"


@contextmanager
def alone(path: Path) -> Iterator[None]:
    """Read, add and write without another terminal or page in between. Raises: UserError"""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        lock = (path.parent / ".lock").open("w")
    except OSError as error:
        raise UserError(f"{path.parent}: cannot be written: {error.strerror}; nothing was kept") from None
    with lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def load(path: Path) -> Ledger:
    """The ledger in a file, empty where there is none. Raises UserError when a line has been changed."""
    ledger = Ledger()
    text = path.read_bytes() if path.exists() else b""
    for number, written in enumerate(text.splitlines(), 1):
        try:
            line = msgspec.json.decode(written, type=Line)
            ledger = ledger.predict(line.prediction) if line.outcome is None else ledger.close(line.outcome)
        except (msgspec.DecodeError, OutOfRange) as error:
            raise UserError(f"{path}: line {number} cannot be what was written: {error}") from None
        row = ledger.rows[-1]
        if row.digest != line.digest or row.prediction != line.prediction:
            raise UserError(f"{path}: line {number} has been changed since it was written; its digest differs")
    return ledger


def append(path: Path, ledger: Ledger) -> None:
    """Add the last row of the ledger to the file, and see it on the disk."""
    row = ledger.rows[-1]
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("ab") as file:
        file.write(msgspec.json.encode(Line(row.prediction, row.digest, row.outcome)) + b"\n")
        file.flush()
        os.fsync(file.fileno())
