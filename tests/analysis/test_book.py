"""The book: repeats, escalation, suppression and release, as the alarm section of the interface says."""

import pytest

from sootline.alarms import iso
from sootline.analysis.book import Book, Entry
from sootline.analysis.catalogue import HIDES, KINDS, NEVER_SUPPRESSED
from sootline.analysis.plant import Plant
from sootline.analysis.sampling import Sampling
from sootline.analysis.settings import Settings
from sootline.profile import parse

MIN = 60_000


def book(low: bool = False) -> Book:
    return Book(30 * MIN, 30 * MIN, lambda: low)


def put(b: Book, alarm: str, at_min: float, priority="medium", channel=None, **detail) -> Entry:  # type: ignore[no-untyped-def]
    at_ms = round(at_min * MIN)
    return b.raise_(alarm, channel, priority, at_ms, at_ms, detail)


def test_one_raise_in_thirty_minutes() -> None:
    b = book()
    first = put(b, "flame-loss", 0)
    for at_min in (5, 15, 25):
        b.clear("flame-loss", None, round((at_min - 1) * MIN))
        assert put(b, "flame-loss", at_min) is first
    assert first.detail["repeats"] == 3 and first.stands and len(b.entries) == 1


def test_a_raise_while_it_stands_is_no_repeat() -> None:
    b = book()
    first = put(b, "no-heat", 0, waiting_min=45)
    put(b, "no-heat", 10, waiting_min=55)
    assert "repeats" not in first.detail and first.detail["waiting_min"] == 55 and first.raised_ms == 0


@pytest.mark.parametrize(("gap_min", "entries"), [(29.9, 1), (30, 2)])
def test_after_thirty_quiet_minutes_it_is_a_new_alarm(gap_min: float, entries: int) -> None:
    b = book()
    put(b, "flame-loss", 0)
    b.clear("flame-loss", None, MIN)
    put(b, "flame-loss", 1 + gap_min)
    assert len(b.entries) == entries


def test_channels_are_counted_apart() -> None:
    b = book()
    put(b, "preheat-slow", 0, channel="tank")
    put(b, "preheat-slow", 1, channel="nozzle")
    assert [entry.channel for entry in b.entries] == ["tank", "nozzle"]


def test_priority_only_rises_and_says_when() -> None:
    b = book()
    entry = put(b, "flame-loss", 0)
    put(b, "flame-loss", 7, "high")
    put(b, "flame-loss", 9, "medium")
    assert entry.priority == "high" and entry.detail["escalated"] == iso(7 * MIN)


def test_a_fifth_more_than_it_last_sounded_with_is_worse() -> None:
    b = book()
    entry = put(b, "refill-slowing", 0, slower_ratio=1.25)
    put(b, "refill-slowing", 5, slower_ratio=1.5)
    assert "worsened" not in entry.detail, "just a fifth"
    put(b, "refill-slowing", 9, slower_ratio=1.51)
    assert entry.detail["worsened"] == iso(9 * MIN)
    put(b, "refill-slowing", 12, slower_ratio=1.8)
    assert entry.detail["worsened"] == iso(9 * MIN), "measured from where it last sounded"


@pytest.mark.parametrize(("cause", "hidden"), [(c, h) for c, hs in HIDES.items() for h in hs if c != "board-offline"])
def test_who_hides_whom(cause: str, hidden: str) -> None:
    """Every pair, cause first and consequence first; starving alarms only once the day tank has run low."""
    for order in ((cause, hidden), (hidden, cause)):
        b = book(low=True)
        for minute, alarm in enumerate(order):
            put(b, alarm, minute)
        entry = b.standing(hidden)
        assert entry is not None
        assert entry.suppressed_by == (None if hidden in NEVER_SUPPRESSED else cause)


def test_starving_only_once_the_tank_is_low() -> None:
    b = book(low=False)
    put(b, "refill-timeout", 0, "high")
    assert put(b, "ignition-failure", 5).suppressed_by is None
    assert put(b, "refill-overdue", 6).suppressed_by == "refill-timeout"


def test_never_suppressed() -> None:
    assert {"leak", "stack-high", "oil-overtemperature", "pump-overrun", "heat-without-call"} == NEVER_SUPPRESSED
    hidden_somewhere = {alarm for hidden in HIDES.values() for alarm in hidden}
    assert not hidden_somewhere & NEVER_SUPPRESSED
    b = book(low=True)
    for cause in HIDES:
        put(b, cause, 0)
    put(b, "sensor-fault", 0, channel="stack")
    for alarm in NEVER_SUPPRESSED - set(HIDES):
        assert put(b, alarm, 1, "critical").suppressed_by is None


def test_a_sensor_fault_hides_what_reads_the_channel() -> None:
    b = book()
    put(b, "sensor-fault", 0, channel="stack")
    put(b, "sensor-fault", 0, channel="tank")
    assert put(b, "stack-rising", 1).suppressed_by == "sensor-fault"
    assert put(b, "preheat-slow", 1, channel="tank").suppressed_by == "sensor-fault"
    assert put(b, "preheat-slow", 1, channel="nozzle").suppressed_by is None
    assert put(b, "stack-high", 1, "critical").suppressed_by is None


def test_a_cause_takes_the_priority_and_the_time_of_what_it_hides() -> None:
    b = book()
    cause = put(b, "air-pressure", 0, "medium")
    put(b, "ignition-failure", 1, "high")
    assert cause.priority == "high" and cause.detail["escalated"] == iso(MIN)
    low = put(b, "limit-open", 10)
    put(b, "short-cycling", 11, "low")
    assert low.priority == "medium", "a lower one does not pull it down"
    timeout = book(low=True)
    cause = put(timeout, "refill-timeout", 0, "high", act_within_min=90)
    put(timeout, "preheat-stalled", 1, "high", channel="tank")
    assert cause.detail["act_within_min"] == KINDS["preheat-stalled"].act_within_min == 60


def test_a_nine_alarm_cascade_sounds_once() -> None:
    """The day tank runs empty: everything that follows stands under the refill."""
    b = book(low=True)
    cause = put(b, "refill-timeout", 0, "high")
    chain = ("refill-overdue", "flame-loss", "ignition-failure", "lockout", "no-heat")
    for minute, alarm in enumerate(chain):
        put(b, alarm, 10 + minute, "high")
    for channel in ("tank", "nozzle"):
        put(b, "preheat-slow", 20, channel=channel)
    put(b, "preheat-stalled", 30, "high", channel="tank")
    assert len(b.entries) == 9
    assert [entry.alarm for entry in b.entries if entry.suppressed_by is None] == ["refill-timeout"]
    assert len(cause.hidden) == 8


def test_release_lets_sound_what_still_stands() -> None:
    b = book()
    cause, gone, stays = put(b, "air-pressure", 0), put(b, "flame-loss", 1), put(b, "ignition-failure", 2)
    b.clear("flame-loss", None, 3 * MIN)
    assert b.clear("air-pressure", None, 10 * MIN) is cause
    b.release(cause)
    assert stays.suppressed_by is None and gone.suppressed_by == "air-pressure"


def test_no_release_while_the_cause_is_back() -> None:
    b = book()
    cause, hidden = put(b, "air-pressure", 0), put(b, "flame-loss", 1)
    b.clear("air-pressure", None, 5 * MIN)
    put(b, "air-pressure", 10)
    b.release(cause)
    assert hidden.suppressed_by == "air-pressure"


def test_a_consequence_that_comes_back_without_its_cause_sounds() -> None:
    """It counts as a repeat, but nothing explains it any more."""
    b = book()
    cause, hidden = put(b, "air-pressure", 0), put(b, "flame-loss", 1)
    b.clear("air-pressure", None, 2 * MIN)
    b.clear("flame-loss", None, 20 * MIN)
    b.release(cause)
    assert put(b, "flame-loss", 40) is hidden
    assert hidden.detail["repeats"] == 1 and hidden.suppressed_by is None


def test_just_after_its_cause_a_consequence_still_stands_under_it() -> None:
    b = book()
    put(b, "air-pressure", 0)
    b.clear("air-pressure", None, 10 * MIN)
    assert put(b, "ignition-failure", 39).suppressed_by == "air-pressure"
    assert put(b, "flame-loss", 40).suppressed_by is None


def test_what_a_sensor_fault_hid_sounds_when_the_probe_is_good_again() -> None:
    plant = Plant(parse('[furnace]\nid = "engine-shed"\n'), Settings(), Sampling())
    plant.raise_("sensor-fault", "medium", channel="tank", at_ms=0)
    hidden = plant.raise_("preheat-stalled", "high", channel="tank", at_ms=MIN)
    assert hidden.suppressed_by == "sensor-fault"
    plant.clear("sensor-fault", "tank", at_ms=60 * MIN)
    plant.run_timers(2**62)
    assert hidden.suppressed_by is None


def test_states_and_record() -> None:
    b = book()
    entry, hidden = put(b, "air-pressure", 0), put(b, "flame-loss", 1)
    assert (entry.record("x").state, hidden.record("x").state) == ("unacknowledged", "suppressed")
    b.clear("air-pressure", None, 5 * MIN)
    record = entry.record("engine-shed")
    assert record.state == "returned" and record.cleared_ms == 5 * MIN
    assert record.detail["act_within_min"] == KINDS["air-pressure"].act_within_min
    assert record.key == ("engine-shed", "air-pressure", None, 0)


def test_a_latched_alarm_comes_back_as_itself() -> None:
    """It stays on the list until a person has seen it, so it is not rung anew within four hours."""
    b = book()
    first = put(b, "stack-high", 0, "critical")
    b.clear("stack-high", None, 5 * MIN)
    assert put(b, "stack-high", 3.9 * 60, "critical") is first
    b.clear("stack-high", None, 4 * 60 * MIN)
    assert put(b, "stack-high", 8 * 60, "critical") is not first


def test_changed_once_each() -> None:
    b = book()
    put(b, "air-pressure", 0)
    put(b, "flame-loss", 1)
    put(b, "flame-loss", 2, "high")
    assert sorted(entry.alarm for entry in b.changed) == ["air-pressure", "flame-loss"]
