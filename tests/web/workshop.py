"""An invented railway workshop for the page tests: a real store filled with packs, and the live picture beside it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from sootline import profile
from sootline.alarms import Acknowledgement, Alarm, Shelf
from sootline.analysis.causes.search import answered
from sootline.analysis.watch import Watch
from sootline.lifecycle import merge
from sootline.live import Acknowledge, Act, Confirm, Live, Log, Reread, Serve, Tell, Try, Undo
from sootline.logbook import Logged
from sootline.now import FurnaceNow, Phase, Readiness, Reading
from sootline.profile import LogEntry
from sootline.series import Floats, Rows
from sootline.store import Store
from sootline.wire.encode import packs
from sootline.wire.pack import Pack, parse

HOUR_MS = 3_600_000
NOW_MS = 1_768_575_600_000  # Fri 16 Jan 2026 15:00 UTC
PROFILE = """
[furnace]
id = "engine-shed"
heating = "keep-warm"
[refill]
limit_s = 20.0
[tank]
setpoint_C = 65.0
limit_C = 95.0
[nozzle]
setpoint_C = 95.0
limit_C = 130.0
[stack]
limit_C = 380.0
"""
CHROMIUM = "/usr/bin/chromium"
CHROMIUM_ARGS = ["--no-sandbox", "--headless=new", "--disable-gpu", "--disable-dev-shm-usage",
                 "--host-resolver-rules=MAP workshop.lan 127.0.0.1"]  # fmt: skip
SIZES = {"phone": {"width": 360, "height": 740}, "desk": {"width": 1280, "height": 800}}
BOARD: Mapping[str, Any] = {
    "online": True, "version": 1, "firmware": "0.1.0", "boot": "b1", "reset": "power", "interval": 5,
    "idle_interval": 60, "uptime": 86_000, "buffered": 0, "buffered_oldest_s": 0, "heap_free": 61_440,
    "rssi": -61, "clock": "synced",
}  # fmt: skip


class StagedLive(Live):
    """The live picture of the service, with a stage hand in place of its worker."""

    def __init__(self) -> None:
        super().__init__(self._answer)
        self.store: Store | None = None
        self.acts: list[tuple[Any, ...]] = []

    def put(self, *furnaces: FurnaceNow) -> None:
        self.show(furnaces)

    def clear(self) -> None:
        with self._changed:
            self._furnaces.clear()
            self._troubles = ()
            self._version += 1
            self.acts.clear()
            self._changed.notify_all()

    def _answer(self, act: Act) -> None:
        if isinstance(act, Log):
            self.acts.append(("log", act.logged, act.photo))
            act.done.set_result(True)
            return
        if isinstance(act, Reread):
            self.acts.append(("reread", act.furnace))
            act.done.set_result(True)
            return
        if isinstance(act, Tell):
            assert self.store is not None
            further = answered(self.store.search(act.search.id) or act.search, act.answer)
            if further is not None:
                with self.store.batch() as batch:
                    batch.search(further)
            act.done.set_result(further is not None)
            return
        if isinstance(act, Undo):
            self.acts.append(("undo", act.id, act.by))
            act.done.set_result(True)
            return
        if isinstance(act, Serve):
            self.acts.append(("serve", act.furnace, act.until_ms, act.by, act.reason))
            act.done.set_result(True)
            return
        if isinstance(act, Confirm | Try):
            said = ("confirm", act.contact, act.code, act.by) if isinstance(act, Confirm) else ("try", act.contact)
            self.acts.append(said)
            act.done.set_result(act.contact == "Maud" and (isinstance(act, Try) or act.code == "4821"))
            return
        furnace = self.now(act.key[0])
        there = furnace is not None and any(alarm.key == act.key for alarm in furnace.alarms)
        if there:
            assert furnace is not None
            taken = Acknowledgement(act.by, NOW_MS) if isinstance(act, Acknowledge) else None
            shelf = None if isinstance(act, Acknowledge) else Shelf(act.by, act.reason, NOW_MS, act.until_ms)
            changed = tuple(
                merge(alarm, taken, shelf, NOW_MS) if alarm.key == act.key else alarm for alarm in furnace.alarms
            )
            self.acts.append(("acknowledge", act.key, act.by) if taken else ("shelve", act.key, shelf))
            self.put(replace(furnace, alarms=changed))
        act.done.set_result(there)


@dataclass
class Workshop:
    """A store and a live picture of the same furnaces. `now_ms` is the clock of the pages."""

    folder: Path
    live: StagedLive = field(default_factory=StagedLive)
    now_ms: int = NOW_MS

    def __post_init__(self) -> None:
        self.store = self.live.store = Store.open(self.folder)

    def close(self) -> None:
        self.store.close()

    def store_rows(self, furnace: str, *parts: Rows, boot: str = "b1") -> None:
        """Store rows of one boot by the wire form and the normal reading of it."""
        boot_ms = int(parts[0].t_ms[0])
        seq = 0
        for rows in parts:
            with self.store.batch() as batch:
                for encoded in packs(rows, furnace, boot, boot_ms, samples=200, first_seq=seq):
                    pack = parse(furnace, encoded.payload)
                    assert isinstance(pack, Pack) and pack.base_ms is not None
                    batch.pack(pack, self.now_ms, pack.base_ms)
                    seq = encoded.seq + 1

    def keep(self, furnace: str, *parts: Rows) -> None:
        """Store rows, and what the analysis finds in them."""
        self.store_rows(furnace, *parts)
        watch = Watch(profile.parse(PROFILE), lambda start, end: self.store.read(furnace, start, end))
        for rows in parts:
            update = watch.arrived(rows, self.now_ms)
            with self.store.batch() as batch:
                batch.alarms(update.alarms, update.removed)
                batch.events(update.events, update.removed_events)

    def remember(self) -> None:
        """A past as a workshop has one: alarms with their evidence and consequences, log entries, unusable messages."""
        day_ms = 24 * HOUR_MS
        stalled = NOW_MS - 2 * day_ms
        past = (
            alarm(raised_ms=stalled, found_ms=stalled, cleared_ms=stalled + 78 * 60_000, state="returned",
                  acknowledged=Acknowledgement("Maud", stalled + 240_000)),
            alarm("preheat-stalled", raised_ms=stalled + 2_600_000, found_ms=stalled + 2_600_000, state="suppressed",
                  cleared_ms=stalled + 80 * 60_000, suppressed_by="refill-timeout", channel="tank", detail={}),
            alarm("board-offline", priority="medium", raised_ms=NOW_MS - 3 * day_ms, found_ms=NOW_MS - 3 * day_ms,
                  cleared_ms=NOW_MS - 3 * day_ms + 95 * 60_000, state="returned", detail={},
                  first_step="Check the board's power supply and the Wi-Fi."),
        )  # fmt: skip
        with self.store.batch() as batch:
            batch.alarms(past)
            repaired = LogEntry(stalled + 80 * 60_000, "repair", note="New gasket at the bowl")
            batch.log(Logged("repaired1", "engine-shed", repaired, "Maud", repaired.at_ms + 20_000))
            turned = LogEntry(NOW_MS - 3 * day_ms, "setpoint", "tank", 65.0)
            batch.log(Logged("turned-up1", "engine-shed", turned, "Jory", turned.at_ms))
            wrong = LogEntry(NOW_MS - 2 * day_ms, "cleaning")
            batch.log(Logged("cleaned-1", "engine-shed", wrong, "Pim", wrong.at_ms))
            batch.undo("cleaned-1", "Maud", wrong.at_ms + 600_000)
            for i in range(3):
                batch.set_aside(
                    NOW_MS - 90_000 - i, "sootline/engine-shed/measurements", b"{", "not a SenML pack", "engine-shed"
                )
            batch.set_aside(NOW_MS - 600_000, "barn/lamp", b"on", "not a topic of a furnace", "")


def fill(shop: Workshop) -> None:
    """Four days of `engine-shed`, the last at five seconds, and the past of a workshop."""
    shop.keep("engine-shed", days(NOW_MS - 24 * HOUR_MS, 72.0, 20.0), days())
    shop.remember()


def _pump_runs(seconds: float) -> tuple[Floats, Floats]:
    """Begin and length [s] of every refill in `seconds`: one in 390 s while it burns."""
    begin = np.concatenate([np.arange(390.0, 3300.0, 390.0) + cycle for cycle in np.arange(0.0, seconds, 9600.0)])
    begin = np.round(begin[begin < seconds - 60.0])
    return begin, np.round(10.7 + 0.3 * np.sin(begin), 1)


def days(now_ms: int = NOW_MS, hours: float = 24.0, interval_s: float = 5.0) -> Rows:
    """Working days: nine firings each, refills while it burns, oil kept warm; one hour without readings.

    As a board sends them: at every interval, and at each change of the pump with its sum.
    """
    begin, length = _pump_runs(hours * 3600.0)
    s = np.unique(np.concatenate([np.arange(0.0, hours * 3600.0, interval_s), begin, begin + length]))
    s = s[(s < 10 * 3600) | (s > 11 * 3600)]
    cycle = s % 9600.0
    firing = cycle < 3300.0
    rise = np.where(firing, 1 - np.exp(-cycle / 240.0), np.exp(-(cycle - 3300.0) / 900.0))
    after = np.where(firing, 0.0, cycle - 3300.0)
    last = np.searchsorted(begin, s, "right") - 1
    since = np.where(last >= 0, s - begin[last], 1e9)
    pump = since < length[last] - 0.01
    total = np.concatenate([[0.0], np.cumsum(length)])
    columns = {
        "stack": 24.0 + 262.0 * rise + 1.5 * np.sin(s / 37.0),
        "tank": 65.0 + 0.6 * np.sin(s / 700.0) - 3.2 * np.exp(-since / 120.0),
        "nozzle": 95.0 + 0.8 * np.sin(s / 300.0) + 12.0 * (1 - np.exp(-after / 600.0)) * np.exp(-after / 2400.0),
        "pump": pump.astype(np.float64),
    }
    on_s = total[last] + np.minimum(since, length[last])
    return Rows(
        now_ms - round(hours * HOUR_MS) + np.round(s * 1000).astype(np.int64),
        {name: np.round(values, 2) for name, values in columns.items()},
        {"pump": np.round(np.where(last >= 0, on_s, 0.0), 1)},
    )


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
                 "evidence": ["no cold oil reached the tank", "earlier refills were normal"],
                 "first": "Look at the supply level, then at the filter bowl for bubbles."},
                {"cause": "Plugged filter", "probability": 0.2, "evidence": ["refills 9 % longer this week"]},
            ],
        },
    )  # fmt: skip
    return replace(made, **changes)
