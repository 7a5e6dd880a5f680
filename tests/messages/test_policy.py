"""Who is told what and when, on a given clock."""

from dataclasses import replace
from datetime import time

import pytest

from sootline.alarms import Shelf, iso
from sootline.messages.contacts import Contacts
from sootline.messages.freezing import Outlook
from tests.messages.kit import BOTH, DAY_MS, HOUR_MS, MAUD, MINUTE_MS, NIGHT, NOON, Clock, alarm, at, over, said, taken

COLD = Outlook(room_C=12.0, outdoor_C=-10.0, freeze_C=3.0)
MILD = Outlook(room_C=12.0, outdoor_C=8.0, freeze_C=3.0)


def test_a_high_alarm_is_told_once_by_day_a_minute_after_it_was_found() -> None:
    clock, lost = Clock(), alarm("lockout", "high", NOON)
    made = clock.look(NOON + 59_000, lost)
    assert made.messages == [] and made.next_ms == NOON + MINUTE_MS
    assert clock.run(NOON + MINUTE_MS, NOON + 6 * HOUR_MS, lost) == [("Maud", "raised", "lockout")]


@pytest.mark.parametrize("name", ["no-heat", "lockout", "refill-timeout", "freeze-risk"])
def test_the_same_fault_wakes_at_minus_10_and_waits_for_the_morning_at_plus_8(name: str) -> None:
    fault = alarm(name, "high", NIGHT)
    assert Clock(outlook=COLD).run(NIGHT, NIGHT + 10 * MINUTE_MS, fault) == [("Maud", "raised", name)]
    mild = Clock(outlook=MILD)
    assert mild.run(NIGHT, at("2026-01-10 06:29"), fault) == []
    assert mild.run(at("2026-01-10 06:30"), at("2026-01-10 06:31"), fault) == [("Maud", "raised", name)]


def test_a_night_fault_that_is_over_by_the_morning_calls_nobody() -> None:
    clock, fault = Clock(outlook=MILD), alarm("lockout", "high", NIGHT)
    clock.run(NIGHT, NIGHT + HOUR_MS, fault)
    assert clock.run(NIGHT + HOUR_MS, NOON + DAY_MS, over(fault, NIGHT + HOUR_MS), step_ms=5 * MINUTE_MS) == []


def test_it_wakes_as_soon_as_the_room_is_seen_to_fall() -> None:
    clock, fault = Clock(outlook=Outlook(room_C=12.0)), alarm("no-heat", "high", NIGHT)
    assert clock.run(NIGHT, NIGHT + HOUR_MS, fault) == []
    clock.outlook = Outlook(room_C=9.0, freeze_at_ms=at("2026-01-10 09:00"))
    assert clock.run(NIGHT + HOUR_MS, NIGHT + HOUR_MS, fault) == [("Maud", "raised", "no-heat")]


@pytest.mark.parametrize(
    ("outlook", "wakes"),
    [
        (Outlook(outdoor_C=-0.1), True),  # no room sensor: below zero outdoors counts as freezing
        (Outlook(outdoor_C=0.0), False),
        (Outlook(), True),  # nobody can say that it does not freeze
        (Outlook(room_C=2.9, outdoor_C=8.0), True),
        # 12 C over 3 C at -10 C outdoors, time constant 10 h: 10 h x ln(22 / 13) = 5.26 h
        (Outlook(room_C=12.0, outdoor_C=-10.0, freeze_C=3.0), True),
        (Outlook(room_C=25.0, outdoor_C=-2.0, freeze_C=3.0), False),  # 10 h x ln(27 / 5) = 16.9 h
    ],
)
def test_what_counts_as_freezing(outlook: Outlook, wakes: bool) -> None:
    told = Clock(outlook=outlook).run(NIGHT, NIGHT + 2 * MINUTE_MS, alarm("lockout", "high", NIGHT))
    assert bool(told) is wakes


def test_fire_that_is_left_puts_the_freezing_off() -> None:
    stalled = alarm("refill-timeout", "high", NIGHT, detail={"fire_left_min": 300.0})
    assert Clock(outlook=COLD).run(NIGHT, NIGHT + 5 * MINUTE_MS, stalled) == []  # 5 h of fire and 5.3 h of cooling
    soon = replace(stalled, detail={"freeze_at": iso(at("2026-01-10 09:29"))})
    assert said(Clock(outlook=MILD).look(NIGHT + MINUTE_MS, soon).messages) == [("Maud", "raised", "refill-timeout")]
    late = replace(stalled, detail={"freeze_at": iso(at("2026-01-10 09:31"))})  # 06:30 and 3 h to get there
    assert Clock(outlook=MILD).look(NIGHT + MINUTE_MS, late).messages == []


@pytest.mark.parametrize("name", ["board-offline", "sensor-fault", "refill-overdue", "preheat-stalled", "flame-loss"])
def test_nothing_else_that_is_not_critical_wakes(name: str) -> None:
    fault = alarm(name, "high", NIGHT)
    assert Clock(outlook=COLD).run(NIGHT, at("2026-01-10 06:29"), fault, step_ms=5 * MINUTE_MS) == []


def test_a_critical_alarm_wakes_is_repeated_six_times_and_then_goes_to_the_second_contact() -> None:
    clock, stuck = Clock(), alarm("heater-stuck-on", "critical", NIGHT, channel="nozzle")
    clock.run(NIGHT, NIGHT + 3 * HOUR_MS, stuck)
    times = [(m.contact, m.what, (m.made_ms - NIGHT) // MINUTE_MS) for m in clock.messages]
    assert times[:7] == [("Maud", "raised", 0), *(("Maud", "again", 5 * i) for i in range(1, 7))]
    assert times[7:] == [("Jory", "raised", 35), *(("Jory", "again", 35 + 5 * i) for i in range(1, 7))]
    assert len({m.id for m in clock.messages}) == 14


def test_it_ends_when_somebody_has_it_or_it_is_over() -> None:
    clock, stuck = Clock(), alarm("heater-stuck-on", "critical", NIGHT)
    assert len(clock.run(NIGHT, NIGHT + 6 * MINUTE_MS, stuck)) == 2
    assert clock.run(NIGHT + 7 * MINUTE_MS, NIGHT + 2 * HOUR_MS, taken(stuck)) == []
    clock = Clock()
    assert len(clock.run(NIGHT, NIGHT + 6 * MINUTE_MS, stuck)) == 2
    assert clock.run(NIGHT + 7 * MINUTE_MS, NIGHT + 2 * HOUR_MS, over(stuck, NIGHT + 400_000)) == []


def test_a_critical_alarm_that_was_short_is_told_for_it_waits_for_a_person() -> None:
    gone = over(alarm("pump-overrun", "critical", NIGHT), NIGHT + 31_000)
    assert said(Clock().look(NIGHT + MINUTE_MS, gone).messages) == [("Maud", "raised", "pump-overrun")]


def test_the_second_contact_is_told_at_once_where_there_is_no_first_and_soon_where_the_first_cannot_be_reached() -> (
    None
):
    stuck = alarm("leak", "critical", NIGHT)
    alone = Clock(Contacts((replace(MAUD, furnaces=("carriage-shop",)), BOTH.people[1])))
    assert said(alone.look(NIGHT, stuck).messages) == [("Jory", "raised", "leak")]
    cut_off = Clock(reaches=False)
    told = cut_off.run(NIGHT, NIGHT + 10 * MINUTE_MS, stuck)
    assert told == [("Maud", "raised", "leak"), ("Jory", "raised", "leak")]  # and no repeats pile up behind


def test_a_cascade_of_nine_alarms_is_one_message() -> None:
    cause = alarm("refill-timeout", "high", NOON)
    names = (
        "refill-overdue",
        "preheat-slow",
        "preheat-stalled",
        "ignition-failure",
        "flame-loss",
        "lockout",
        "no-heat",
    )
    under = [
        alarm(name, "high", NOON + i * 1000, state="suppressed", suppressed_by="refill-timeout")
        for i, name in enumerate((*names, "flame-loss"))
    ]
    assert Clock().run(NOON, NOON + 3 * HOUR_MS, cause, *under) == [("Maud", "raised", "refill-timeout")]


def test_a_cause_found_after_its_consequence_is_told_only_as_worse_news() -> None:
    lost = alarm("flame-loss", "high", NOON)
    hidden = replace(lost, state="suppressed", suppressed_by="air-pressure")
    clock = Clock()
    assert clock.run(NOON, NOON + 2 * MINUTE_MS, lost) == [("Maud", "raised", "flame-loss")]
    air = alarm("air-pressure", "medium", NOON + MINUTE_MS)
    assert clock.run(NOON + 3 * MINUTE_MS, NOON + HOUR_MS, air, hidden) == []
    locked = alarm("lockout", "high", NOON + MINUTE_MS)  # as pressing, but now there is a danger of fire
    told = clock.run(NOON + 3 * MINUTE_MS, NOON + HOUR_MS, locked, replace(hidden, suppressed_by="lockout"))
    assert told == [("Maud", "raised", "lockout")]


def test_of_two_critical_alarms_with_one_cause_both_are_told_and_one_repeated() -> None:
    pump, leak = alarm("pump-overrun", "critical", NIGHT), alarm("leak", "critical", NIGHT + 20_000)
    told = Clock().run(NIGHT, NIGHT + 12 * MINUTE_MS, pump, leak)
    assert sorted(told) == [
        ("Maud", "again", "pump-overrun"), ("Maud", "again", "pump-overrun"),
        ("Maud", "raised", "leak"), ("Maud", "raised", "pump-overrun"),
    ]  # fmt: skip
    had = Clock()
    had.run(NIGHT, NIGHT + MINUTE_MS, taken(pump))
    assert had.run(NIGHT, NIGHT + 12 * MINUTE_MS, taken(pump), leak) == [("Maud", "raised", "leak")]


def test_worse_is_told_again_and_only_once() -> None:
    clock, stall = Clock(), alarm("refill-timeout", "high", NOON)
    assert clock.run(NOON, NOON + 5 * MINUTE_MS, stall) == [("Maud", "raised", "refill-timeout")]
    worse = replace(stall, priority="critical", detail={"escalated": iso(NOON + 6 * MINUTE_MS)})
    told = clock.run(NOON + 6 * MINUTE_MS, NOON + 12 * MINUTE_MS, worse)
    assert told == [("Maud", "worse", "refill-timeout"), ("Maud", "again", "refill-timeout")]


@pytest.mark.parametrize(
    "quiet",
    [
        alarm("leak", "critical", NOON, state="suppressed", suppressed_by="board-offline"),
        alarm("leak", "critical", NOON, state="shelved", shelved=Shelf("Maud", "probe wet", NOON, NOON + HOUR_MS)),
        taken(alarm("leak", "critical", NOON)),
        over(alarm("lockout", "high", NOON - DAY_MS), NOON - HOUR_MS),  # back-filled: over before it was known
        over(alarm("leak", "critical", NOON - DAY_MS, found_ms=NOON), NOON - HOUR_MS),
        over(alarm("leak", "critical", NOON - 3 * DAY_MS), NOON - 25 * HOUR_MS),
        alarm("stack-rising", "low", NOON),
        alarm("stack-step", "medium", NOON),
    ],
    ids=["suppressed", "shelved", "taken", "past", "past critical", "long over", "low", "for the digest"],
)
def test_what_calls_nobody(quiet: object) -> None:
    assert Clock().run(NOON, NOON + 2 * HOUR_MS, quiet) == []  # type: ignore[arg-type]


def test_service_mode_keeps_all_but_critical_alarms_quiet() -> None:
    clock = Clock()
    clock.in_service = frozenset({"engine-shed"})
    stuck, lost = alarm("heater-stuck-on", "critical", NOON), alarm("flame-loss", "high", NOON)
    assert clock.run(NOON, NOON + 4 * MINUTE_MS, stuck, lost) == [("Maud", "raised", "heater-stuck-on")]


def test_a_medium_alarm_that_comes_back_within_a_day_is_for_the_digest() -> None:
    first, second = alarm("board-offline", "medium", NOON), alarm("board-offline", "medium", NOON + 3 * HOUR_MS)
    clock = Clock()
    assert len(clock.run(NOON, NOON + 5 * MINUTE_MS, first)) == 1
    assert clock.run(NOON + 3 * HOUR_MS, NOON + 4 * HOUR_MS, second) == []


def test_each_contact_has_his_own_furnaces_least_priority_and_quiet_hours() -> None:
    people = Contacts(
        (
            replace(MAUD, furnaces=("carriage-shop",)),
            replace(MAUD, name="Pim", least="high"),
            replace(MAUD, name="Ffion", quiet=None),
            replace(MAUD, name="Idris", quiet=(time(9), time(15))),
        )
    )
    fault = alarm("sensor-fault", "medium", NOON, channel="stack")
    assert Clock(people).run(NOON, NOON + HOUR_MS, fault) == [("Ffion", "raised", "sensor-fault")]
    late = replace(fault, raised_ms=NIGHT, found_ms=NIGHT)
    assert Clock(people).run(NIGHT, NIGHT + 5 * MINUTE_MS, late) == [
        ("Ffion", "raised", "sensor-fault"), ("Idris", "raised", "sensor-fault"),
    ]  # fmt: skip


def test_the_same_past_gives_the_same_messages_with_the_same_ids() -> None:
    stuck = alarm("heater-stuck-on", "critical", NIGHT)
    one, other = Clock(), Clock()
    for clock in (one, other):
        clock.run(NIGHT, NIGHT + 40 * MINUTE_MS, stuck)
    assert [m.id for m in one.messages] == [m.id for m in other.messages]
    # a restart that has lost the last message makes the same one again
    lost = one.messages.pop()
    assert lost.id in {m.id for m in one.look(lost.made_ms, stuck).messages}
