"""The demo's story: what it says happens does happen in the readings, at its time."""

import numpy as np
import pytest

from sootline.profile import parse
from sootline.sim.faults import FAULTS
from sootline.sim.scenarios import DAYS, FURNACES, at, live_actions, live_faults, live_model, story
from sootline.sim.weather import DAY_MS, HOUR_MS

MINUTE_MS = 60_000
NAMES = ("engine-shed", "carriage-shop")
SEEN = ("tank", "nozzle", "stack", "pump", "float", "lockout", "limit", "low_level", "leak", "supply_level", "room")


@pytest.fixture(scope="module")
def engine_shed():
    return story("engine-shed").run(interval_s=30.0, channels=SEEN)


@pytest.fixture(scope="module")
def carriage_shop():
    return story("carriage-shop").run(interval_s=30.0)


def _changed_on(rows, channel):
    """Moments at which an on/off channel went on."""
    column = rows.values[channel]
    known = ~np.isnan(column)
    went = np.flatnonzero(np.diff(column[known]) > 0) + 1
    return rows.t_ms[known][went]


def _between(rows, channel, start_ms, end_ms):
    column = rows.between(start_ms, end_ms).values[channel]
    return column[~np.isnan(column)]


@pytest.mark.parametrize("name", NAMES)
def test_the_profile_with_its_log_is_one_the_tool_takes(name):
    told = story(name)
    profile = parse(told.profile_toml)
    assert profile.furnace.id == name and profile.log == told.log
    spec = FURNACES[name]
    assert profile.tank.setpoint_C == spec.tank.setpoint_C and profile.nozzle.limit_C == spec.nozzle_limit_C
    assert profile.refill.limit_s == spec.limit_s and profile.furnace.heating == spec.heating
    assert profile.furnace.rated_input_kW == spec.rated_W / 1000
    assert profile.stack.limit_C == spec.stack_limit_C and profile.refill.differential_l == spec.differential_l


def test_a_story_that_is_not_told():
    with pytest.raises(ValueError, match="no story of 'pump-house'"):
        story("pump-house")


@pytest.mark.parametrize("name", NAMES)
def test_everything_told_lies_in_the_four_weeks(name):
    told = story(name)
    moments = [f.start_ms for f in told.faults] + [t for t, _, _ in told.actions] + [e.at_ms for e in told.log]
    assert all(at(0, "00:00") <= t < at(DAYS, "00:00") for t in moments)
    assert told.start_ms < told.clock_set_ms < told.end_ms
    assert {fault.name for fault in told.faults} <= set(FAULTS)


def test_friday_morning_the_refill_stalls_the_tank_runs_low_and_is_filled_again(engine_shed):
    rows, truth = engine_shed
    stalled = next(r for r in truth.refills if not r.full)
    assert abs(stalled.start_ms - at(4, "06:52")) < 5 * MINUTE_MS
    assert stalled.end_ms - stalled.start_ms == 20_000 and stalled.delivered_l == 0.0
    low = next(t for t in _changed_on(rows, "low_level") if t > stalled.end_ms)
    assert 40 * MINUTE_MS < low - stalled.end_ms < 47 * MINUTE_MS
    again = [r for r in truth.refills if at(4, "08:10") <= r.start_ms < at(4, "08:18")]
    assert not again[0].full and again[-1].full


def test_refills_slow_with_the_filter_never_reach_the_limit_and_recover(engine_shed):
    _, truth = engine_shed

    def median_s(day):
        runs = [r for r in truth.refills if at(day, "09:00") < r.start_ms < at(day + 1, "06:00") and r.full]
        return np.median([(r.end_ms - r.start_ms) / 1000 for r in runs])

    assert median_s(12) > 1.2 * median_s(6) and median_s(15) < 1.05 * median_s(6)
    assert all(r.full for r in truth.refills if at(7, "00:00") < r.start_ms)


def test_thursday_two_resets_do_not_help(engine_shed):
    rows, _ = engine_shed
    locked = [t for t in _changed_on(rows, "lockout") if at(10, "00:00") <= t < at(11, "00:00")]
    assert len(locked) == 3 and abs(locked[0] - at(10, "07:10")) < MINUTE_MS


def test_two_water_slugs_on_saturday(engine_shed):
    _, truth = engine_shed
    recycles = [p for p in truth.phases if p.phase == "recycle" and at(12, "00:00") <= p.start_ms < at(13, "00:00")]
    assert len(recycles) == 2 and recycles[1].start_ms - recycles[0].start_ms < HOUR_MS


def test_the_stack_probe_is_open_sunday_night_and_the_float_hangs_on_tuesday(engine_shed):
    rows, truth = engine_shed
    assert {f.channel for f in rows.faults} == {"stack"}
    assert all(at(13, "03:30") <= f.t_ms < at(13, "09:30") for f in rows.faults)
    gaps = [r for r in truth.refills if at(15, "06:30") < r.start_ms < at(15, "07:30") and r.interval_s]
    assert max(r.interval_s for r in gaps) > 1.6 * 7.5 * 60


def test_oil_leaves_the_loop_by_night(engine_shed):
    _, truth = engine_shed
    unburned = [r for r in truth.refills if at(17, "03:00") <= r.start_ms < at(17, "08:30") and r.burned_kg < 0.05]
    assert len(unburned) >= 2


def test_belt_relay_nozzle_and_cleaning(engine_shed):
    rows, truth = engine_shed
    limits = [t for t in _changed_on(rows, "limit") if at(19, "00:00") <= t < at(20, "00:00")]
    assert len(limits) >= 2
    overrun = next(r for r in truth.refills if r.start_ms == at(21, "14:06"))
    leak = next(t for t in _changed_on(rows, "leak") if t > overrun.start_ms)
    assert overrun.end_ms - overrun.start_ms == 80_000 and leak - overrun.start_ms < 40_000
    assert _between(rows, "stack", at(22, "08:30"), at(23, "08:30")).max() > FURNACES["engine-shed"].stack_limit_C
    rises = {rise.t_ms: rise.rise_K for rise in truth.stack_rise_K}
    assert rises[at(24, "12:00")] > 50.0 and rises[at(24, "14:00")] < 5.0
    assert rises[at(14, "00:00")] < 25.0  # two weeks of 14 K/100 h


def test_the_supply_runs_low_by_the_first_sunday_but_never_dry(engine_shed):
    rows, _ = engine_shed
    level = rows.values["supply_level"]
    sunday = _between(rows, "supply_level", at(6, "12:00"), at(7, "00:00"))
    used_a_day = np.mean(_between(rows, "supply_level", at(5, "12:00"), at(5, "13:00"))) - np.mean(sunday[:60])
    assert 1.5 < sunday.mean() / used_a_day < 4.0
    assert np.nanmin(level) > 0.08


def test_the_thermostat_is_shorted_on_friday_evening(engine_shed):
    _, truth = engine_shed
    firings = [f for f in truth.firings if f.start_ms < at(25, "20:39") and f.end_ms > at(25, "19:04")]
    assert len(firings) <= 2 and firings[-1].end_ms == at(25, "20:40")


def test_the_carriage_shop_preheats_slowly_with_half_an_element(carriage_shop):
    _, truth = carriage_shop
    cold = {
        (p.start_ms - at(0, "00:00")) // DAY_MS: (p.end_ms - p.start_ms) / MINUTE_MS
        for p in truth.preheats
        if p.channel == "tank" and p.start_C < 10.0 and p.done
    }
    assert cold[7] > 1.9 * cold[6] and cold[8] > 1.9 * cold[6] and cold[9] < 1.1 * cold[6]


def test_the_carriage_shops_nozzle_relay_shorts_and_its_cut_out_stops_a_preheat(carriage_shop):
    rows, _ = carriage_shop
    assert _between(rows, "nozzle", at(16, "21:40"), at(16, "22:11")).max() < 40.0
    assert _between(rows, "nozzle", at(16, "22:12"), at(16, "22:50")).max() > FURNACES["carriage-shop"].nozzle_limit_C
    assert _between(rows, "call", at(16, "21:40"), at(16, "22:50")).max() == 0.0
    stalled = _between(rows, "tank", at(19, "06:00"), at(19, "10:00"))
    assert 40.0 < stalled.max() < 46.0
    assert _between(rows, "tank", at(19, "10:31"), at(19, "11:30")).max() > 60.0


def test_the_carriage_shop_short_cycles_on_friday(carriage_shop):
    _, truth = carriage_shop
    firings = [f for f in truth.firings if at(18, "10:05") < f.start_ms < at(18, "12:25")]
    assert len(firings) > 15 and np.mean([f.end_ms - f.start_ms for f in firings]) < 3 * MINUTE_MS


def test_a_story_moved_is_the_same_readings_later():
    told = story("carriage-shop")
    later = told.moved(10 * DAY_MS + 12_345)
    rows, _ = told.run(until_ms=told.start_ms + 4 * HOUR_MS)
    moved, _ = later.run(until_ms=later.start_ms + 4 * HOUR_MS)
    assert np.array_equal(rows.t_ms + 10 * DAY_MS + 12_345, moved.t_ms)
    assert all(np.array_equal(rows.values[n], moved.values[n], equal_nan=True) for n in rows.values)
    assert later.log[0].at_ms - told.log[0].at_ms == 10 * DAY_MS + 12_345
    assert later.moved(-10 * DAY_MS - 12_345) == told


@pytest.mark.parametrize("now_ms", [at(0, "10:00"), at(200, "03:17") + 123])
def test_live_the_next_refill_stalls_within_five_minutes_and_the_reset_clears_it(now_ms):
    furnace = live_model("engine-shed", now_ms, faults=live_faults(now_ms))
    assert furnace.t_ms == now_ms and furnace.gear.phase() == "preheat"  # a board that starts now sees it light
    edges = []
    for t_ms, name, details in live_actions(now_ms):
        edges += furnace.advance(t_ms)
        furnace.act(name, **details)
    edges += furnace.advance(now_ms + 10 * MINUTE_MS)
    lit = next(e.t_ms for e in edges if e.channel == "burner" and e.on)
    assert 30_000 < lit - now_ms < 90_000
    latched = next(e.t_ms for e in edges if e.channel == "refill_lockout" and e.on)
    assert 2 * MINUTE_MS < latched - now_ms < 5 * MINUTE_MS
    cleared = furnace.truth.refills[-1]
    assert cleared.full and cleared.end_ms - cleared.start_ms < 19_000
    assert furnace.gear.phase() == "firing"


def test_live_the_other_furnace_fires_too_and_refills_when_it_has_burned_its_oil():
    furnace = live_model("carriage-shop", at(3, "12:00"))
    furnace.advance(at(3, "12:05"))
    assert furnace.gear.phase() == "firing" and not furnace.truth.refills
    furnace.advance(at(3, "12:12"))
    assert furnace.truth.refills[-1].full
