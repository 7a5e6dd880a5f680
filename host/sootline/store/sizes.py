"""How much there is of everything, and how much there will be."""

import shutil
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from sootline.store import schema

YEAR_DAYS = 365.25


@dataclass(frozen=True, slots=True)
class FurnaceSize:
    """What is kept of one furnace. waiting: rows that are not yet in the file of their day."""

    furnace: str
    first_ms: int
    last_ms: int
    days: int
    day_bytes: int
    rows: int
    waiting: int

    @property
    def bytes_a_day(self) -> float | None:
        """Mean size of a sealed day, or None before the first."""
        return self.day_bytes / self.days if self.days else None

    def forecast_bytes(self, raw_days: float | None) -> float | None:
        """Size of the day files when `raw_days` (None: ten years) of running every day are kept."""
        mean = self.bytes_a_day
        return None if mean is None else mean * (10 * YEAR_DAYS if raw_days is None else raw_days)


@dataclass(frozen=True, slots=True)
class Sizes:
    """furnaces: by name; database_bytes: the SQLite file; free_bytes: what is free on its disk."""

    furnaces: tuple[FurnaceSize, ...]
    database_bytes: int
    free_bytes: int


def furnace_sizes(db: sqlite3.Connection) -> tuple[FurnaceSize, ...]:
    rows = db.execute(
        "SELECT name, min(first), max(last), sum(file), sum(file * bytes), sum(rows), sum(rows * (1 - file)) FROM"
        " (SELECT furnace, first_ms AS first, last_ms AS last, file IS NOT NULL AS file, byte_count AS bytes,"
        "  row_count AS rows FROM part"
        " UNION ALL SELECT boot.furnace, first_ms, last_ms, 0, length(rows), length(rows) /"
        "  (8 + 8 * (1 + length(names) - length(replace(names, ' ', '')))) FROM pack JOIN boot ON boot.id = pack.boot"
        "  JOIN columns ON columns.id = pack.columns WHERE length(rows))"
        " JOIN furnace ON furnace.id = furnace GROUP BY name ORDER BY name"
    )
    return tuple(FurnaceSize(*row) for row in rows)


def sizes(db: sqlite3.Connection, folder: Path) -> Sizes:
    paths = (folder / (schema.FILE + ending) for ending in ("", "-wal"))
    database = sum(path.stat().st_size for path in paths if path.exists())
    return Sizes(furnace_sizes(db), database, shutil.disk_usage(folder).free)
