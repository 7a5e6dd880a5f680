"""The file of the used-oil batches: a line each, only ever added to."""

import os
from pathlib import Path

import msgspec

from sootline.errors import OutOfRange, UserError
from sootline.heat.used_oil import OilBatch


def path_of(folder: Path) -> Path:
    return folder / "oil" / "batches.jsonl"


def load(path: Path) -> list[OilBatch]:
    """The batches in a log file, in the order they were written; none where there is no file.

    Raises: UserError for a line that is no batch
    """
    batches = []
    for number, line in enumerate(path.read_bytes().splitlines() if path.exists() else (), 1):
        try:
            batches.append(msgspec.json.decode(line, type=OilBatch))
        except (msgspec.DecodeError, OutOfRange) as error:
            raise UserError(f"{path}: line {number} is no batch: {error}; put it right or take it out") from None
    return batches


def append(path: Path, batch: OilBatch) -> None:
    """Add a batch at the end of the log file, and see it on the disk."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("ab") as file:
        file.write(msgspec.json.encode(batch) + b"\n")
        file.flush()
        os.fsync(file.fileno())
