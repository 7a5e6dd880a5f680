"""A furnace that has run long enough to be known, and then something happens to it.

The long run before is made once for each furnace and seed and copied for every case. The furnace reports all its
channels; the three sets watch the same readings through fewer of them.
"""

import pickle
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np

from sootline.alarms import Alarm
from sootline.analysis.engine import Engine
from sootline.analysis.sampling import Sampling
from sootline.channels import CHANNELS
from sootline.profile import LogEntry, Profile, parse
from sootline.series import Rows
from sootline.sim.faults import Fault
from sootline.sim.furnace import Furnace
from sootline.sim.run import _Board  # the board of `simulate`, here stopped and copied on its way
from sootline.sim.spec import FurnaceSpec
from sootline.sim.weather import Weather
from sootline.sim.workshop import CARRIAGE_SHOP, ENGINE_SHED, PROFILES

MINUTE_MS, HOUR_MS, DAY_MS = 60_000, 3_600_000, 86_400_000
START_MS = 1_767_571_200_000  # 5 January 2026
SPECS: dict[str, FurnaceSpec] = {
    "shed": replace(ENGINE_SHED, supply_volume_l=2500.0, supply_start_l=2200.0),
    "shop": replace(CARRIAGE_SHOP, channels=tuple(CHANNELS), supply_volume_l=2500.0, supply_start_l=2200.0),
}
FOUR = ("tank", "nozzle", "stack", "pump")
SETS: dict[str, tuple[str, ...]] = {
    "four": FOUR,
    "seven": (*FOUR, "float", "call", "return_air"),
    "all": tuple(CHANNELS),
}

Edit = Callable[[Rows, int], Rows]


@dataclass(frozen=True)
class Happens:
    """A fault or a deed, `after_h` hours into the case; with once_on, that long after that channel next comes on from
    `from_h` hours on; once_on="the last": after the happening before."""

    name: str
    after_h: float = 0.0
    size: float | None = None
    on: str = ""
    lasts_h: float | None = None
    once_on: str = ""
    from_h: float = 0.0
    details: dict[str, Any] = field(default_factory=dict)
    deed: bool = False


@dataclass(frozen=True)
class Case:
    """alarm[/channel]: the alarm whose causes are asked for
    expect: what is really the matter; any of these where the tree has them in one branch
    branch: what also counts on the required four and the seven, where nothing measured can tell them apart
    edit: makes physical what the model cannot, on the rows after the start of the case
    """

    id: str
    alarm: str
    expect: tuple[str, ...]
    spec: str
    seed: int
    happens: tuple[Happens, ...] = ()
    hours: float = 24.0
    branch: tuple[str, ...] = ()
    log: tuple[tuple[float, str], ...] = ()
    edit: Edit | None = None
    warm_days: float = 8.25
    mean_C: float = -4.0


@lru_cache(maxsize=12)
def known(spec: str, seed: int, warm_days: float, mean_C: float) -> tuple[bytes, dict[str, bytes]]:
    """(furnace with its board, engine of each set) after the run before, at six in the morning."""
    weather = Weather(seed, mean_C=mean_C, spread_K=2.5)
    furnace = Furnace(SPECS[spec], seed, START_MS, (), weather)
    board = _Board(furnace, SPECS[spec].channels, 5000, 60_000)
    end_ms = START_MS + round(warm_days * DAY_MS)
    board.run(end_ms)
    rows = board.rows(seed, end_ms)
    engines = {}
    for name, channels in SETS.items():
        engine = Engine(_profile(spec), sampling=Sampling())
        engine.feed(only(rows, channels))
        engines[name] = pickle.dumps(engine)
    return pickle.dumps(board), engines


def _profile(spec: str) -> Profile:
    return parse(PROFILES[SPECS[spec].id].replace("volume_l = 900.0", "volume_l = 2500.0"))


def only(rows: Rows, channels: tuple[str, ...]) -> Rows:
    """The same readings from a board with fewer channels."""
    values = {name: column for name, column in rows.values.items() if name in channels}
    on_s = {name: column for name, column in rows.on_s.items() if name in channels}
    return Rows(rows.t_ms, values, on_s, tuple(fault for fault in rows.faults if fault.channel in channels))


def rows_of(case: Case) -> Rows:
    """What the board reports from the start of the case on."""
    board = pickle.loads(known(case.spec, case.seed, case.warm_days, case.mean_C)[0])
    furnace: Furnace = board.furnace
    start_ms = furnace.t_ms
    end_ms = start_ms + round(case.hours * HOUR_MS)
    at_ms = start_ms
    for happens in case.happens:
        since_ms = start_ms
        if happens.once_on == "the last":
            since_ms = at_ms
        elif happens.once_on:
            board.run(start_ms + round(happens.from_h * HOUR_MS))
            since_ms = _comes_on(board, happens.once_on, end_ms)
        at_ms = since_ms + round(happens.after_h * HOUR_MS)
        board.run(at_ms)
        if happens.name == "supply-runs-out":
            furnace.state = furnace.state._replace(supply_l=10.0)
        elif happens.deed:
            furnace.act(happens.name, **happens.details)
        else:
            until = None if happens.lasts_h is None else at_ms + round(happens.lasts_h * HOUR_MS)
            furnace.faults.faults.append(Fault(happens.name, at_ms, until, happens.size, happens.on))
            furnace.repair("power-off")  # nothing of that kind stands; makes the furnace look at its faults again
            furnace.faults.at(furnace.t_ms)
    board.run(end_ms)
    rows = board.rows(case.seed, end_ms).between(start_ms, end_ms)
    return rows if case.edit is None else case.edit(rows, start_ms)


def _comes_on(board: _Board, channel: str, end_ms: int) -> int:
    """Run on to when an on/off channel next comes on."""
    furnace = board.furnace
    was = True
    while furnace.t_ms < end_ms:
        on = bool(furnace.gear.outputs[channel])
        if on and not was:
            break
        was = on
        board.run(furnace.t_ms + 10_000)
    return furnace.t_ms


def alarms_of(case: Case, rows: Rows, channel_set: str) -> list[Alarm]:
    """What one set of channels makes of it: the alarms raised in the case."""
    engine: Engine = pickle.loads(known(case.spec, case.seed, case.warm_days, case.mean_C)[1][channel_set])
    start_ms = engine.fed_to_ms + 1
    if case.log:
        entries = tuple(LogEntry(start_ms + round(hours * HOUR_MS), kind) for hours, kind in case.log)
        engine.adopt(replace(engine.plant.profile, log=entries), engine.plant.sampling)
    engine.feed(only(rows, SETS[channel_set]))
    return [alarm for alarm in engine.alarms if alarm.raised_ms >= start_ms - HOUR_MS]


def ranked(case: Case, alarms: list[Alarm]) -> list[str] | None:
    """The causes found for the case's alarm, most probable first; None when it was not raised."""
    name, _, channel = case.alarm.partition("/")
    for alarm in alarms:
        if alarm.alarm == name and (alarm.channel or "") == channel:
            return [cause["id"] for cause in alarm.detail.get("causes", [])]
    return None


# what the model cannot do, done to its rows


def _every_5s(rows: Rows, from_ms: int) -> Rows:
    """The same course from a time on, as a board reports it while something is on: a full row every 5 s."""
    t_ms = np.arange(from_ms, int(rows.t_ms[-1]), 5000)
    values = {}
    for name, column in rows.values.items():
        given = np.flatnonzero(~np.isnan(column))
        at = np.searchsorted(rows.t_ms[given], t_ms, "right") - 1
        values[name] = np.concatenate((column[rows.t_ms < from_ms], column[given[np.maximum(at, 0)]]))
    return Rows(np.concatenate((rows.t_ms[rows.t_ms < from_ms], t_ms)), values, {}, ())


def pump_unseen(rows: Rows, start_ms: int) -> Rows:
    """The pump's sensing contact has come off: it reads off for ever."""
    values = dict(rows.values)
    values["pump"] = np.where(np.isnan(values["pump"]), np.nan, 0.0)
    on_s = dict(rows.on_s)
    on_s["pump"] = np.where(np.isnan(on_s["pump"]), np.nan, np.nanmin(on_s["pump"]))
    return Rows(rows.t_ms, values, on_s, rows.faults)


def loose_pump_wire(rows: Rows, start_ms: int) -> Rows:
    """The pump relay flutters in irregular bursts, whether anything burns or not."""
    rng = np.random.default_rng(5)
    values = dict(rows.values)
    pump = values["pump"].copy()
    quiet = np.flatnonzero((pump == 0.0) & (rows.t_ms > start_ms + HOUR_MS) & (rows.t_ms < start_ms + 3 * HOUR_MS))
    pulses = np.sort(quiet[rng.choice(len(quiet), 40, replace=False)])
    pump[pulses] = 1.0
    values["pump"] = pump
    off_ms = np.setdiff1d(rows.t_ms[pulses] + 1200, rows.t_ms)
    return _with_rows(Rows(rows.t_ms, values, {}, rows.faults), off_ms, {"pump": 0.0})


def _with_rows(rows: Rows, at_ms: np.ndarray, reading: dict[str, float]) -> Rows:
    """Further rows that carry nothing but `reading`."""
    t_ms = np.concatenate((rows.t_ms, at_ms))
    order = np.argsort(t_ms, kind="stable")
    values = {
        name: np.concatenate((column, np.full(len(at_ms), reading.get(name, np.nan))))[order]
        for name, column in rows.values.items()
    }
    return Rows(t_ms[order], values, {}, rows.faults)


def wet_tray(rows: Rows, start_ms: int) -> Rows:
    """What leaks from the loop drips into the tray; its sensor is wet after half an hour."""
    values = dict(rows.values)
    wet = (rows.t_ms > start_ms + 14.5 * HOUR_MS) & ~np.isnan(values["leak"])
    values["leak"] = np.where(wet, 1.0, values["leak"])
    return Rows(rows.t_ms, values, rows.on_s, rows.faults)


def soot_fire(rows: Rows, start_ms: int) -> Rows:
    """Two hours into a pause soot burns in the flue: the stack climbs by 200 K in 10 min and dies away."""
    values = dict(rows.values)
    burner = values["burner"]
    known_rows = np.flatnonzero(~np.isnan(burner))
    t, on = rows.t_ms[known_rows], burner[known_rows] > 0.5
    ends = np.flatnonzero(on[:-1] & ~on[1:])
    starts = np.flatnonzero(~on[:-1] & on[1:])
    for k in ends:
        later = starts[starts > k]
        rest_ms = (t[later[0]] if len(later) else t[-1]) - t[k]
        if rest_ms > 2 * HOUR_MS:
            rows = _every_5s(rows, int(t[k] + HOUR_MS))
            values = dict(rows.values)
            minutes = (rows.t_ms - (t[k] + HOUR_MS)) / MINUTE_MS
            heat = np.where(
                minutes < 0, 0.0, 200.0 * np.minimum(minutes / 10, 1.0) * np.exp(-np.maximum(minutes - 15, 0) / 15)
            )
            values["stack"] = values["stack"] + heat
            break
    return Rows(rows.t_ms, values, rows.on_s, rows.faults)


def dead_control(rows: Rows, start_ms: int) -> Rows:
    """The call is on and nothing answers: as a cold furnace would read, from the first pause on."""
    quiet = (rows.values["burner"] == 0.0) & (rows.values["call"] == 0.0)
    from_ms = int(rows.t_ms[np.flatnonzero(quiet & (rows.t_ms > start_ms + 13 * HOUR_MS))[0]]) + 20 * MINUTE_MS
    rows = _every_5s(rows, from_ms)
    values = dict(rows.values)
    at = int(np.searchsorted(rows.t_ms, from_ms))
    after = np.arange(len(rows.t_ms)) >= at
    for name in ("call", "burner", "flame", "blower", "limit", "pump", "float", "lockout"):
        column = values[name].copy()
        column[after & ~np.isnan(column)] = 1.0 if name == "call" else 0.0
        values[name] = column
    minutes = (rows.t_ms - rows.t_ms[at]) / MINUTE_MS
    for name, cold_C in (("stack", 20.0), ("supply_air", 14.0)):
        column = values[name].copy()
        start = column[: at + 1][~np.isnan(column[: at + 1])][-1]
        column = np.where(
            after & ~np.isnan(column), cold_C + (start - cold_C) * np.exp(-np.maximum(minutes, 0) / 30), column
        )
        values[name] = column
    return Rows(rows.t_ms, values, {}, rows.faults)
