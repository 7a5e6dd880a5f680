"""Text files that are there whole, old or new, whatever happens while they are written."""

import os
from pathlib import Path


def write_whole(path: Path, text: str) -> None:
    """Put `text` at `path` in one step, on the disk when this returns; who may read it stays as it was."""
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_name(f".{path.name}.new")
    with draft.open("w", encoding="utf-8", newline="") as out:
        out.write(text)
        out.flush()
        os.fsync(out.fileno())
    if path.exists():
        os.chmod(draft, path.stat().st_mode & 0o777)
    os.replace(draft, path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)  # the new name lasts, too
    finally:
        os.close(folder)
