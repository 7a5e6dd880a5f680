"""A stored past to read: a furnace's packs, and the firings, refills and steady stacks that the analysis kept of them.

Invented: four firings of two hours a day, a stack that rises by the burning hour, oil by the float differential, and
weather that repeats every ten days. The last firing of a day ends at 14:00.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sootline.events import Event
from sootline.logbook import Logged
from sootline.profile import LogEntry
from sootline.series import Rows, merge
from sootline.store import Store
from sootline.wire.encode import packs
from sootline.wire.pack import Pack, parse

DAY_MS = 86_400_000
HOUR_MS = 3_600_000
START_MS = 1_767_571_200_000  # Mon 5 Jan 2026 00:00 UTC
PROFILE = """
[furnace]
id = "engine-shed"
rated_input_kW = 52.0
clean_on = 2026-01-05
[refill]
differential_l = 0.45
[stack]
limit_C = 380.0
[supply]
volume_l = 1000.0
[cleaning]
at_rise_K = 60.0
cost = 90.0
oil_value_per_l = 0.6
"""
FIRINGS, FIRING_H, REFILLS = 4, 2.0, 18  # a day, hours each, refills a firing: one in 400 s


def outdoor_C(day: int) -> float:
    return -4.0 + 5.0 * float(np.sin(2 * np.pi * day / 10.0))


@dataclass
class Past:
    """Builds up the past of one furnace day by day. hours: burned since clean; the draft weakens by 0.1 Pa a kelvin."""

    folder: Path
    rise_K_per_h: float = 0.15
    furnace: str = "engine-shed"
    day: int = 0
    hours: float = 0.0
    total_h: float = 0.0
    learned: int = 0
    draft_clean_Pa: float | None = None
    outdoors: bool = True
    probe_tau_s: float | None = None  # the stack probe's response; None: no stack readings are kept
    probe_off_K: float = 0.3
    returned_C: float | None = None  # return air beside the stack

    def __post_init__(self) -> None:
        (self.folder / "profiles").mkdir(parents=True, exist_ok=True)
        (self.folder / "profiles" / f"{self.furnace}.toml").write_text(PROFILE)

    def burn(self, days: int, step_K: float = 0.0, refills: int = REFILLS) -> None:
        """So many more days; step_K: what stands on the stack besides the rise."""
        events = []
        with Store.open(self.folder) as store:
            for day in range(self.day, self.day + days):
                events += self._day(day, step_K, refills)
            rows = self._rows(self.day, self.day + days)
            with store.batch() as batch:
                batch.events(events)
                for encoded in packs(rows, self.furnace, f"b{self.day}", int(rows.t_ms[0]), samples=200):
                    pack = parse(self.furnace, encoded.payload)
                    assert isinstance(pack, Pack) and pack.base_ms is not None
                    batch.pack(pack, int(rows.t_ms[-1]), pack.base_ms)
        self.day += days

    def log(self, kind: str) -> None:
        """Logged at the midnight that has been reached; a cleaning takes the rise away."""
        at_ms = START_MS + self.day * DAY_MS
        entry = LogEntry(at_ms, kind)  # type: ignore[arg-type]
        with Store.open(self.folder) as store, store.batch() as batch:
            batch.log(Logged(f"{kind}-{at_ms}", self.furnace, entry, "Maud", at_ms))
        if kind == "cleaning":
            self.hours, self.learned = 0.0, 0

    def _day(self, day: int, step_K: float, refills: int) -> list[Event]:
        noise = np.random.default_rng(day).normal(0.0, 2.0, FIRINGS)
        events = []
        for k in range(FIRINGS):
            start_ms = START_MS + day * DAY_MS + k * 4 * HOUR_MS
            end_ms = start_ms + round(FIRING_H * HOUR_MS)
            self.hours, self.total_h, self.learned = self.hours + FIRING_H, self.total_h + FIRING_H, self.learned + 1
            weather_K = -0.8 * (outdoor_C(day) + 4.0)
            residual = self.rise_K_per_h * self.hours + step_K + float(noise[k])
            net = 262.0 + weather_K + residual
            lit = {"burned_s": FIRING_H * 3600, "stack_end": net + 15.0, "return_air_end": 15.0,
                   "outdoor_end": outdoor_C(day), "room_end": 16.0, "nozzle_end": None}  # fmt: skip
            steady = {"burned_total_h": self.total_h, "net_K": net, "supply_rise_K": 42.0 + 0.1 * float(noise[k]),
                      "residual_K": residual if self.learned > 30 else None}  # fmt: skip
            events.append(Event(self.furnace, "firing", start_ms, end_ms, lit))
            events.append(Event(self.furnace, "steady", start_ms, end_ms, steady))
            each_ms = round(FIRING_H * HOUR_MS / refills)
            for i in range(refills):
                at_ms = start_ms + (i + 1) * each_ms - 20_000
                filled = {"on_time_s": 10.7, "tank_C": 65.0, "burned_s": each_ms / 1000, "stalled": False}
                events.append(Event(self.furnace, "refill", at_ms, at_ms + 10_700, filled))
        return events

    def _rows(self, first: int, last: int) -> Rows:
        t_ms = START_MS + first * DAY_MS + np.arange((last - first) * 24 * 12, dtype=np.int64) * 300_000
        days = (t_ms - START_MS) // DAY_MS
        columns = {
            "outdoor": np.array([outdoor_C(int(day)) for day in days]),
            "supply_level": np.round(0.9 - 0.0002 * (t_ms - t_ms[0]) / HOUR_MS, 3),
            "tank": np.full(len(t_ms), 65.0),
        }
        if not self.outdoors:
            del columns["outdoor"]
        if self.draft_clean_Pa is not None:
            columns["draft_fire"] = self.draft_clean_Pa + 0.1 * self.rise_K_per_h * FIRINGS * FIRING_H * days
        rows = Rows(t_ms, columns)
        return rows if self.probe_tau_s is None else merge([rows, self._stack(first, last)])

    def _stack(self, first: int, last: int) -> Rows:
        """Stack and room every 5 s from 2 min before a firing to 10 min in, and at 20:10-20:25, six hours off.

        Gas warms with 60 s, the probe follows it with its own time constant: two lags in a row. Cold flue: 16 °C.
        """
        assert self.probe_tau_s is not None
        gas_s, probe_s = 60.0, self.probe_tau_s
        lit_s = np.arange(-120, 601, 5, dtype=np.int64)
        t = np.maximum(lit_s, 0.0)
        shape = 1 - (gas_s * np.exp(-t / gas_s) - probe_s * np.exp(-t / probe_s)) / (gas_s - probe_s)
        cold_s = np.arange(0, 900, 60, dtype=np.int64)
        t_ms, stack = [], []
        for day in range(first, last):
            noise = np.random.default_rng(1000 + day)
            rise_K = self.rise_K_per_h * FIRINGS * FIRING_H * day
            for k in range(FIRINGS):
                t_ms.append(START_MS + day * DAY_MS + k * 4 * HOUR_MS + lit_s * 1000)
                start_C = 16.0 if k == 0 else 60.0
                stack.append(start_C + (277.0 + rise_K - start_C) * shape + noise.normal(0.0, 0.3, len(lit_s)))
            t_ms.append(START_MS + day * DAY_MS + 20 * HOUR_MS + (600 + cold_s) * 1000)
            stack.append(16.0 + noise.normal(0.0, 0.3, len(cold_s)))
        at, read = np.concatenate(t_ms), np.concatenate(stack) + self.probe_off_K
        inside = at >= START_MS + first * DAY_MS
        columns = {"stack": read[inside], "room": np.full(int(inside.sum()), 16.0)}
        if self.returned_C is not None:
            columns["return_air"] = np.full(int(inside.sum()), self.returned_C)
        return Rows(at[inside], columns)
