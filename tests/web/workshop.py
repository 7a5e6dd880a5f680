"""An invented railway workshop for the page tests: a real store filled with packs, and a small `Live` beside it."""

import threading
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from sootline.alarms import Acknowledgement, Alarm
from sootline.now import FurnaceNow, Phase, Readiness, Reading
from sootline.profile import LogEntry
from sootline.series import Rows
from sootline.store import Store
from sootline.wire.encode import packs
from sootline.wire.pack import Pack, parse

HOUR_MS = 3_600_000
NOW_MS = 1_768_575_600_000  # Fri 16 Jan 2026 15:00 UTC
CHROMIUM = "/usr/bin/chromium"
CHROMIUM_ARGS = ["--no-sandbox", "--headless=new", "--disable-gpu", "--disable-dev-shm-usage"]
SIZES = {"phone": {"width": 360, "height": 740}, "desk": {"width": 1280, "height": 800}}
BOARD: Mapping[str, Any] = {
    "online": True, "version": 1, "firmware": "0.1.0", "boot": "b1", "reset": "power", "interval": 5,
    "idle_interval": 60, "uptime": 86_000, "buffered": 0, "buffered_oldest_s": 0, "heap_free": 61_440,
    "rssi": -61, "clock": "synced",
}  # fmt: skip


class SmallLive:
    """The live interface of the pages, told what to say."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._furnaces: dict[str, FurnaceNow] = {}
        self._version = 0
        self.acts: list[tuple[Any, ...]] = []

    @property
    def version(self) -> int:
        return self._version

    def wait(self, version: int, timeout_s: float) -> int:
        with self._changed:
            self._changed.wait_for(lambda: self._version > version, timeout_s)
            return self._version

    def furnaces(self) -> tuple[FurnaceNow, ...]:
        with self._changed:
            return tuple(self._furnaces[name] for name in sorted(self._furnaces))

    def put(self, *furnaces: FurnaceNow) -> None:
        with self._changed:
            self._furnaces |= {now.furnace: now for now in furnaces}
            self._version += 1
            self._changed.notify_all()

    def clear(self) -> None:
        with self._changed:
            self._furnaces.clear()
            self._version += 1
            self.acts.clear()
            self._changed.notify_all()

    def acknowledge(self, key: tuple[str, str, str | None, int], by: str) -> bool:
        now = self._furnaces.get(key[0])
        if now is None or all(alarm.key != key for alarm in now.alarms):
            return False
        taken = tuple(
            replace(alarm, state="acknowledged", acknowledged=Acknowledgement(by, NOW_MS))
            if alarm.key == key
            else alarm
            for alarm in now.alarms
        )
        self.acts.append(("acknowledge", key, by))
        self.put(replace(now, alarms=taken))
        return True

    def log(self, furnace: str, entry: LogEntry, by: str) -> None:
        self.acts.append(("log", furnace, entry, by))


@dataclass
class Workshop:
    """A store and a live picture of the same furnaces. `now_ms` is the clock of the pages."""

    folder: Path
    live: SmallLive = field(default_factory=SmallLive)
    now_ms: int = NOW_MS

    def __post_init__(self) -> None:
        self.store = Store.open(self.folder)

    def close(self) -> None:
        self.store.close()

    def keep(self, furnace: str, rows: Rows) -> None:
        """Store rows by the wire form and the normal reading of it."""
        boot_ms = int(rows.t_ms[0])
        with self.store.batch() as batch:
            for encoded in packs(rows, furnace, "b1", boot_ms, samples=200):
                pack = parse(furnace, encoded.payload)
                assert isinstance(pack, Pack) and pack.base_ms is not None
                batch.pack(pack, self.now_ms, pack.base_ms)


def day(now_ms: int = NOW_MS, hours: float = 24.0, interval_s: float = 5.0) -> Rows:
    """A working day: nine firings, refills while it burns, oil kept warm; one hour without readings."""
    t_ms = np.arange(now_ms - round(hours * HOUR_MS), now_ms, round(interval_s * 1000), np.int64)
    s = (t_ms - t_ms[0]) / 1000.0
    cycle = s % 9600.0
    firing = cycle < 3300.0
    rise = np.where(firing, 1 - np.exp(-cycle / 240.0), np.exp(-(cycle - 3300.0) / 900.0))
    stack = 24.0 + 262.0 * rise + 1.5 * np.sin(s / 37.0)
    pump = firing & (cycle % 390.0 < 11.0) & (cycle > 60.0)
    tank = 65.0 + 1.2 * np.sin(s / 700.0) - np.where(firing, 3.2 * np.exp(-(cycle % 390.0) / 120.0), 0.0)
    nozzle = 95.0 + 0.8 * np.sin(s / 300.0) + np.where(firing, 0.0, 9.0 * rise)
    keep = ~((s > 10 * 3600) & (s < 11 * 3600))
    columns = {"stack": stack, "tank": tank, "nozzle": nozzle, "pump": pump.astype(np.float64)}
    return Rows(t_ms[keep], {name: np.round(values[keep], 2) for name, values in columns.items()})


READY = tuple(
    Readiness(alarm, "ready")
    for alarm in (
        "refill-timeout",
        "pump-overrun",
        "oil-overtemperature",
        "stack-high",
        "board-offline",
        "preheat-slow",
    )
)
BLIND = tuple(
    Readiness(alarm, "blind", needs=needs)
    for alarm, needs in (
        ("leak", "leak"), ("freeze-risk", "room"), ("supply-low", "supply_level"), ("air-pressure", "air_pressure"),
        ("ignition-delayed", "burner or flame"),
    )
)  # fmt: skip
LEARNING = (Readiness("refill-slowing", "learning", 20, 20), Readiness("stack-rising", "learning", 7, 30))

VALUES: Mapping[str, float] = {
    "tank": 64.8, "nozzle": 95.2, "stack": 284.0, "pump": 0.0, "room": 17.4, "outdoor": -8.2, "supply_level": 0.62,
    "call": 1.0, "burner": 1.0, "air_pressure": 96_500.0, "draft_breech": -11.2, "flame": 1.0, "supply": 5.4,
}  # fmt: skip


def furnace_now(
    furnace: str = "engine-shed",
    phase: Phase = "firing",
    alarms: tuple[Alarm, ...] = (),
    readiness: tuple[Readiness, ...] = READY + BLIND,
    now_ms: int = NOW_MS,
    old_s: float = 4.0,
    **values: float | str,
) -> FurnaceNow:
    """A furnace as the service would give it; a text among `values` is a fault of that sensor."""
    t_ms = now_ms - round(old_s * 1000)
    given = {**VALUES, **values}
    readings = {
        name: Reading(t_ms, None, value) if isinstance(value, str) else Reading(t_ms, value)
        for name, value in given.items()
    }
    return FurnaceNow(furnace, phase, now_ms - 740_000, readings, alarms, readiness, t_ms, BOARD)


def alarm(
    name: str = "refill-timeout",
    furnace: str = "engine-shed",
    now_ms: int = NOW_MS,
    minutes_ago: float = 18.0,
    **changes: Any,
) -> Alarm:
    """A refill stall, or what `changes` make of it."""
    raised = now_ms - round(minutes_ago * 60_000)
    made = Alarm(
        furnace, name, None, "high", "unacknowledged", raised, None, raised + 300, "none",
        "Look at the supply level and the filter bowl; mend the cause, then push the refill reset once.",
        {
            "on_time_s": 20.0, "limit_s": 20.0, "dip_K": 0.2, "usual_dip_K": 3.2, "fire_left_min": 43.0,
            "act_within_min": 40,
            "causes": [
                {"cause": "Supply empty, valve shut or air leak at the filter bowl", "probability": 0.72,
                 "evidence": ["no cold oil reached the tank", "earlier refills were normal"]},
                {"cause": "Plugged filter", "probability": 0.2, "evidence": ["refills 9 % longer this week"]},
            ],
        },
    )  # fmt: skip
    return replace(made, **changes)
