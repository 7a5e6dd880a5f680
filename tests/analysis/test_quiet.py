"""A healthy fortnight of both workshop furnaces raises nothing above low, whatever channels are wired."""

from dataclasses import replace
from functools import cache

import pytest

from sootline.analysis.engine import Engine
from sootline.channels import CHANNELS
from sootline.profile import parse
from sootline.series import Rows
from sootline.sim.run import simulate
from sootline.sim.workshop import CARRIAGE_SHOP, ENGINE_SHED, PROFILES
from tests.analysis.kit import DAY_MS, T0

SPECS = {"engine-shed": ENGINE_SHED, "carriage-shop": CARRIAGE_SHOP}
FOUR = ("tank", "nozzle", "stack", "pump")
SETS = {"four": FOUR, "some": (*FOUR, "float", "call", "return_air"), "all": ()}
DAYS = 14


@cache
def fortnight(name: str) -> Rows:
    """Wired to everything, with the supply tank full enough to last."""
    spec = replace(SPECS[name], supply_start_l=880.0, channels=tuple(CHANNELS))
    return simulate(spec, 21, T0, T0 + DAYS * DAY_MS, interval_s=10.0)[0]


@pytest.mark.parametrize("wired", list(SETS))
@pytest.mark.parametrize("name", list(SPECS))
def test_nothing_above_low(name: str, wired: str) -> None:
    whole = fortnight(name)
    names = SETS[wired] or tuple(whole.values)
    rows = Rows(
        whole.t_ms,
        {channel: x for channel, x in whole.values.items() if channel in names},
        {channel: x for channel, x in whole.on_s.items() if channel in names},
    )
    profile = parse(PROFILES[name])
    engine = Engine(profile)
    for day in range(DAYS):
        engine.feed(rows.between(T0 + day * DAY_MS, T0 + (day + 1) * DAY_MS))
    events = [event.kind for event in engine.take_events()]
    assert min(events.count(kind) for kind in ("firing", "refill")) > 50, "it was watched"
    assert [(a.alarm, a.channel, a.priority) for a in engine.alarms if a.priority != "low"] == []
