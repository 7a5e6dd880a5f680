"""Alarms as people meet them. States and their names: ISA-18.2 (from memory) and the contract of the records."""

from dataclasses import replace

from sootline.alarms import Acknowledgement, Alarm, Shelf, iso
from sootline.lifecycle import RETURNED_SHOWN_MS, AlarmList, in_sight, merge, stands

T = 1_767_603_600_000
ALARM = Alarm("engine-shed", "refill-timeout", None, "high", "unacknowledged", T, None, T, "none", "Look.")
LATCHED = replace(ALARM, alarm="oil-overtemperature", channel="tank", priority="critical", hazard="fire")
SHELF = Shelf("Maud", "waiting for a part", T, T + 1000)
MAUD = Acknowledgement("Maud", T + 60_000)


def _gone(alarm: Alarm, at_ms: int = T + 300_000) -> Alarm:
    return replace(alarm, state="returned", cleared_ms=at_ms)


def test_an_alarm_stands_until_its_condition_is_gone_and_is_then_shown_for_a_day() -> None:
    assert merge(ALARM).state == "unacknowledged" and stands(ALARM)
    gone = merge(_gone(ALARM))
    assert gone.state == "returned" and not stands(gone)
    assert in_sight(gone, T + RETURNED_SHOWN_MS)
    assert not in_sight(gone, T + 300_000 + RETURNED_SHOWN_MS)


def test_an_acknowledged_alarm_stays_while_its_condition_stands_and_leaves_with_it() -> None:
    seen = merge(ALARM, MAUD)
    assert seen.state == "acknowledged" and seen.acknowledged == MAUD and stands(seen)
    gone = merge(_gone(ALARM), MAUD)
    assert gone.state == "returned" and gone.acknowledged == MAUD and not in_sight(gone, T + 300_001)


def test_a_latched_alarm_stands_until_it_is_gone_and_seen() -> None:
    gone = merge(_gone(LATCHED))
    assert stands(gone) and in_sight(gone, T + 100 * RETURNED_SHOWN_MS)
    seen = merge(_gone(LATCHED), MAUD)
    assert not stands(seen) and not in_sight(seen, T + 300_001)
    assert stands(merge(LATCHED, MAUD))  # seen, not gone


def test_a_rise_in_priority_asks_to_be_acknowledged_anew() -> None:
    risen = replace(ALARM, priority="critical", detail={"escalated": iso(T + 120_000)})
    assert merge(risen, MAUD).state == "unacknowledged"
    assert merge(risen, Acknowledgement("Maud", T + 180_000)).state == "acknowledged"


def test_a_shelved_alarm_comes_off_the_shelf_by_itself() -> None:
    alarms = AlarmList()
    alarms.update({ALARM.key: ALARM}, (), T)
    [shelved] = alarms.shelve(ALARM.key, SHELF, T)
    assert shelved.state == "shelved" and shelved.shelved == SHELF
    assert shelved.record()["shelved"] == {"by": "Maud", "at": iso(T), "reason": "waiting for a part"}
    assert alarms.unshelve(T + 999) == []
    [back] = alarms.unshelve(T + 1000)
    assert back.state == "unacknowledged" and back.shelved is None and "shelved" not in back.record()
    assert alarms.unshelve(T + 2000) == []


def test_a_rise_in_priority_takes_an_alarm_off_the_shelf() -> None:
    risen = replace(ALARM, priority="critical", detail={"escalated": iso(T + 500)})
    assert merge(risen, None, SHELF, T + 600).state == "unacknowledged"
    assert merge(risen, None, replace(SHELF, at_ms=T + 500), T + 600).state == "shelved"


def test_a_number_a_fifth_greater_takes_an_alarm_off_the_shelf_and_leaves_the_acknowledgement() -> None:
    worse = replace(ALARM, detail={"worsened": iso(T + 120_000)})
    until = replace(SHELF, at_ms=T + 60_000, until_ms=T + 600_000)
    assert merge(worse, MAUD, until, T + 120_001).state == "acknowledged"
    assert merge(worse, MAUD, replace(until, at_ms=T + 120_000), T + 120_001).state == "shelved"


def test_suppressed_alarms_stay_suppressed_whatever_is_done() -> None:
    suppressed = replace(ALARM, state="suppressed", suppressed_by="leak")
    assert merge(suppressed, MAUD, SHELF, T).state == "suppressed"
    gone = replace(replace(LATCHED, state="suppressed"), cleared_ms=T + 1)
    assert not stands(gone) and not in_sight(gone, T + 2)


def test_acts_on_alarms_that_are_no_more_do_nothing() -> None:
    alarms = AlarmList()
    assert alarms.acknowledge(ALARM.key, "Maud", T) == [] == alarms.shelve(ALARM.key, SHELF, T)
    alarms.update({ALARM.key: ALARM}, (), T)
    assert len(alarms.acknowledge(ALARM.key, "Maud", T)) == 1
    assert alarms.update({}, [ALARM.key], T) == [] and alarms.merged == {}


def test_the_first_who_has_it_has_it_until_it_gets_worse() -> None:
    alarms = AlarmList()
    alarms.update({ALARM.key: ALARM}, (), T)
    assert len(alarms.acknowledge(ALARM.key, "Maud", T + 1)) == 1
    assert alarms.acknowledge(ALARM.key, "Jory", T + 2) == []
    assert alarms.acknowledged[ALARM.key] == Acknowledgement("Maud", T + 1)
    worse = replace(ALARM, priority="critical", detail={"escalated": iso(T + 60_000)})
    alarms.update({ALARM.key: worse}, (), T + 60_000)
    [taken] = alarms.acknowledge(ALARM.key, "Jory", T + 61_000)
    assert taken.acknowledged == Acknowledgement("Jory", T + 61_000) and taken.state == "acknowledged"


def test_an_act_outlives_the_record_it_was_about() -> None:
    """Late data may remove an alarm and bring it back; who has seen it has seen it."""
    alarms = AlarmList()
    alarms.update({ALARM.key: ALARM}, (), T)
    alarms.acknowledge(ALARM.key, "Maud", T)
    alarms.update({}, [ALARM.key], T)
    [again] = alarms.update({ALARM.key: ALARM}, (), T)
    assert again.state == "acknowledged"


def test_the_most_pressing_come_first_and_the_newest_of_a_kind_stands_for_it() -> None:
    older = replace(ALARM, raised_ms=T - 10_000)
    low = replace(ALARM, alarm="supply-low", priority="low", raised_ms=T + 5000)
    gone = _gone(replace(LATCHED, alarm="no-heat", channel=None))
    alarms = AlarmList()
    alarms.update({alarm.key: alarm for alarm in (low, older, ALARM, gone, LATCHED)}, (), T)
    order = [(alarm.alarm, alarm.raised_ms) for alarm in alarms.in_sight("engine-shed", T + 300_001)]
    assert order == [
        ("oil-overtemperature", T), ("refill-timeout", T), ("refill-timeout", T - 10_000), ("supply-low", T + 5000),
        ("no-heat", T),
    ]  # fmt: skip
    assert alarms.standing()[("engine-shed", "refill-timeout", None)].raised_ms == T
    assert alarms.in_sight("carriage-shop", T) == ()
