"""The steps, the record, what still waits and what is due."""

import json
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from sootline.channels import CHANNELS
from sootline.commissioning import record as rec
from sootline.commissioning.evaluate import evaluate
from sootline.commissioning.steps import BY_KEY, NEEDS, STEPS, unlocks
from sootline.errors import UserError

DAY = date(2026, 1, 10)
FITTED = ("tank", "nozzle", "stack", "return_air", "pump")

GOOD: dict[str, dict[str, Any]] = {
    "bench": {"wrong_inputs": 0, "hours": 24, "resets": 0, "faults": 0, "rssi": -60},
    "ice_point": {"sensor": "thermocouple", "reading_C": 0.4},
    "boiling_point": {"ice_C": 0.4, "reading_C": 100.3, "station_hPa": 1013.25},
    "bath": {"sensor": "1-wire", "reading_C": 55.2, "reference_C": 55.0},
    "swap_test": {"other_channel": "stack", "first_C": [55.0, 55.4], "swapped_C": [54.9, 55.1]},
    "stack_reference": {"reading_C": 251.0, "reference_C": 248.0},
    "probe_geometry": {"insertion_mm": 80, "distances": "300 / 150 mm", "serial": "K-17", "photo": "flue.jpg"},
    "refill_delivery": {"volume_l": 2.0, "time_s": 66, "runs": 4, "oil_C": 15, "pump_A": 0.2},
    "float_travel": {"volumes_l": [0.44, 0.45, 0.46]},
    "air_flow": {"pressures_kPa": [83, 97, 110], "flows_l_per_h": [4, 4.5, 5], "nozzle_C": 85, "oil": "15W-40"},
    "senses": {"on_V": 0.1, "off_V": 3.2, "unplugged_V": 3.2},
    "combustion": {"draft_breech_Pa": -10, "oxygen_pct": 5, "smoke_spot": 1, "co_ppm": 30, "net_stack_K": 230},
    "baseline": {"net_K": [230, 231, 229, 232, 230], "firing_min": [25] * 5, "fuel": "15W-40", "outdoor_C": 2},
}


def everything(on: date = DAY) -> rec.Record:
    record = rec.Record("engine-shed")
    for step in STEPS:
        for channel in step.channels or ("",):
            record = rec.add(record, step.key, on, "Maud", GOOD[step.key], channel)
    return record


def test_every_step_is_complete_and_usable() -> None:
    assert set(GOOD) == set(BY_KEY)
    for step in STEPS:
        assert bool(step.per) == bool(step.channels)
        assert set(step.channels) <= set(CHANNELS)
        assert len({field.name for field in step.fields}) == len(step.fields)
        assert step.how.endswith(".")
        assert step.caution.endswith(".")
        assert all(bool(field.choices) == (field.kind == "choice") for field in step.fields)


def test_work_on_mains_and_burner_is_marked_for_the_qualified() -> None:
    assert {step.key for step in STEPS if step.qualified} == {"air_flow", "senses", "combustion", "stack_reference"}


def test_yearly_steps() -> None:
    assert [step.key for step in STEPS if step.yearly] == ["ice_point", "senses", "baseline"]


def test_every_need_is_a_step_that_exists_for_its_channel() -> None:
    for needs in NEEDS.values():
        for need in needs:
            for key in filter(None, (need.step, need.or_step)):
                assert (need.channel in BY_KEY[key].channels) if need.channel else not BY_KEY[key].per


def test_unlocks_reads_the_needs_backwards() -> None:
    assert unlocks("baseline") == ("stack-rising", "stack-step")
    assert unlocks("refill_delivery") == ("refill-slowing",)
    assert unlocks("bench") == ()


def test_a_full_record_leaves_nothing_waiting() -> None:
    assert rec.waiting(everything(), FITTED) == {}


def test_an_empty_record_leaves_every_trend_verdict_waiting() -> None:
    assert set(rec.waiting(rec.Record("engine-shed"), FITTED)) == set(NEEDS)


@pytest.mark.parametrize("verdict", NEEDS)
def test_each_missing_step_blocks_its_verdict(verdict: str) -> None:
    full = everything()
    for need in NEEDS[verdict]:
        keys = {need.step, need.or_step}
        less = replace(
            full, entries=tuple(e for e in full.entries if not (e.step in keys and e.channel == need.channel))
        )
        assert need in rec.waiting(less, FITTED)[verdict]


def test_either_of_two_comparisons_will_do() -> None:
    full = everything()
    no_swap = replace(full, entries=tuple(e for e in full.entries if e.step != "swap_test"))
    assert rec.waiting(no_swap, FITTED) == {}


def test_channels_that_are_not_fitted_need_no_step() -> None:
    full = everything()
    without = replace(full, entries=tuple(e for e in full.entries if e.channel != "return_air"))
    assert "stack-rising" in rec.waiting(without, FITTED)
    assert rec.waiting(without, ("tank", "nozzle", "stack", "pump")) == {}


def test_a_moved_stack_probe_voids_the_baseline() -> None:
    moved = rec.add(everything(), "probe_geometry", date(2026, 3, 1), "Jory", GOOD["probe_geometry"], "stack")
    assert [need.step for need in rec.waiting(moved, FITTED)["stack-rising"]] == ["baseline"]
    again = rec.add(moved, "baseline", date(2026, 3, 9), "Jory", GOOD["baseline"])
    assert rec.waiting(again, FITTED) == {}


def test_yearly_steps_come_due_after_a_year() -> None:
    record = everything()
    assert rec.due(record, date(2027, 1, 10)) == []
    late = rec.due(record, date(2027, 1, 11))
    assert {item.step for item in late} == {"ice_point", "senses", "baseline"}
    assert all(item.since == date(2027, 1, 10) for item in late)
    repeated = rec.add(record, "ice_point", date(2027, 1, 11), "Pim", GOOD["ice_point"], "stack")
    assert ("ice_point", "stack") not in {(item.step, item.channel) for item in rec.due(repeated, date(2027, 1, 12))}


def test_a_step_never_done_is_not_due_again() -> None:
    assert rec.due(rec.Record("engine-shed"), date(2030, 1, 1)) == []


def test_the_record_survives_a_round_trip_byte_for_byte() -> None:
    text = rec.dumps(everything())
    again = rec.loads(text)
    assert again == everything()
    assert rec.dumps(again) == text


def test_results_hold_the_computed_numbers() -> None:
    record = everything()
    boiling = record.latest("boiling_point", "stack")
    assert boiling is not None
    assert boiling.result["offset_K"] == 0.4
    assert boiling.result["slope"] == pytest.approx(100.0 / 99.9, abs=1e-4)
    swap = record.latest("swap_test", "tank")
    assert swap is not None
    assert swap.result["probe_K"] == pytest.approx(-0.3)
    assert swap.result["channel_K"] == pytest.approx(-0.1)


def test_the_newest_entry_counts_whatever_the_order() -> None:
    record = everything()
    older = rec.add(record, "float_travel", date(2025, 1, 1), "Maud", {"volumes_l": [0.9, 0.9, 0.9]})
    latest = older.latest("float_travel")
    assert latest is not None
    assert latest.result["volume_l"] == pytest.approx(0.45)


@pytest.mark.parametrize(
    ("step", "changes", "says"),
    [
        ("bench", {"resets": 1}, "before mounting"),
        ("bench", {"hours": 5}, "24 hours"),
        ("ice_point", {"reading_C": 4.0}, "replace the probe"),
        ("ice_point", {"sensor": "pt100"}, "must be one of"),
        ("ice_point", {"reading_C": True}, "must be a number"),
        ("ice_point", {"reading_C": float("nan")}, "must be a number"),
        ("ice_point", {"reading_C": None}, "is missing"),
        ("ice_point", {"readng_C": 1.0}, "did you mean reading_C"),
        ("swap_test", {"first_C": [55.0]}, "two readings"),
        ("swap_test", {"first_C": 55.0}, "list of numbers"),
        ("probe_geometry", {"serial": " "}, "must be text"),
        ("combustion", {"co_ppm": 900}, "technician"),
        ("senses", {"unplugged_V": 0.1}, "Sense the current"),
        ("float_travel", {"volumes_l": [0.3, 0.5, 0.5]}, "differ"),
    ],
)
def test_a_step_not_passed_is_not_recorded(step: str, changes: dict[str, Any], says: str) -> None:
    channels = BY_KEY[step].channels
    with pytest.raises(UserError, match=says):
        rec.add(
            rec.Record("engine-shed"), step, DAY, "Maud", {**GOOD[step], **changes}, channels[0] if channels else ""
        )


@pytest.mark.parametrize(
    ("step", "channel", "by", "says"),
    [
        ("ice_pont", "stack", "Maud", "did you mean ice_point"),
        ("ice_point", "", "Maud", "per channel"),
        ("ice_point", "pump", "Maud", "per channel"),
        ("float_travel", "tank", "Maud", "no channel"),
        ("float_travel", "", " ", "who did"),
    ],
)
def test_a_misplaced_entry_is_named(step: str, channel: str, by: str, says: str) -> None:
    with pytest.raises(UserError, match=says):
        rec.add(rec.Record("engine-shed"), step, DAY, by, GOOD.get(step, {}), channel)


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda body: "{", "not JSON"),
        (lambda body: {**body, "extra": 1}, "nothing else"),
        (lambda body: {**body, "version": 2}, "version 2"),
        (lambda body: {**body, "furnace": "Engine Shed"}, "names no furnace"),
        (lambda body: {**body, "entries": {}}, "must be a list"),
        (lambda body: {**body, "entries": [{}]}, "entry 1: needs exactly"),
        (lambda body: {**body, "entries": [{**body["entries"][0], "on": "10.1.2026"}]}, "entry 1: .*no date"),
        (lambda body: {**body, "entries": [{**body["entries"][0], "values": []}]}, "entry 1"),
        (lambda body: {**body, "entries": [{**body["entries"][0], "step": 5}]}, "entry 1"),
    ],
)
def test_a_spoiled_record_is_refused_with_its_place(spoil: Any, says: str) -> None:
    spoiled = spoil(json.loads(rec.dumps(everything())))
    with pytest.raises(UserError, match=says):
        rec.loads(spoiled if isinstance(spoiled, str) else json.dumps(spoiled))


def test_steps_with_no_sum_have_no_result() -> None:
    assert evaluate("probe_geometry", GOOD["probe_geometry"]) == {}


def test_a_large_stack_difference_is_kept_but_never_corrected_away() -> None:
    assert evaluate("stack_reference", {"reading_C": 251.0, "reference_C": 240.0}) == {
        "difference_K": 11.0,
        "may_be_corrected": False,
    }
