"""Each fault shows as it would on a furnace, and what repairs it repairs it."""

from dataclasses import replace

import numpy as np
import pytest

from sootline.sim.actions import ACTIONS
from sootline.sim.faults import FAULTS, Fault, FaultBook
from sootline.sim.furnace import Furnace
from sootline.sim.plant import tank_volume_l
from sootline.sim.weather import Weather
from sootline.sim.workshop import CARRIAGE_SHOP, ENGINE_SHED

MINUTE_MS, HOUR_MS = 60_000, 3_600_000
SIX_MS = 1_767_571_200_000 + 6 * HOUR_MS  # the day's long firing begins
COLD = Weather(1, mean_C=-6.0, spread_K=1.0)


def _furnace(*faults, spec=ENGINE_SHED, before_h=0.5, start_C=None):
    """A furnace shortly before six in the morning."""
    return Furnace(spec, 3, SIX_MS - int(before_h * HOUR_MS), faults, COLD, start_C)


def _run(furnace, hours, step_s=20.0):
    """Advance and collect (edges, signals along the way)."""
    edges, course = [], []
    end_ms = furnace.t_ms + int(hours * HOUR_MS)
    while furnace.t_ms < end_ms:
        edges += furnace.advance(min(end_ms, furnace.t_ms + int(step_s * 1000)))
        course.append(furnace.signals())
    return edges, course


def _runs_s(edges, channel):
    """Lengths [s] of the times a channel was on, from its changes."""
    lengths, since = [], None
    for edge in edges:
        if edge.channel == channel:
            if edge.on:
                since = edge.t_ms
            elif since is not None:
                lengths.append((edge.t_ms - since) / 1000)
                since = None
    return lengths


def _column(course, channel):
    return np.array([signals[channel] for signals in course], float)


def test_every_fault_is_spelled_out_and_repaired_by_something_there_is():
    for name, kind in FAULTS.items():
        assert kind.name == name and kind.what and kind.repaired_by in ACTIONS


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"name": "gremlin"}, "unknown fault 'gremlin'"),
        ({"name": "half-element"}, "must name one of: tank, nozzle"),
        ({"name": "air-leak", "channel": "tank"}, "not on a channel"),
        ({"name": "air-leak", "end_ms": 0}, "ends before it starts"),
    ],
)
def test_a_fault_that_cannot_be_is_refused(wrong, message):
    with pytest.raises(ValueError, match=message):
        Fault(start_ms=0, **wrong)


def test_the_book_knows_what_stands_when():
    book = FaultBook([Fault("air-leak", 10, 20, size=0.5), Fault("air-leak", 15, size=0.8), Fault("cold-oil", 12, 13)])
    book.at(12)
    assert book.size("air-leak") == 0.5 and book.on("cold-oil") and book.next_change(12) == 13
    book.at(16)
    assert book.size("air-leak") == 0.8
    assert book.end("air-leak", 16) == 2 and not book.on("air-leak") and book.next_change(16) is None


@pytest.mark.parametrize(("name", "suction_Pa"), [("air-leak", (-3e3, 0.0)), ("supply-closed", (-90e3, -70e3))])
def test_no_oil_the_pump_runs_to_its_limit_without_a_dip(name, suction_Pa):
    furnace = _furnace(Fault(name, SIX_MS))
    edges, course = _run(furnace, 1.0, 2.0)
    assert _runs_s(edges, "pump")[-1] == pytest.approx(20.0, abs=0.001)
    assert furnace.gear.outputs["refill_lockout"]
    pumping = _column(course, "pump") > 0
    assert suction_Pa[0] < _column(course, "suction")[pumping][-1] < suction_Pa[1]
    refill = furnace.truth.refills[-1]
    assert refill.delivered_l == 0.0 and not refill.full
    furnace.act("repair", fault=name)
    for _ in range(4):
        furnace.act("refill-reset")
        _run(furnace, 1.5 / 60)
    assert furnace.truth.refills[-1].full


def test_no_oil_for_long_the_low_level_stops_heater_and_burner():
    furnace = _furnace(Fault("air-leak", SIX_MS))
    edges, _ = _run(furnace, 2.5)
    low = next(e for e in edges if e.channel == "low_level" and e.on)
    assert not furnace.gear.outputs["burner"] and not furnace.gear.outputs["tank_heater"]
    assert furnace.truth.phases[-1].phase == "preheat"
    stalled = next(r for r in furnace.truth.refills if not r.full)
    # Litres between the float's low level and the low-level switch, at the firing rate.
    litres = ENGINE_SHED.tank_volume_l - ENGINE_SHED.differential_l - ENGINE_SHED.low_level_l
    minutes = (low.t_ms - stalled.start_ms) / MINUTE_MS
    assert minutes == pytest.approx(60 * litres / ENGINE_SHED.firing_l_h, rel=0.05)


def test_an_empty_supply_tank_gives_nothing():
    furnace = _furnace()
    furnace.state = furnace.state._replace(supply_l=10.0)
    _run(furnace, 1.0)
    assert furnace.truth.refills[-1].delivered_l == 0.0
    furnace.act("fill-supply", litres=300.0)
    furnace.act("refill-reset")
    _run(furnace, 0.1)
    assert furnace.truth.refills[-1].delivered_l > 0.5
    assert furnace.state.supply_l == pytest.approx(310.0, abs=2.0)


def test_a_plugging_filter_slows_refills_until_it_is_changed():
    furnace = _furnace(Fault("filter-plugging", SIX_MS - 10 * HOUR_MS, size=6.0), before_h=10.0)
    edges, _ = _run(furnace, 11.5, 600.0)
    runs = [run for run in _runs_s(edges, "pump") if run < 19.9]
    assert runs[-1] > 1.15 * runs[0]
    furnace.act("change-filter")
    furnace.act("refill-reset")
    edges, _ = _run(furnace, 0.5, 60.0)
    assert _runs_s(edges, "pump")[-1] < 1.05 * runs[0]


def test_cold_oil_slows_refills_and_comes_back():
    start_ms = SIX_MS - 3 * HOUR_MS
    furnace = _furnace(Fault("cold-oil", start_ms, SIX_MS + HOUR_MS, size=8.0), before_h=4.0)
    _run(furnace, 10.0, 600.0)
    refills = furnace.truth.refills
    seconds = {r.start_ms: (r.end_ms - r.start_ms) / 1000 for r in refills}
    cold = [s for t, s in seconds.items() if SIX_MS < t < SIX_MS + HOUR_MS]
    late = [s for t, s in seconds.items() if t > SIX_MS + 5 * HOUR_MS]
    assert np.mean(cold) > 1.15 * np.mean(late)


def test_a_welded_pump_relay_overfills_and_spills_until_the_power_is_off():
    furnace = _furnace(Fault("pump-relay-welded", SIX_MS))
    edges, _ = _run(furnace, 0.9)
    moments = {e.channel: e.t_ms for e in edges if e.on and e.channel in ("high_level", "leak", "pump")}
    assert furnace.gear.outputs["pump"] and moments["pump"] == SIX_MS
    assert SIX_MS < moments["high_level"] < moments["leak"] < SIX_MS + 60_000
    assert not furnace.gear.outputs["refill_lockout"]  # the float was satisfied in time: nothing latches
    furnace.act("service-switch", on=False)
    edges, _ = _run(furnace, 0.02)
    assert not furnace.gear.outputs["pump"] and furnace.truth.phases[-1].phase == "off"
    furnace.act("repair", fault="pump-relay-welded")
    furnace.act("empty-tray")
    furnace.act("skim-tank")
    furnace.act("service-switch", on=True)
    _run(furnace, 0.02)
    out = furnace.gear.outputs
    assert not (out["pump"] or out["leak"] or out["high_level"])


def test_a_dead_pump_motor_delivers_nothing_and_draws_no_vacuum():
    furnace = _furnace(Fault("pump-motor-dead", SIX_MS))
    _, course = _run(furnace, 1.0, 5.0)
    assert furnace.truth.refills[-1].delivered_l == 0.0
    assert _column(course, "suction").min() > -40e3 or not furnace.gear.outputs["pump"]
    assert _column(course, "suction")[-1] == 0.0


def test_a_float_stuck_down_overfills_to_the_limit():
    furnace = _furnace(Fault("float-stuck-down", SIX_MS + 30 * MINUTE_MS))
    _, course = _run(furnace, 1.2)
    refill = furnace.truth.refills[-1]
    assert not refill.full and refill.delivered_l > 0.6
    assert _column(course, "tank_level").max() > 1.015
    assert furnace.gear.outputs["float"] and furnace.gear.outputs["refill_lockout"]


def test_a_float_stuck_up_lets_the_tank_run_low():
    furnace = _furnace(Fault("float-stuck-up", SIX_MS))
    edges, _ = _run(furnace, 2.0)
    assert not [e for e in edges if e.channel == "pump" and e.t_ms > SIX_MS]
    assert furnace.gear.outputs["low_level"]
    furnace.act("repair", fault="float-stuck-up")
    _run(furnace, 0.1)
    assert furnace.truth.refills[-1].delivered_l > 0.5


def test_a_chattering_float_makes_short_runs():
    furnace = _furnace(Fault("float-chatter", SIX_MS))
    edges, _ = _run(furnace, 1.0)
    short = [run for run in _runs_s(edges, "pump") if run < 2.0]
    assert len(short) > 10
    furnace.act("repair", fault="float-chatter")
    edges, _ = _run(furnace, 0.6)
    assert min(_runs_s(edges, "pump")[1:]) > 8.0


def test_a_loop_leak_refills_without_fire():
    furnace = _furnace(Fault("loop-leak", SIX_MS, size=4.0), Fault("no-ignition", SIX_MS - HOUR_MS))
    _run(furnace, 1.5)
    refills = [r for r in furnace.truth.refills if r.start_ms > SIX_MS]
    assert len(refills) >= 3 and all(r.burned_kg < 0.05 for r in refills[1:])
    assert furnace.totals.lost_kg > 3.0


@pytest.mark.parametrize(("name", "ratio"), [("half-element", 2.0), ("heater-open", None), ("cut-out-tripped", None)])
@pytest.mark.parametrize("heater", ["tank", "nozzle"])
def test_a_sick_heater_heats_slowly_or_not_at_all(name, heater, ratio):
    healthy = _furnace(start_C=10.0)
    sick = _furnace(Fault(name, SIX_MS - HOUR_MS, channel=heater), start_C=10.0)
    _run(healthy, 0.08)
    _, course = _run(sick, 0.08)
    rise_K = sick.signals()[heater] - 10.0
    if ratio is None:
        assert rise_K < 1.0
        assert _column(course, f"{heater}_heater")[-1] == 1.0 and _column(course, f"{heater}_heater_current")[-1] == 0.0
    else:
        assert (healthy.signals()[heater] - 10.0) / rise_K == pytest.approx(ratio, rel=0.15)
        current = _column(course, f"{heater}_heater_current")[-1]
        assert current == pytest.approx(healthy.signals()[f"{heater}_heater_current"] / 2)
    sick.act("reset-cut-out" if name == "cut-out-tripped" else "repair", **_repair(name, heater))
    _run(sick, 0.4)
    assert sick.signals()[heater] > 60.0


def _repair(name, heater):
    return {"heater": heater} if name == "cut-out-tripped" else {"fault": name, "channel": heater}


def test_a_weak_cut_out_stops_the_preheat_far_too_early():
    furnace = _furnace(Fault("cut-out-weak", SIX_MS - HOUR_MS, size=41.0, channel="tank"), start_C=10.0)
    _, course = _run(furnace, 0.5)
    assert 40.0 < _column(course, "tank").max() < 46.0
    assert _column(course, "tank_heater")[-1] == 1.0 and _column(course, "tank_heater_current")[-1] == 0.0
    furnace.act("repair", fault="cut-out-weak")
    furnace.act("reset-cut-out", heater="tank")
    _run(furnace, 0.3)
    assert furnace.signals()["tank"] > 60.0


def test_topping_up_by_hand_cools_the_tank_and_empties_the_supply():
    furnace = _furnace(Fault("float-stuck-up", SIX_MS))
    _run(furnace, 1.0)
    before, supply_l = furnace.state, furnace.state.supply_l
    missing_l = ENGINE_SHED.tank_volume_l - tank_volume_l(before)
    furnace.act("top-up")
    assert furnace.signals()["tank_level"] == pytest.approx(1.0, abs=0.01)
    assert furnace.state.tank_C < before.tank_C - 5.0
    assert supply_l - furnace.state.supply_l == pytest.approx(missing_l)


def test_a_shorted_relay_heats_with_its_drive_off_until_the_cut_out_opens():
    spec = replace(CARRIAGE_SHOP, building=replace(CARRIAGE_SHOP.building, night_C=-20.0))  # nobody calls at night
    furnace = _furnace(Fault("ssr-shorted", SIX_MS - 8 * HOUR_MS, channel="nozzle"), spec=spec, before_h=8.5)
    edges, course = _run(furnace, 1.5)
    assert not [e for e in edges if e.channel == "call" and e.on]
    assert _column(course, "nozzle").max() > CARRIAGE_SHOP.nozzle_limit_C
    assert not furnace.gear.outputs["nozzle_heater"] and furnace.gear.tripped["nozzle"].closed
    assert furnace.signals()["nozzle"] < CARRIAGE_SHOP.nozzle.cutout_C


def test_worn_electrodes_light_later_until_they_are_changed():
    furnace = _furnace(Fault("electrodes-worn", SIX_MS - 12 * HOUR_MS, size=4.0), before_h=12.0)
    _run(furnace, 6.0, 600.0)
    furnace.act("change-electrodes")
    changed_ms = furnace.t_ms
    _run(furnace, 17.0, 600.0)
    late = [f.light_s for f in furnace.truth.firings if f.start_ms < changed_ms]
    after = [f.light_s for f in furnace.truth.firings if f.start_ms > changed_ms]
    assert min(late) > 5.0 and max(after) < 4.0


def test_no_spark_locks_out_and_resetting_does_not_help_until_repaired():
    furnace = _furnace(Fault("no-ignition", SIX_MS - HOUR_MS))
    _, course = _run(furnace, 1.0)
    assert furnace.truth.phases[-1].phase == "lockout" and _column(course, "stack").max() < 40.0
    furnace.act("primary-reset")
    _run(furnace, 0.02)
    assert furnace.gear.outputs["lockout"]
    furnace.act("change-electrodes")
    furnace.act("primary-reset")
    _run(furnace, 0.02)
    assert furnace.truth.phases[-1].phase == "firing"


def test_a_blind_flame_detector_locks_out_after_the_stack_has_warmed():
    furnace = _furnace(Fault("flame-detector-dirty", SIX_MS - HOUR_MS))
    edges, course = _run(furnace, 1.0)
    assert furnace.gear.outputs["lockout"] and not [e for e in edges if e.channel == "flame"]
    stack_C = _column(course, "stack")
    assert 20.0 < stack_C.max() - stack_C[0] < 150.0


def test_a_water_slug_puts_the_flame_out_once_and_it_recycles():
    furnace = _furnace(Fault("water-slug", SIX_MS + 20 * MINUTE_MS))
    edges, _ = _run(furnace, 1.0)
    lost = [e for e in edges if e.channel == "flame" and not e.on and e.t_ms >= SIX_MS]
    off = [e for e in edges if e.channel == "burner" and not e.on and e.t_ms >= SIX_MS]
    assert len(lost) == len(off) == 1 and off[0].t_ms - lost[0].t_ms == pytest.approx(1500, abs=60)
    assert [p.phase for p in furnace.truth.phases if p.start_ms >= off[0].t_ms][:4] == [
        "recycle",
        "purge",
        "ignition",
        "firing",
    ]
    assert furnace.truth.faults[0].end_ms - lost[0].t_ms in (0, 1)


def test_a_sagging_compressor_lowers_pressure_and_fire():
    furnace = _furnace(Fault("compressor-sag", SIX_MS + 30 * MINUTE_MS, size=0.39))
    _, course = _run(furnace, 1.4)
    pressure, stack_C = _column(course, "air_pressure"), _column(course, "stack")
    firing = pressure > 0
    assert pressure[firing][-1] == pytest.approx(0.61 * ENGINE_SHED.air_pressure_Pa, rel=0.03)
    assert stack_C[-1] < stack_C[firing].max() - 30.0
    furnace.act("repair", fault="compressor-sag")
    _, course = _run(furnace, 0.3)
    assert _column(course, "stack")[-1] > stack_C[-1] + 30.0


def test_a_wrong_nozzle_overfires_until_changed():
    furnace = _furnace(Fault("wrong-nozzle", SIX_MS + 30 * MINUTE_MS, size=1.23))
    _, course = _run(furnace, 1.0)
    normal_C = _column(course, "stack").max()
    _run(furnace, 0.5)
    assert furnace.signals()["stack"] > normal_C + 30.0
    assert furnace.drive.nozzle_kg_s == pytest.approx(1.23 * furnace.exchanger.fuel_kg_s, rel=0.02)
    furnace.act("change-nozzle")
    _run(furnace, 0.4)
    assert furnace.signals()["stack"] < normal_C + 10.0


def test_a_slipping_belt_makes_hotter_air_a_hotter_stack_and_opens_the_limit():
    furnace = _furnace(Fault("belt-slip", SIX_MS + 30 * MINUTE_MS, size=0.25))
    _, course = _run(furnace, 1.0)
    stack_C, air_C = _column(course, "stack").max(), _column(course, "supply_air").max()
    _run(furnace, 0.4)
    assert furnace.signals()["stack"] > stack_C + 20.0 and furnace.signals()["supply_air"] > air_C + 8.0
    furnace = _furnace(Fault("belt-slip", SIX_MS, size=0.55))
    edges, course = _run(furnace, 1.5)
    assert len([e for e in edges if e.channel == "limit" and e.on]) >= 2
    assert "limit" in {p.phase for p in furnace.truth.phases} and _column(course, "call")[-1] == 1.0
    furnace.act("repair", fault="belt-slip")
    edges, _ = _run(furnace, 1.0)
    assert not [e for e in edges if e.channel == "limit" and e.on]


def test_a_stopped_loop_pump_feeds_the_nozzle_cold_oil():
    furnace = _furnace(Fault("loop-pump-stopped", SIX_MS))
    edges, _ = _run(furnace, 1.0)
    assert [e for e in edges if e.channel == "circulation" and not e.on]
    assert furnace.drive.line_C == furnace.state.air_C


def test_a_shorted_thermostat_fires_without_call():
    start_ms = SIX_MS + 13 * HOUR_MS  # night set-back: no call
    furnace = Furnace(ENGINE_SHED, 3, start_ms - HOUR_MS, [Fault("thermostat-shorted", start_ms)], COLD, 16.0)
    _, course = _run(furnace, 2.5)
    assert _column(course, "call").max() == 0.0
    assert furnace.gear.flame and furnace.signals()["stack"] > 200.0
    furnace.act("repair", fault="thermostat-shorted")
    _run(furnace, 0.01)
    assert not furnace.gear.flame


def test_a_draught_on_the_thermostat_makes_short_cycles():
    furnace = _furnace(Fault("thermostat-draught", SIX_MS + 6 * HOUR_MS, size=7.0), before_h=0.1)
    _run(furnace, 6.1, 600.0)
    before = len(furnace.truth.firings)
    _run(furnace, 2.0, 60.0)
    cycles = [(f.end_ms - f.start_ms) / 1000 for f in furnace.truth.firings[before + 1 :]]
    assert len(cycles) > 12 and np.mean(cycles) < 180.0


def test_more_ash_fouls_faster_and_cleaning_undoes_it():
    plain, dirty = _furnace(), _furnace(Fault("high-ash", SIX_MS - HOUR_MS, size=3.0))
    for furnace in (plain, dirty):
        _run(furnace, 3.0, 600.0)
    assert dirty.stack_rise_K == pytest.approx(3.0 * plain.stack_rise_K, rel=0.02)
    before_K = dirty.stack_rise_K
    dirty.act("clean")
    assert dirty.stack_rise_K < 0.06 * before_K


def test_ash_takes_draft_over_the_fire():
    furnace = _furnace()
    _run(furnace, 1.0, 600.0)
    clean = furnace.signals()
    furnace.around.fouling_K_W = 0.15 / furnace.exchanger.gas_side_W_K
    furnace.advance(furnace.t_ms + 10 * MINUTE_MS)
    fouled = furnace.signals()
    assert -16.0 < clean["draft_breech"] < clean["draft_fire"] < -1.0
    assert fouled["draft_fire"] > clean["draft_fire"] + 2.0
    assert fouled["draft_breech"] == pytest.approx(clean["draft_breech"], abs=1.5)


def test_power_off_stops_everything_and_power_on_starts_again():
    furnace = _furnace(Fault("power-off", SIX_MS + 20 * MINUTE_MS, SIX_MS + 30 * MINUTE_MS))
    _run(furnace, 0.9)
    out = furnace.gear.outputs
    assert furnace.truth.phases[-1].phase == "off"
    assert not any(out[n] for n in ("power", "burner", "pump", "blower", "tank_heater", "nozzle_heater", "circulation"))
    _run(furnace, 0.2)
    assert furnace.truth.phases[-1].phase == "firing"


def test_sensor_faults_leave_the_furnace_alone():
    healthy, sick = _furnace(), _furnace(Fault("sensor-open", SIX_MS, channel="stack"))
    assert _run(healthy, 1.0)[0] == _run(sick, 1.0)[0]
    assert sick.sensor_faults == {"stack": "open"} and healthy.sensor_faults == {}


def test_a_new_set_point_is_kept():
    furnace = _furnace()
    furnace.act("set-point", heater="tank", value_C=72.0)
    _run(furnace, 0.45)
    assert furnace.signals()["tank"] == pytest.approx(72.0, abs=3.5)
