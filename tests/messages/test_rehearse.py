"""What would have been said of a past: the same as was said while it was the present."""

from dataclasses import replace
from datetime import UTC

from sootline.alarms import iso
from sootline.messages.contacts import Contacts
from sootline.messages.freezing import Outlook
from sootline.messages.rehearse import rehearse
from tests.messages.kit import BOTH, DAY_MS, HOUR_MS, MAUD, MINUTE_MS, NIGHT, NOON, Clock, alarm, over, said

COLD, MILD = Outlook(12.0, -10.0), Outlook(12.0, 8.0)
START_MS = NOON - DAY_MS


def told(*alarms, people: Contacts = BOTH, outlook: Outlook = MILD, taken_after_ms: int | None = None):  # type: ignore[no-untyped-def]
    return rehearse(
        people, alarms, START_MS, NOON + 7 * DAY_MS, outlooks=lambda _: {"engine-shed": outlook},
        taken_after_ms=taken_after_ms, zone=UTC,
    )  # fmt: skip


NO_DIGESTS = Contacts(tuple(replace(one, daily=None, weekly=None) for one in BOTH.people))


def test_it_says_what_the_live_policy_says_minute_by_minute() -> None:
    stuck = over(alarm("heater-stuck-on", "critical", NIGHT), NIGHT + 50 * MINUTE_MS)
    lost = over(alarm("lockout", "high", NIGHT), NIGHT + 8 * HOUR_MS)
    live = Clock(NO_DIGESTS, outlook=MILD)
    for t_ms in range(NIGHT, NIGHT + 9 * HOUR_MS, MINUTE_MS):
        there = [
            replace(a, cleared_ms=None, state="unacknowledged") if t_ms < a.cleared_ms else a for a in (stuck, lost)
        ]
        live.look(t_ms, *there)
    made = told(stuck, lost, people=NO_DIGESTS)
    assert [(m.id, m.made_ms, m.body) for m in made] == [(m.id, m.made_ms, m.body) for m in live.messages]
    assert ("Jory", "raised", "heater-stuck-on") in said(made) and ("Maud", "raised", "lockout") in said(made)


def test_the_cold_decides_there_too() -> None:
    lost = over(alarm("lockout", "high", NIGHT), NIGHT + 3 * HOUR_MS)
    assert told(lost, people=NO_DIGESTS, outlook=MILD) == []
    assert said(told(lost, people=NO_DIGESTS, outlook=COLD)) == [("Maud", "raised", "lockout")]


def test_somebody_who_takes_it_ends_the_repeats_until_it_gets_worse() -> None:
    worse = alarm("refill-timeout", "critical", NOON, detail={"escalated": iso(NOON + 40 * MINUTE_MS)})
    made = told(over(worse, NOON + HOUR_MS), people=NO_DIGESTS, taken_after_ms=7 * MINUTE_MS)
    assert [(m.what, m.priority, (m.made_ms - NOON) // MINUTE_MS) for m in made] == [
        ("raised", "high", 1), ("worse", "critical", 40), ("again", "critical", 45),
        ("again", "critical", 50), ("again", "critical", 55),
    ]  # fmt: skip


def test_what_came_late_is_in_the_digest_only_and_the_weekly_note_always_comes() -> None:
    past = over(alarm("flame-loss", "high", NOON, found_ms=NOON + 5 * HOUR_MS), NOON + HOUR_MS)
    made = told(past, people=Contacts((MAUD,)))
    assert [m.what for m in made] == ["daily", "weekly"]
    assert "found only when data came late" in made[0].body and made[1].code is not None


def test_what_somebody_has_is_in_no_digest_of_its_own() -> None:
    stuck = alarm("heater-stuck-on", "critical", NOON)  # stands for the rest of the week
    made = told(stuck, people=Contacts((replace(MAUD, weekly=None),)), taken_after_ms=MINUTE_MS)
    assert [m.what for m in made] == ["raised"]
