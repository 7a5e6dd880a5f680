"""Files that are there whole or not at all: written beside, forced to the disk, then renamed."""

import os
from pathlib import Path

UNFINISHED = ".unfinished"


def write_beside(path: Path, data: bytes) -> Path:
    """`data` in a file beside `path`, safe on the disk; give it to `replace` to make it the file at `path`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.{os.getpid()}{UNFINISHED}")
    try:
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
        try:
            left = memoryview(data)
            while left:
                left = left[os.write(handle, left) :]
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError:
        discard(beside)
        raise
    return beside


def replace(beside: Path, path: Path) -> None:
    os.replace(beside, path)
    sync_folder(path.parent)


def discard(path: Path) -> None:
    path.unlink(missing_ok=True)


def sync_folder(folder: Path) -> None:
    """Force the names in a folder to the disk, where the system can (Windows cannot open a folder)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
