"""The live furnace: time, order of changes, phases, balances over a day, realism of its cycling."""

import numpy as np
import pytest

from sootline.sim.furnace import Furnace
from sootline.sim.plant import tank_volume_l
from sootline.sim.truth import Truth
from sootline.sim.workshop import CARRIAGE_SHOP, ENGINE_SHED

MONDAY_MS = 1_767_571_200_000
HOUR_MS = 3_600_000


@pytest.fixture(scope="module")
def day():
    furnace = Furnace(ENGINE_SHED, 5, MONDAY_MS)
    edges = furnace.advance(MONDAY_MS + 24 * HOUR_MS)
    return furnace, edges


@pytest.fixture(scope="module")
def stepped():
    """The same day in calls of 1.7 s, as a live loop makes them."""
    furnace, edges = Furnace(ENGINE_SHED, 5, MONDAY_MS), []
    for t_ms in range(MONDAY_MS, MONDAY_MS + 6 * HOUR_MS, 1700):
        edges += furnace.advance(t_ms)
    return edges


def test_changes_come_in_order_and_each_turns_what_was_the_other_way(day):
    _, edges = day
    assert [e.t_ms for e in edges] == sorted(e.t_ms for e in edges)
    state = {}
    for edge in edges:
        assert state.get(edge.channel) is not edge.on
        state[edge.channel] = edge.on


def test_the_last_change_of_each_channel_is_what_the_signals_say(day):
    furnace, edges = day
    last = {edge.channel: edge.on for edge in edges}
    signals = furnace.signals()
    assert set(signals) == set(ENGINE_SHED.channels)
    for name, on in last.items():
        assert signals[name] is on


@pytest.mark.parametrize("channel", ["pump", "burner", "blower"])
def test_short_steps_and_long_steps_give_the_same_day(day, stepped, channel):
    early = [e for e in day[1] if e.channel == channel and e.t_ms < MONDAY_MS + 5 * HOUR_MS]
    also = [e for e in stepped if e.channel == channel][: len(early)]
    assert len(early) > 10
    assert [e.on for e in early] == [e.on for e in also]
    assert max(abs(a.t_ms - b.t_ms) for a, b in zip(early, also, strict=True)) < 20_000


def test_phases_follow_each_other_without_gaps(day):
    truth: Truth = day[0].truth
    assert truth.phases[0].start_ms == MONDAY_MS and truth.phases[-1].end_ms == MONDAY_MS + 24 * HOUR_MS
    assert all(
        a.end_ms == b.start_ms and a.phase != b.phase for a, b in zip(truth.phases, truth.phases[1:], strict=False)
    )
    for before, after in zip(truth.phases, truth.phases[1:], strict=False):
        if after.phase == "firing":
            assert before.phase == "ignition" and after.start_ms - before.start_ms < 15_000


def test_oil_burned_is_oil_pumped_less_what_the_tank_gained(day):
    furnace, _ = day
    first = Furnace(ENGINE_SHED, 5, MONDAY_MS)
    totals = furnace.totals
    gained_kg = furnace.state.tank_kg - first.state.tank_kg
    assert totals.burned_kg == pytest.approx(totals.pumped_kg - gained_kg, rel=1e-9)
    assert totals.pumped_l == pytest.approx(first.state.supply_l - furnace.state.supply_l, rel=1e-9)


def test_refills_times_differential_is_nearly_the_oil_burned(day):
    # What a monitor has to rely on: the float's differential, counted. A little more is burned than that: some burns
    # while the pump runs, and the cold oil swells as it warms.
    truth = day[0].truth
    counted_l = (len(truth.refills) - 1) * ENGINE_SHED.differential_l
    between = [r for r in truth.refills if r.start_ms > truth.refills[0].start_ms]
    burned_l = sum(r.burned_kg for r in between) / ENGINE_SHED.first_oil.density_kg_l(ENGINE_SHED.tank.setpoint_C)
    assert 1.03 < burned_l / counted_l < 1.10


def test_a_refill_lasts_what_it_delivers_at_the_pumps_flow(day):
    furnace = day[0]
    for refill in furnace.truth.refills:
        flow = furnace.suction.flow_l_s(ENGINE_SHED.first_oil.viscosity_mm2_s(refill.oil_C), 1.0)
        assert (refill.end_ms - refill.start_ms) / 1000 == pytest.approx(refill.delivered_l / flow, rel=0.005)


def test_the_heat_of_the_oil_goes_up_the_flue_or_into_the_building(day):
    totals = day[0].totals
    out_J = totals.flue_J + totals.air_J + totals.jacket_J + totals.soak_J
    assert out_J == pytest.approx(totals.fire_J, rel=0.01)  # what is left is the warmth of the metal
    assert 0.75 < totals.air_J / totals.fire_J < 0.90


def test_a_cold_day_burns_hours_not_minutes_in_firings_of_useful_length(day):
    firings = day[0].truth.firings
    minutes = np.array([(f.end_ms - f.start_ms) / 60_000 for f in firings])
    assert 5.0 < minutes.sum() / 60 < 18.0
    assert (minutes > 10.0).mean() > 0.8
    lights = np.array([f.light_s for f in firings])
    assert 1.5 < lights.mean() < 3.0 and 0.1 < lights.std() < 0.6


def test_steady_stack_of_the_clean_furnace_scatters_by_some_kelvin_around_its_mark():
    furnace = Furnace(ENGINE_SHED, 9, MONDAY_MS)
    lit_ms, ends = None, []
    for t_ms in range(MONDAY_MS, MONDAY_MS + 3 * 24 * HOUR_MS, 60_000):
        for edge in furnace.advance(t_ms):
            if edge.channel == "flame":
                lit_ms = edge.t_ms if edge.on else None
        if lit_ms is not None and t_ms - lit_ms > 9 * 60_000:
            ends.append(furnace.state.stack_probe_C - furnace.state.air_C - furnace.stack_rise_K)
    assert np.mean(ends) == pytest.approx(ENGINE_SHED.clean_net_stack_K, abs=8.0)
    assert 1.0 < np.std(ends) < 8.0


def test_on_call_oil_is_cold_until_the_call_and_preheated_before_the_burner():
    furnace = Furnace(CARRIAGE_SHOP, 5, MONDAY_MS, start_C=8.0)
    furnace.advance(MONDAY_MS + 9 * HOUR_MS)
    truth = furnace.truth
    done = [p for p in truth.preheats if p.done and p.channel == "tank"]
    assert done and done[0].start_C < 15.0 and done[0].end_C >= 55.0
    assert 8 * 60_000 < done[0].end_ms - done[0].start_ms < 30 * 60_000  # common practice: 8 to 30 min from cold
    first = truth.firings[0]
    assert first.start_ms > done[0].end_ms
    assert [p.phase for p in truth.phases if p.end_ms <= first.start_ms][-3:] == ["preheat", "purge", "ignition"]


def test_the_tank_stays_between_its_thermostat_and_a_little_over():
    furnace = Furnace(ENGINE_SHED, 2, MONDAY_MS)
    tank_C = []
    for t_ms in range(MONDAY_MS, MONDAY_MS + 12 * HOUR_MS, 30_000):
        furnace.advance(t_ms)
        tank_C.append(furnace.state.tank_probe_C)
    assert max(tank_C) > 67.0 and max(tank_C) < 69.0  # the element gives its heat after it is switched off
    assert min(tank_C) > 59.0
    assert 7.4 < tank_volume_l(furnace.state) < 8.1


def test_unknown_names_are_refused_in_one_line():
    furnace = Furnace(ENGINE_SHED, 1, MONDAY_MS)
    with pytest.raises(ValueError, match="unknown action 'kick'"):
        furnace.act("kick")
