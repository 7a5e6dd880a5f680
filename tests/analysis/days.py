"""A few days with much going wrong: what the chunking and delivery tests feed."""

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np

from sootline.profile import LogEntry, Profile, parse
from sootline.series import Rows, SensorFault, concatenate
from sootline.sim.faults import Fault
from sootline.sim.run import simulate
from sootline.sim.workshop import CARRIAGE_SHOP, ENGINE_SHED, PROFILES
from tests.analysis.kit import DAY_MS, HOUR_MS, T0

FAULTS = {
    "carriage-shop": (
        Fault("half-element", T0 + 8 * HOUR_MS, channel="tank"),
        Fault("thermostat-draught", T0 + 10 * HOUR_MS, T0 + 12 * HOUR_MS, size=7.0),
        Fault("sensor-crc", T0 + 20 * HOUR_MS, T0 + 26 * HOUR_MS, channel="nozzle"),
        Fault("air-leak", T0 + 31 * HOUR_MS),
        Fault("ssr-shorted", T0 + 38 * HOUR_MS, T0 + 40 * HOUR_MS, channel="nozzle"),
        Fault("sensor-frozen", T0 + 52 * HOUR_MS, channel="stack"),
    ),
    "engine-shed": (
        Fault("water-slug", T0 + 7 * HOUR_MS),
        Fault("compressor-sag", T0 + 9 * HOUR_MS, T0 + 13 * HOUR_MS),
        Fault("sensor-open", T0 + 15 * HOUR_MS, T0 + 17 * HOUR_MS, channel="stack"),
        Fault("pump-relay-welded", T0 + 20 * HOUR_MS, T0 + 21 * HOUR_MS),
        Fault("sensor-spikes", T0 + 26 * HOUR_MS, T0 + 27 * HOUR_MS, channel="tank"),
        Fault("no-ignition", T0 + 30 * HOUR_MS, T0 + 34 * HOUR_MS),
        Fault("thermostat-shorted", T0 + 40 * HOUR_MS, T0 + 42 * HOUR_MS),
    ),
}
SPECS = {"carriage-shop": CARRIAGE_SHOP, "engine-shed": ENGINE_SHED}
SILENT = (T0 + 43 * HOUR_MS, T0 + 49 * HOUR_MS)  # nothing is ever known of these hours


@cache
def profile(name: str) -> Profile:
    log = (
        LogEntry(T0 + 14 * HOUR_MS + 1234, "repair"),
        LogEntry(T0 + 29 * HOUR_MS, "setpoint", "tank", 50.0),
        LogEntry(T0 + 45 * HOUR_MS, "cleaning"),  # in the silence
        LogEntry(T0 + 57 * HOUR_MS, "setpoint", "tank", 60.0),
    )
    return replace(parse(PROFILES[name]), log=log)


@cache
def days(name: str) -> Rows:
    """Two and a half days; six hours of them are missing."""
    rows, _ = simulate(SPECS[name], 4, T0, T0 + 5 * DAY_MS // 2, FAULTS[name], (), 10.0, 60.0)
    rows = concatenate([rows.between(0, SILENT[0]), rows.between(SILENT[1], 2**62)])
    # faults between rows too, as a board may say them
    odd = tuple(SensorFault(int(t) + 777, "stack", "crc") for t in rows.t_ms[1000:3000:7])
    return replace(rows, faults=tuple(sorted((*rows.faults, *odd))))


def cut(rows: Rows, at: list[int]) -> list[Rows]:
    """The rows in pieces, cut before the rows of these numbers."""
    edges = [-(2**62), *np.unique(rows.t_ms[[i % len(rows) for i in at]]).tolist(), 2**62]
    return [rows.between(start, end) for start, end in pairwise(edges)]
