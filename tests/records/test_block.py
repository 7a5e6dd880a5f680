"""Blocks of judging records: drawn at random, yet the same for the same seed, and with every fault among them."""

from __future__ import annotations

import json
import random
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from tests.records import block
from tests.records.catalogue import RECORDS
from tests.records.controls import HeaterSwitch
from tests.records.oil import OILS, blend
from tests.records.plant import Plant, draw_plant
from tests.records.record import Record, make, profile_toml, truth_json
from tests.records.sensors import SWITCHED
from tests.records.simulate import SWITCHES, Log
from tests.records.story import DAY, HOUR, Story
from tests.records.truth import Truth, _by_itself, _hot
from tests.records.variety import PLAIN, Variety, bounced, holes, sun, thin


def _plant() -> Plant:
    return draw_plant(np.random.default_rng(1), {})


def _short(seed: int, number: int) -> Record:
    return make(replace(block.recipe(seed, number), days=2.5))


def test_same_seed_same_record() -> None:
    number = block.names(11, 5).index(next(name for name in block.names(11, 5) if name.endswith("clean")))
    first, second = _short(11, number), _short(11, number)
    assert first.plant.variety is not PLAIN and first.plant.variety == second.plant.variety
    assert json.dumps(truth_json(first)) == json.dumps(truth_json(second))
    assert profile_toml(first) == profile_toml(second)
    a, b = first.samples("all"), second.samples("all")
    assert all(np.array_equal(a.values[name], b.values[name], equal_nan=True) for name in a.values)
    assert len(a.t) > 1000 and first.truth.log.burned_l > 1.0


def test_two_in_five_are_clean_and_names_lead_back() -> None:
    names = block.names(5, 60)
    assert sum(name.endswith("-clean") for name in names) == 24
    assert len(set(names)) == 60 and all(len(name) <= 32 for name in names)
    for name in names[:10]:
        found = block.find(name)
        assert found is not None and found.name == name and found.clean == name.endswith("-clean")
        assert 14.0 <= found.days <= 45.0 and found.varied
    assert block.find("b5-00-no-such-fault") is None and block.find("r01-suction-air-leak") is None
    assert block.recipe(5, 7).fixed != block.recipe(6, 7).fixed or block.recipe(5, 7).days != block.recipe(6, 7).days


def test_every_kind_of_fault_comes_once_in_a_round() -> None:
    kinds = Counter(name.split("-", 2)[2] for name in block.names(5, 5 * len(block.KINDS) // 3 + 5))
    assert set(block.KINDS) <= set(kinds) and max(kinds[kind] for kind in block.KINDS) <= 2


@pytest.mark.parametrize("kind", sorted(block.KINDS))
def test_a_fault_leaves_time_to_learn_and_to_be_seen(kind: str) -> None:
    for seed in range(20):
        dice = random.Random(seed)
        days = dice.uniform(*block.KINDS[kind].days)
        drawn = block.KINDS[kind].draw(dice, days)
        assert 0.0 <= drawn.start < drawn.end and drawn.start < days - 1.0
        assert kind in ("ash", "supply-low") or drawn.start >= 7.0
        assert drawn.happenings and all(callable(h) for h in drawn.happenings)


@pytest.mark.parametrize("name", sorted(block.HARMLESS))
def test_the_harmless_claim_nothing(name: str) -> None:
    story = Story(30.0 * DAY, _plant())
    block.HARMLESS[name](random.Random(3), 9.0, 30.0)(story)
    assert story.edits or story.spells or story.gaps or story.clock
    assert story.claims == [] and story.blames == [] and story.sensors == []
    assert all(0.0 <= t <= 30.0 * DAY for t, _ in story.edits)


def test_named_records_stay_plain() -> None:
    assert not any(recipe.varied for recipe in RECORDS)
    assert _plant().variety is PLAIN


def test_heater_by_shares_of_time() -> None:
    switch = HeaterSwitch(4.0, 120.0, duty=True)
    seen = []
    for bulb in (57.0, 60.0, 61.0, 63.0):
        on = 0
        for t in range(400):
            switch.step(bulb, bulb, 60.0, True, float(t))
            on += switch.drive
        seen.append(on / 400.0)
    assert seen == pytest.approx([1.0, 0.5, 0.25, 0.0], abs=0.03)


def test_a_bouncing_contact_ends_where_it_should() -> None:
    times, states = bounced(([10.0, 20.0], [True, False]), 0.4, 1)
    assert times == sorted(times) and states == [True, False, True, False, True, False]
    assert times[2] - times[0] < 0.5 and times[5] - times[3] < 0.5


def test_rows_are_lost_in_holes() -> None:
    keep = holes(200_000, Variety(lost_rows=1e-3, hole_rows=3.0), 2)
    assert 1.0 - keep.mean() == pytest.approx(3e-3, rel=0.3)
    assert holes(1000, PLAIN, 2).all()


def test_slow_channels_and_bare_changes() -> None:
    t = np.arange(0.0, 60.0, 5.0)
    change = np.zeros(12, dtype=bool)
    change[4] = True
    values = {"tank": np.ones(12), "outdoor": np.ones(12), "pump": np.ones(12)}
    thin(values, t, change, Variety(slow_s=30.0, bare_changes=True), SWITCHED)
    assert np.flatnonzero(~np.isnan(values["outdoor"])).tolist() == [0, 6]
    assert np.flatnonzero(np.isnan(values["tank"])).tolist() == [4] and not np.isnan(values["pump"]).any()


def test_sun_by_day_only() -> None:
    t = np.arange(0.0, 20 * DAY, 600.0)
    warm = sun(t, 9.0, 4)
    hour = t / 3600.0 % 24.0
    assert warm.max() > 4.0 and warm[(hour < 9.0) | (hour > 17.0)].max() == 0.0


def test_mixtures_lie_between_their_oils() -> None:
    old, new = OILS["hydraulic-32"], OILS["gear-150"]
    half = blend(old, new, 0.5)
    assert half.viscosity(40.0) == pytest.approx((32.0 * 150.0) ** 0.5, rel=0.01)
    assert blend(old, new, 0.0).v40 == pytest.approx(old.v40) and old.density15 < half.density15 < new.density15


def _stack_truth(*peaks: tuple[float, float]) -> Truth:
    """A day of a stack at 200 degC with ten-minute peaks: hour, and kelvins above the limit."""
    plant = _plant()
    t = np.arange(0.0, DAY, 10.0)
    stack = np.full(len(t), 200.0)
    for hour, over in peaks:
        stack[(t > hour * HOUR) & (t < hour * HOUR + 600.0)] = plant.stack_limit_C + over
    log = Log(columns={"t": t, "stack": stack}, edges={name: ([], []) for name in SWITCHES})
    return Truth(plant, log, Story(DAY, plant), DAY, {}, {})


def test_a_limit_is_passed_for_certain_only_beyond_the_probes_error() -> None:
    truth = _stack_truth((3.0, 1.0), (6.0, 15.0))
    _hot(truth, "stack-high", "stack", truth.plant.stack_limit_C, 3.0, 6 * HOUR)
    assert len(truth.expected) == 1
    item = truth.expected[0]
    assert item["condition"] == pytest.approx(6 * HOUR, abs=30.0)
    assert item["earliest"] == pytest.approx(3 * HOUR, abs=90.0)  # raised at the near one, it still stands
    near = _stack_truth((3.0, 1.0))
    _hot(near, "stack-high", "stack", near.plant.stack_limit_C, 3.0, 6 * HOUR)
    assert near.expected == [] and [x["alarm"] for x in near.story.tolerated] == ["stack-high"]


def test_what_comes_true_with_nothing_broken_is_only_tolerated() -> None:
    truth = _stack_truth()
    truth.expect("refill-without-burning", 100.0, 200.0, {"all": 300.0}, 400.0)
    truth.expect("refill-without-burning", 100.0, 200.0, {"all": 300.0}, 400.0, "siphon")
    truth.expect("pump-overrun", 100.0, 200.0, {"all": 300.0}, 400.0)
    _by_itself(truth)
    assert [(e["alarm"], e["cause"]) for e in truth.expected] == [
        ("refill-without-burning", "siphon"),
        ("pump-overrun", None),
    ]
    assert [x["alarm"] for x in truth.story.tolerated] == ["refill-without-burning"]
