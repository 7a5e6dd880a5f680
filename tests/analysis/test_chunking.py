"""The same rows in any pieces, with the engine saved and restored anywhere, give the same alarms, events and phases."""

import pickle
from functools import cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sootline.analysis.engine import Engine
from sootline.series import Rows
from tests.analysis.days import SPECS, cut, days, profile
from tests.analysis.kit import HOUR_MS, T0

NAMES = sorted(SPECS)


def outcome(engine: Engine) -> tuple[Any, ...]:
    phases = (engine.phase.phase, engine.phase.since_ms)
    ready = tuple(detector.readiness() for detector in engine.detectors)
    return engine.alarms, engine.take_events(), phases, ready


@cache
def whole(name: str) -> tuple[Any, ...]:
    engine = Engine(profile(name))
    engine.feed(days(name))
    return outcome(engine)


@pytest.mark.parametrize("name", NAMES)
def test_the_days_are_worth_it(name: str) -> None:
    alarms, events, _, _ = whole(name)
    assert len({alarm.alarm for alarm in alarms}) >= 6
    told = {event.kind for event in events}
    assert {kind for kind in told if not kind.startswith("entry-")} == {
        "refill", "preheat", "firing", "steady", "phase",
    }  # fmt: skip
    assert {"entry-cleaning", "entry-repair", "entry-setpoint-tank"} <= told
    assert any(alarm.suppressed_by for alarm in alarms)


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=6)
@given(st.data())
def test_any_pieces(name: str, data: st.DataObject) -> None:
    """From a handful of pieces to some hundred."""
    n = data.draw(st.sampled_from([3, 20, 200]))
    at = data.draw(st.lists(st.integers(0, len(days(name)) - 1), min_size=n, max_size=n))
    saved = data.draw(st.sets(st.integers(0, n), max_size=3))
    engine = Engine(profile(name))
    for i, part in enumerate(cut(days(name), at)):
        engine.feed(part)
        if i in saved:
            engine = pickle.loads(pickle.dumps(engine, pickle.HIGHEST_PROTOCOL))
    assert outcome(engine) == whole(name)


@pytest.mark.parametrize(("name", "hour"), [("carriage-shop", 30.5), ("engine-shed", 6.5), ("engine-shed", 42.5)])
def test_row_by_row(name: str, hour: float) -> None:
    """An hour at one sample a call, the rest in two blocks."""
    rows, engine = days(name), Engine(profile(name))
    start_ms, end_ms = T0 + round(hour * HOUR_MS), T0 + round((hour + 1) * HOUR_MS)
    engine.feed(rows.between(0, start_ms))
    middle = rows.between(start_ms, end_ms)
    for part in cut(middle, list(range(len(middle)))):
        engine.feed(part)
    engine.feed(rows.between(end_ms, 2**62))
    assert outcome(engine) == whole(name)


def test_no_rows_change_nothing() -> None:
    engine = Engine(profile("carriage-shop"))
    engine.feed(Rows(days("carriage-shop").t_ms[:0], {}))
    engine.feed(days("carriage-shop"))
    assert outcome(engine) == whole("carriage-shop")
