"""What a log entry does is told by an event of its own, and is as if it had never been when it is taken back."""

import pickle
from functools import cache

import pytest

from sootline.analysis.engine import Engine
from sootline.analysis.follow.warming import Reading
from sootline.profile import LogEntry, LogKind, parse
from sootline.sim.workshop import PROFILES
from sootline.web.log_views import ACTS
from tests.analysis.days import days
from tests.analysis.kit import HOUR_MS, T0
from tests.analysis.test_watch import START_MS, Site, final, in_order, packs

AT_MS = T0 + 30 * HOUR_MS


@cache
def learned() -> bytes:
    """The engine shed's watch after 30 hours in which nothing was noted."""
    engine = Engine(parse(PROFILES["engine-shed"]))
    engine.feed(days("engine-shed").between(0, AT_MS))
    engine.take_events()
    engine.stack._learning.readings.extend([Reading(1000.0, 20.0, {}, 260.0)] * 7)  # as after seven steady firings
    return pickle.dumps(engine)


def told(kind: LogKind) -> dict[str, object]:
    engine: Engine = pickle.loads(learned())
    engine._log.append(LogEntry(AT_MS, kind, "tank" if kind == "setpoint" else None))
    engine.feed(days("engine-shed").between(AT_MS, AT_MS + HOUR_MS))
    [event] = [event for event in engine.take_events() if event.kind.startswith("entry-")]
    assert event.kind == "entry-setpoint-tank" if kind == "setpoint" else event.kind == f"entry-{kind}"
    assert event.start_ms == event.end_ms == AT_MS
    return dict(event.features)


WORDS = {
    "Refill times": {"refill-slowing"}, "gnition": {"ignition-delayed"}, "il use": {"oil-use-high"},
    "The clean stack is learned": {"stack-rising", "stack-step", "stack-low"},
}  # fmt: skip


@pytest.mark.parametrize("kind", LogKind.__args__)  # type: ignore[attr-defined]
def test_the_words_of_the_log_page_are_what_the_engine_does(kind: LogKind) -> None:
    opened = {alarm for alarm, words in told(kind).items() if str(words).startswith("learning 0 of ")}
    assert opened == {alarm for words, alarms in WORDS.items() if words in ACTS[kind] for alarm in alarms}


def test_an_alarm_that_an_entry_ends_is_named() -> None:
    engine: Engine = pickle.loads(learned())
    engine.plant.raise_("refill-slowing", "low")
    engine._log.append(LogEntry(AT_MS, "filter"))
    engine.feed(days("engine-shed").between(AT_MS, AT_MS + HOUR_MS))
    [event] = [event for event in engine.take_events() if event.kind == "entry-filter"]
    assert event.features["ended"] == "refill-slowing"


@pytest.mark.parametrize("kind", ["batch", "cleaning", "setpoint"])
def test_an_entry_taken_back_leaves_no_trace(kind: LogKind) -> None:
    """The baseline that it had opened again is there as it was: the same as when nobody had noted anything."""
    site, entry = Site(), LogEntry(START_MS + 2 * HOUR_MS, kind, "tank", 70.0)
    for i, part in enumerate(packs()):
        site.deliver(part, int(part.t_ms[-1]) + 100)
        if i == 20:
            site.hear(site.watch.logged(entry))
    assert any(event.kind.startswith("entry-") for event in site.watch.events)
    assert site.watch.readiness != in_order().watch.readiness or kind == "setpoint"
    site.hear(site.watch.undone(entry))
    expected = in_order().watch
    assert final(site.watch.alarms) == final(expected.alarms)
    assert sorted(site.watch.events, key=lambda e: e.key) == sorted(expected.events, key=lambda e: e.key)
    assert site.watch.readiness == expected.readiness and site.watch.phase == expected.phase
    assert {a.key: a for a in site.watch.alarms} == site.told


def test_what_was_never_noted_cannot_be_taken_back() -> None:
    site = Site()
    for part in packs()[:3]:
        site.deliver(part, int(part.t_ms[-1]) + 100)
    update = site.watch.undone(LogEntry(START_MS, "cleaning"))
    assert not update.alarms and not update.removed and not update.events
