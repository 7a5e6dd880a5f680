"""A season and a week in numbers, from invented events."""

import pytest

from sootline import profile
from sootline.alarms import Acknowledgement, Alarm
from sootline.events import Event
from sootline.heat.oil import oil_of_parts
from sootline.report.note import weekly_note
from sootline.report.season import season
from tests.heat.history import DAY_MS, HOUR_MS, PROFILE, START_MS

OIL = oil_of_parts({"vg-46": 1.0})
LOG = """
[[log]]
at = 2026-01-08T00:00:00Z
kind = "batch"
note = "barrel 7"
[[log]]
at = 2026-01-09T00:00:00Z
kind = "cleaning"
"""


def events(days: int = 7) -> list[Event]:
    """A two-hour firing at 06:00 of each day with four refills; the rise grows by 1 K a day."""
    made = []
    for day in range(days):
        lit_ms = START_MS + day * DAY_MS + 6 * HOUR_MS
        made.append(Event("engine-shed", "firing", lit_ms, lit_ms + 2 * HOUR_MS, {"burned_s": 7200.0}))
        made.append(Event("engine-shed", "steady", lit_ms, lit_ms + 2 * HOUR_MS, {"residual_K": float(day)}))
        for i in range(4):
            at_ms = lit_ms + i * 1_800_000
            made.append(Event("engine-shed", "refill", at_ms, at_ms + 11_000, {"tank_C": 65.0, "stalled": False}))
        made.append(Event("engine-shed", "refill", lit_ms + 7_000_000, lit_ms + 7_020_000, {"stalled": True}))
    return made


def alarm(name: str, at_ms: int, priority: str = "high", **more: object) -> Alarm:
    state = more.pop("state", "returned")
    return Alarm("engine-shed", name, None, priority, state, at_ms, at_ms + 60_000, at_ms, "none", "Look.", **more)  # type: ignore[arg-type]


def test_the_numbers_of_a_week() -> None:
    """28 refills of 0.45 L measured at 65 °C are 28 x 0.45 x 0.964 L at 15 °C (D1250 factor); the stalled ones none."""
    own = profile.parse(PROFILE + LOG)
    week = season(own, events(), (), OIL, START_MS, START_MS + 7 * DAY_MS)
    assert (week.days, week.starts, week.refills) == (7, 7, 28)
    assert week.hours == pytest.approx(14.0)
    assert week.oil is not None and week.oil.litres == pytest.approx(28 * 0.45 * 0.964, rel=0.004)
    assert week.heat_GJ == pytest.approx(week.oil.litres * OIL.density15_kg_m3 * OIL.gross_MJ_kg / 1e6)
    assert [(b.name, b.burned.refills) for b in week.batches] == [("what was in the tank", 12), ("barrel 7", 16)]
    assert week.rise_K is not None and week.rise_K[0] == pytest.approx(3.0)
    assert [e.kind for e in week.done("cleaning")] == ["cleaning"] and not week.done("filter")


def test_only_what_began_in_the_span_counts() -> None:
    own = profile.parse(PROFILE + LOG)
    whole = season(own, events(), (), OIL, START_MS, START_MS + 7 * DAY_MS)
    parts = [season(own, events(), (), OIL, START_MS + d * DAY_MS, START_MS + (d + 1) * DAY_MS) for d in range(7)]
    assert sum(p.refills for p in parts) == whole.refills and sum(p.starts for p in parts) == whole.starts
    assert parts[4].batches[0].name == "barrel 7"  # logged the day before


def test_without_a_differential_no_oil_is_told() -> None:
    own = profile.parse(PROFILE.replace("differential_l = 0.45", "limit_s = 20.0"))
    week = season(own, events(), (), OIL, START_MS, START_MS + 7 * DAY_MS)
    assert week.oil is None and week.heat_GJ is None and week.batches == ()
    assert "oil" not in weekly_note(week)[0]


def test_alarms_are_counted_as_people_met_them() -> None:
    two_at_night = START_MS + 2 * HOUR_MS
    noon = START_MS + 12 * HOUR_MS
    told = (
        alarm("lockout", two_at_night, acknowledged=Acknowledgement("Maud", two_at_night + 300_000)),
        alarm("refill-timeout", noon, acknowledged=Acknowledgement("Jory", noon + 100_000)),
        alarm("refill-timeout", noon + HOUR_MS, "medium"),
        alarm("preheat-stalled", noon, state="suppressed", suppressed_by="refill-timeout"),
        alarm("board-offline", two_at_night, "medium"),
        alarm("lockout", START_MS - 1),
    )
    calls = season(profile.parse(PROFILE), (), told, OIL, START_MS, START_MS + DAY_MS).calls
    assert calls.total == 4 and calls.consequences == 1
    assert calls.by_priority == {"critical": 0, "high": 2, "medium": 2, "low": 0}
    assert calls.at_night == 1  # of those that may wake somebody
    assert calls.answered == 2 and calls.answered_s == pytest.approx(200.0)
    assert calls.most[0] == ("refill-timeout", 2)


def test_the_weekly_note_is_short_and_in_the_owners_units() -> None:
    own = profile.parse(PROFILE + LOG)
    week = season(own, events(), (alarm("lockout", START_MS + HOUR_MS),), OIL, START_MS, START_MS + 7 * DAY_MS)
    metric, customary = weekly_note(week, "si", week), weekly_note(week, "us", week)
    assert metric[0] == "Engine shed: 14 h of fire, 7 starts, 12 L of oil (12 L the week before)."
    assert "3.2 gal of oil" in customary[0]
    assert metric[1] == "Stack 3 ± 2 °C over its clean level, weather taken out."
    assert customary[1] == "Stack 5 ± 4 °F over its clean level, weather taken out."
    assert metric[2] == "1 alarm, 1 of them at night; most often: locked out."
    assert all(len(line) <= 160 and "safe" not in line for line in (*metric, *customary))


def test_a_week_without_fire_says_so() -> None:
    quiet = season(profile.parse(PROFILE), (), (), OIL, START_MS, START_MS + DAY_MS)
    assert weekly_note(quiet)[0] == "Engine shed: not lit this week."
    assert weekly_note(quiet)[-1] == "No alarm. Nothing wrong seen by these sensors."
