"""Rows written by hand, and what the engine makes of them. Times are seconds after T0."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from sootline.alarms import Alarm
from sootline.analysis.engine import Engine
from sootline.analysis.settings import Settings
from sootline.channels import CHANNELS
from sootline.profile import Profile, parse
from sootline.series import Floats, Rows
from sootline.sim.run import simulate
from sootline.sim.spec import FurnaceSpec

T0 = 1_767_571_200_000  # Monday 5 January 2026, 00:00 UTC
DAY_MS, HOUR_MS = 86_400_000, 3_600_000
DAY, HOUR, MINUTE = 86_400.0, 3_600.0, 60.0

Points = Sequence[tuple[float, float]]
Drawn = float | Points

PLAIN = """
[furnace]
id = "engine-shed"
rated_input_kW = 46.0
heating = "keep-warm"
[refill]
limit_s = 20.0
differential_l = 0.45
[tank]
setpoint_C = 65.0
limit_C = 95.0
volume_l = 8.0
[nozzle]
setpoint_C = 95.0
limit_C = 130.0
[stack]
limit_C = 380.0
[air]
setpoint_kPa = 96.5
band_kPa = 10.0
[room]
freeze_C = 3.0
"""
ON_CALL = PLAIN.replace("keep-warm", "on-call")
BARE = '[furnace]\nid = "engine-shed"\n'


def ms(second: float) -> int:
    return T0 + round(1000 * second)


def rows(end_s: float, step_s: float = 5.0, start_s: float = 0.0, **channels: Drawn) -> Rows:
    """Samples every step_s [s] of what is drawn: a constant, or points (second, value) joined by lines; an on/off
    channel holds each point's value until the next, and every change is a row of its own."""
    grid = {round(1000 * s) for s in np.arange(start_s, end_s, step_s)}
    for name, drawn in channels.items():
        if CHANNELS[name].kind == "state" and not isinstance(drawn, int | float):
            grid |= {round(1000 * s) for s, _ in drawn if start_s <= s < end_s}
    at_ms = np.array(sorted(grid), np.int64)
    return Rows(at_ms + T0, {name: _drawn(name, drawn, at_ms / 1000) for name, drawn in channels.items()})


def _drawn(name: str, drawn: Drawn, seconds: Floats) -> Floats:
    if isinstance(drawn, int | float):
        return np.full(len(seconds), float(drawn))
    at, value = np.array(drawn, np.float64).T
    if CHANNELS[name].kind == "state":
        return np.asarray(value[np.maximum(np.searchsorted(at, seconds, "right") - 1, 0)])
    return np.interp(seconds, at, value)


def pulses(*on: tuple[float, float]) -> Points:
    """An on/off channel that is on from each first to each second moment [s]."""
    return [(0.0, 0.0), *((s, v) for start, end in on for s, v in ((start, 1.0), (end, 0.0)))]


def flue(*fires: tuple[float, float], hot_C: float = 260.0, cold_C: float = 25.0) -> Points:
    """A stack that is heated by each fire (from, to [s]) and cools after it: 2 min up, 20 min down."""
    points: list[tuple[float, float]] = [(0.0, cold_C)]
    for i, (start, end) in enumerate(fires):
        next_start = fires[i + 1][0] if i + 1 < len(fires) else 1e9
        level = points[-1][1]
        points += [(start, level), (min(start + 120, end), hot_C)]
        points += [(end, hot_C)] if end > start + 120 else []
        down = [(60.0, 0.62), (180.0, 0.40), (600.0, 0.18), (1200.0, 0.05)]
        points += [(end + s, cold_C + share * (hot_C - cold_C)) for s, share in down if end + s < next_start]
    assert all(a[0] < b[0] for a, b in pairwise(points)), "the fires must follow each other"
    return points


def held(level: float, end_s: float, swing: float = 0.25, period_s: float = 300.0) -> Points:
    """What a thermostat holds: a saw about its level."""
    return [(s, level + swing * (-1) ** i) for i, s in enumerate(np.arange(0.0, end_s + period_s, period_s))]


def run(*parts: Rows, profile: str | Profile = PLAIN, settings: Settings | None = None) -> Engine:
    engine = Engine(parse(profile) if isinstance(profile, str) else profile, settings)
    for part in parts:
        engine.feed(part)
    return engine


def found(engine: Engine, alarm: str, channel: str | None = None) -> list[Alarm]:
    return [a for a in engine.alarms if a.alarm == alarm and channel in (None, a.channel)]


def seconds(t_ms: int | None) -> float | None:
    return None if t_ms is None else (t_ms - T0) / 1000


def model(spec: FurnaceSpec, days: float, *faults, seed: int = 1, channels=None, interval_s: float = 10.0) -> Rows:  # type: ignore[no-untyped-def]
    """Rows of the furnace model from T0 on."""
    end_ms = T0 + round(days * DAY_MS)
    return simulate(spec, seed, T0, end_ms, faults, (), interval_s, 60.0, channels)[0]
