"""Stores of every released layout, kept as text and day files, and what they must read as.

python -m tests.store.layouts N      writes tests/store/released/N from today's code, once, when layout N is released
"""

import sqlite3
import sys
import tempfile
from pathlib import Path

from sootline.alarms import Shelf
from sootline.events import Event
from sootline.logbook import Logged
from sootline.messages.message import Message
from sootline.profile import LogEntry
from sootline.series import SensorFault
from sootline.store import Store, parts, schema
from tests.store.making import DAY_MS, FURNACE, START_MS, day_packs, pack, rows
from tests.store.test_records import ALARM

FOLDER = Path(__file__).with_name("released")
EVENT = Event(FURNACE, "refill", START_MS, START_MS + 9000, {"on_time_s": 9.1, "full": True, "dip_K": None})
ENTRY = LogEntry(START_MS, "setpoint", "tank", 65.0, "winter")
SHELF = Shelf("Idris", "", START_MS + 61, START_MS + 10**6)  # the first layout had no reason
MESSAGE = Message("0ABC123", "Ffion", "raised", START_MS, START_MS, "title", "body", key=ALARM.key, priority="medium")
LOGGED = Logged("engine-shed-1767225600000-setpointtank", FURNACE, ENTRY, "", START_MS)  # as layout 1 is brought up
WORD = {"online": True, "boot": "b1", "interval": 5}


def packs():
    """A sealed day, hours of the next, loose packs, one without a clock, and one with faults."""
    yield from day_packs(2, every=720)
    yield pack(900, rows([0], (SensorFault(7, "stack", "open"),), room=[18.5]), base_ms=START_MS + 2 * DAY_MS)
    yield pack(901, rows([0], tank=[61.5]), clock=False, boot="b2")


def fill(store: Store) -> None:
    with store.batch() as batch:
        for p in packs():
            base_ms = p.base_ms if p.base_ms is not None else START_MS + 3 * DAY_MS
            batch.pack(p, base_ms + 40, base_ms)
        batch.alarms(put=[ALARM])
        batch.acknowledge(ALARM.key, "Ffion", START_MS + 60)
        batch.shelve(ALARM.key, SHELF)
        batch.messages([MESSAGE])
        batch.events(put=[EVENT])
        batch.log(LOGGED)
        batch.announce(FURNACE, START_MS, WORD)
        batch.set_aside(START_MS, f"sootline/{FURNACE}/measurements", b"{}", "not a SenML pack")
        batch.remember("small", {"value": 1})
    store.compact(START_MS + DAY_MS + 12 * 3_600_000)


def rebuild(layout: int, folder: Path) -> None:
    """The store of a released layout, as it was."""
    kept = FOLDER / str(layout)
    db = sqlite3.connect(folder / schema.FILE)
    db.executescript((kept / "sootline.sql").read_text())
    db.execute(f"PRAGMA user_version = {layout}")
    db.close()
    for path in kept.glob("*.parquet"):
        copy = folder / parts.DAYS / FURNACE / path.name
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(path.read_bytes())


def main(layout: int) -> None:
    if layout != schema.LAYOUT:
        raise SystemExit(f"this code writes layout {schema.LAYOUT}, not {layout}")
    kept = FOLDER / str(layout)
    kept.mkdir(parents=True)
    with tempfile.TemporaryDirectory() as name:
        with Store.open(Path(name)) as store:
            fill(store)
        db = sqlite3.connect(Path(name) / schema.FILE)
        (kept / "sootline.sql").write_text("\n".join(db.iterdump()) + "\n")
        db.close()
        for path in (Path(name) / parts.DAYS / FURNACE).iterdir():
            (kept / path.name).write_bytes(path.read_bytes())


if __name__ == "__main__":
    main(int(sys.argv[1]))
