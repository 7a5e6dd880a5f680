"""What the pages say of a furnace: never more than the sensors know."""

from dataclasses import replace

import pytest

from sootline import units, wording
from sootline.alarms import Acknowledgement
from sootline.now import FurnaceNow, Readiness
from sootline.web.alarm_views import alarm_view
from sootline.web.views import furnace_view, old_after, summary
from tests.web.workshop import BLIND, LEARNING, NOW_MS, READY, alarm, furnace_now


def verdict(now: FurnaceNow) -> tuple[str, str]:
    view = furnace_view(now, NOW_MS, "si")
    return view.verdict.look, f"{view.verdict.word} {view.verdict.line}".strip()


def test_all_well_claims_only_what_the_sensors_see() -> None:
    assert verdict(furnace_now()) == ("calm", wording.NOTHING_WRONG)
    view = furnace_view(furnace_now(), NOW_MS, "si")
    assert [item.alarm for item in view.blind] == [item.alarm for item in BLIND]
    assert view.blind[0].words == "blind: needs a sensor for: drip tray wet (leak)"


def test_old_data_are_grey_and_the_phase_is_not_known() -> None:
    view = furnace_view(furnace_now(old_s=181), NOW_MS, "si")
    assert view.verdict.look == "gone" and view.phase == wording.SILENT
    assert all(reading.old for reading in view.main)
    assert not any(reading.old for reading in furnace_view(furnace_now(old_s=179), NOW_MS, "si").main)


@pytest.mark.parametrize(
    ("idle", "expected"), [(60, 180), (20, 60), ("sixty", 180), (0, 180), (True, 180), (1e9, 180), (None, 180)]
)
def test_old_means_three_slow_reports_and_nonsense_is_not_believed(idle: object, expected: float) -> None:
    assert old_after({"idle_interval": idle}) == expected


def test_a_lost_required_sensor_is_not_green() -> None:
    look, text = verdict(furnace_now(stack="open"))
    assert look == "gone" and "stack" in text
    view = furnace_view(furnace_now(stack="open"), NOW_MS, "si")
    assert view.main[2].fault == "probe circuit open" and view.main[2].shown.text == "–"
    silent = furnace_now()
    readings = {name: reading for name, reading in silent.readings.items() if name != "tank"}
    assert verdict(replace(silent, readings=readings))[0] == "gone"


def test_never_heard() -> None:
    now = FurnaceNow("engine-shed", "unknown", None, {}, (), (), None)
    look, text = verdict(now)
    assert look == "gone" and "No word yet" in text
    assert furnace_view(now, NOW_MS, "us").board == ()


@pytest.mark.parametrize("phase", ["lockout", "limit", "recycle"])
def test_a_stopped_furnace_is_never_called_well(phase: str) -> None:
    assert verdict(furnace_now(phase=phase))[0] == "look"  # type: ignore[arg-type]


def test_the_worst_standing_alarm_speaks() -> None:
    low = alarm("refill-slowing", priority="low")
    critical = alarm("pump-overrun", priority="critical", minutes_ago=300)
    suppressed = alarm("no-heat", priority="critical", state="suppressed", suppressed_by="refill-timeout")
    shelved = alarm("stack-high", priority="critical", state="shelved")
    assert verdict(furnace_now(alarms=(low,)))[0] == "note"
    assert verdict(furnace_now(alarms=(low, critical))) == ("now", "Act now REFILL PUMP WON'T STOP and 1 more")
    assert verdict(furnace_now(alarms=(suppressed, shelved)))[0] == "calm"


def test_an_alarm_that_stood_when_the_board_fell_silent_still_speaks() -> None:
    look, text = verdict(furnace_now(alarms=(alarm("leak", priority="critical"),), old_s=900))
    assert look == "now" and "when last heard" in text


def test_back_to_normal_is_shown_until_somebody_has_seen_it() -> None:
    returned = alarm(state="returned", cleared_ms=NOW_MS - 60_000)
    assert verdict(furnace_now(alarms=(returned,)))[0] == "note"
    seen = replace(returned, acknowledged=Acknowledgement("Maud", NOW_MS - 30_000))
    assert verdict(furnace_now(alarms=(seen,)))[0] == "calm"


def test_what_stays_until_seen_is_not_called_over() -> None:
    gone = alarm("leak", priority="critical", state="returned", cleared_ms=NOW_MS - 60_000)
    view = furnace_view(furnace_now(alarms=(gone,)), NOW_MS, "si")
    assert (view.verdict.look, view.verdict.word) == ("look", "Go and see") and not view.alarmed
    assert (view.alarms[0].look, view.alarms[0].priority) == ("look", "Was: act now")
    assert "stays until somebody has seen it" in view.alarms[0].state


def test_learning_shows_the_slowest_progress() -> None:
    view = furnace_view(furnace_now(readiness=READY + LEARNING), NOW_MS, "si")
    assert view.verdict.look == "learn" and view.learned == "learning 7 of 30 (stack temperature keeps rising)"
    assert {item.words for item in view.learning} == {"learning 20 of 20", "learning 7 of 30"}


def test_an_alarm_reads_what_since_when_why_and_what_first() -> None:
    under = alarm("preheat-stalled", state="suppressed", suppressed_by="refill-timeout", minutes_ago=5)
    view = furnace_view(furnace_now(alarms=(alarm(), under)), NOW_MS, "us")
    (shown,) = view.alarms
    assert (shown.title, shown.priority, shown.since, shown.ago) == (
        "Refill stalled",
        "Act soon",
        shown.since,
        "18 min ago",
    )
    assert shown.act_within == "40 min" and shown.causes[0].percent == "72%"
    assert ("tank temperature dip", "0.4 °F") in shown.numbers
    assert [item.alarm for item in shown.follows] == ["preheat-stalled"]
    assert shown.can_acknowledge and shown.state == "Nobody has it yet"


def test_a_stall_is_a_countdown() -> None:
    left = alarm(detail={"fire_left_min": 43, "freeze_at": "2026-01-16T21:30:00.000Z"})
    shown = furnace_view(furnace_now(alarms=(left,)), NOW_MS, "si").alarms[0]
    when = units.clock(left.raised_ms + 43 * 60_000, NOW_MS)
    assert shown.then[0] == f"The fire goes out about {when}" and shown.then[1].startswith("The room freezes about ")
    gone = replace(left, state="returned", cleared_ms=NOW_MS - 1000)
    assert furnace_view(furnace_now(alarms=(gone,)), NOW_MS, "si").alarms[0].then == ()


def test_causes_in_odd_forms_do_not_break_the_page() -> None:
    odd = alarm(detail={"causes": ["cold oil", {"cause": "air", "evidence": "bubbles"}, 7, {}], "blind_to": None})
    causes = furnace_view(furnace_now(alarms=(odd,)), NOW_MS, "si").alarms[0].causes
    assert [(c.cause, c.percent, c.evidence) for c in causes] == [("Cold oil", "", ()), ("Air", "", ("bubbles",))]


def test_a_fault_found_after_an_outage_says_so() -> None:
    late = alarm(found_ms=NOW_MS - 60_000)
    assert furnace_view(furnace_now(alarms=(late,)), NOW_MS, "si").alarms[0].found
    assert not furnace_view(furnace_now(alarms=(alarm(),)), NOW_MS, "si").alarms[0].found


def test_summary_names_who_needs_somebody_worst_first() -> None:
    nows = (
        furnace_now("a"),
        furnace_now("b", alarms=(alarm("refill-slowing", "b", priority="medium"),)),
        furnace_now("c", alarms=(alarm("leak", "c", priority="critical"),)),
    )
    views = tuple(furnace_view(now, NOW_MS, "si") for now in nows)
    made = summary(views)
    assert made.look == "now" and [view.furnace for view in made.need] == ["c", "b"]
    assert summary(views[:1]).need == () and wording.NOTHING_WRONG in summary(views[:1]).word
    assert summary(()).look == "gone"


def test_readiness_without_a_named_need_still_reads() -> None:
    view = furnace_view(furnace_now(readiness=(Readiness("leak", "blind"),)), NOW_MS, "si")
    assert view.blind[0].words == "blind: needs more readings"


def test_evidence_and_first_steps_read_in_the_units_chosen() -> None:
    told = alarm(
        first_step="Above 130 °C switch it off.",
        detail={"causes": [{"cause": "cold oil", "evidence": ["oil at the nozzle 82 °C of 95 °C", "fell 8 K"]}]},
    )
    us, si = (alarm_view(told, NOW_MS, system) for system in ("us", "si"))
    assert us.causes[0].evidence == ("oil at the nozzle 180 °F of 203 °F", "fell 14 °F")
    assert si.causes[0].evidence == ("oil at the nozzle 82 °C of 95 °C", "fell 8 °C")
    assert us.first_step == "Above 266 °F switch it off."
