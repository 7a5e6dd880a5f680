"""The records: which furnace, how long, what befalls it. Names and seeds are permanent."""

# ruff: noqa: E501 (one record a line)

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.records import events as e
from tests.records import faults_fire as f
from tests.records import faults_oil as o
from tests.records.record import Recipe
from tests.records.story import Story

Happening = Callable[[Story], None]


def does(function: Callable[..., None], *args: Any, **more: Any) -> Happening:
    """A happening with its particulars filled in."""

    def happen(story: Story) -> None:
        function(story, *args, **more)

    return happen


def _fault(name: str, seed: int, days: float, *happenings: Happening, **more: Any) -> Recipe:
    return Recipe(name, seed, days, happenings=happenings, **more)


def _clean(name: str, seed: int, days: float, *happenings: Happening, **more: Any) -> Recipe:
    return Recipe(name, seed, days, happenings=happenings, clean=True, **more)


REFILL = ("refill_lockout", "low_level")
FLAME = ("burner", "flame", "lockout")

# fmt: off
FAULTY = (
    _fault("r01-suction-air-leak", 101, 20, does(o.no_oil, 13.3, 9.0), does(e.doors, 6, 1), start="2025-12-01", fixed={"must_have": REFILL}),
    _fault("r02-lost-prime-in-frost", 102, 18, does(e.cold_snap, 11, 5, -12.0), does(o.no_oil, 12.1, 14.0, "closed-valve"), start="2026-01-05", fixed={"must_have": REFILL, "freeze_C": 5.0}, form="csv"),
    _fault("r03-pump-motor-dead", 103, 16, does(o.no_oil, 10.4, 11.0, "pump-motor-dead"), start="2026-01-12", form="packs", fixed={"keep_warm": True}, zone_h=-6.0),
    _fault("r04-float-stuck-down", 104, 18, does(o.float_stuck_down, 11.6, 7.0), profile="typical", fixed={"must_have": ("high_level",)}),
    _fault("r05-pump-relay-welded", 105, 16, does(o.pump_weld, 9.5, 9.0), start="2026-02-02", fixed={"must_have": ("leak", "high_level")}),
    _fault("r06-float-stuck-up", 106, 18, does(o.float_stuck_up, 10.35, 12.0), start="2026-01-19", profile="sparse"),
    _fault("r07-filter-plugging", 107, 42, does(o.filter_plugging, 14, 24, 2.0), does(e.cold_snap, 20, 3, -8.0), start="2025-12-08", fixed={"refill_share": 0.32, "supply_outdoor": 0.4, "load": 0.6}),
    _fault("r08-sludge-in-filter", 108, 24, does(o.filter_plugging, 12, 6, 3.2), start="2026-01-10", fixed={"refill_share": 0.4, "must_have": REFILL, "load": 0.6}, profile="typical"),
    _fault("r09-fitting-leaks-at-night", 109, 20, does(o.idle_leak, 12.95, 9.0), does(o.tray_leak, 17.2, 3.0), fixed={"must_have": ("leak",), "keep_warm": True, "setback": True}),
    _fault("r10-siphon", 110, 18, does(o.idle_leak, 11.97, 7.5, 1.4, False), start="2026-03-02", profile="sparse", fixed={"setback": True, "january_C": -1.0}),
    _fault("r11-float-chatter", 111, 16, does(o.float_chatter, 10.3, 10.0), start="2026-01-07", fixed={"setback": False}),
    _fault("r12-nozzle-wears", 112, 48, does(f.nozzle_wear, 12, 30, 1.33), start="2025-12-01", fixed={"load": 0.6}),
    _fault("r13-loop-leak", 113, 26, does(o.loop_leak, 13, 0.28), start="2026-01-03", profile="typical"),
    _fault("r14-half-element-tank", 114, 24, does(o.weak_element, 13, 8, "tank"), start="2026-01-05", fixed={"keep_warm": False, "tank_set_C": 60.0, "loop": False, "setback": True}),
    _fault("r15-weak-nozzle-heater", 115, 24, does(o.weak_element, 12, 9, "nozzle", 0.58), start="2026-02-01", profile="typical", fixed={"keep_warm": False, "tank_heater_W": 1500.0, "loop": False, "nozzle_set_C": 80.0, "tank_set_C": 50.0, "nozzle_heater_W": 200.0}),
    _fault("r16-tank-element-open", 116, 16, does(o.dead_heater, 10.2, 8.0, "tank"), start="2026-01-15", fixed={"keep_warm": True}),
    _fault("r17-cut-out-tripped", 117, 18, does(o.dead_heater, 11.0, 30.0, "tank", "cut-out-tripped"), start="2026-01-08", fixed={"keep_warm": False, "setback": True}, form="csv"),
    _fault("r18-tank-relay-shorted", 118, 16, does(o.shorted_relay, 10.93, 9.0, "tank"), start="2025-12-15", fixed={"keep_warm": True, "setback": True, "must_have": ("tank_heater",)}),
    _fault("r19-nozzle-relay-shorted", 119, 16, does(o.shorted_relay, 10.97, 6.0, "nozzle"), start="2026-02-10", form="packs", fixed={"keep_warm": False, "setback": True, "loop": False, "must_have": ("nozzle_heater",), "nozzle_heater_W": 300.0}),
    _fault("r20-no-spark", 120, 20, does(f.no_ignition, 12.25, 8.0, "no-spark", 2), start="2026-01-04", fixed={"retries": 0, "must_have": FLAME}),
    _fault("r21-nozzle-valve-shut", 121, 18, does(f.no_ignition, 11.3, 7.0, "no-fuel", 1), start="2026-02-14", fixed={"keep_warm": False, "must_have": FLAME}, profile="sparse"),
    _fault("r22-detector-dirty", 122, 18, does(f.no_ignition, 10.4, 9.0, "detector-dirty", 1), start="2025-12-27", fixed={"must_have": FLAME}),
    _fault("r23-starts-that-fail", 123, 26, does(f.weak_spark, 14, 5, 0.22), start="2026-01-02", fixed={"retries": 3, "must_have": FLAME}),
    _fault("r24-electrodes-age", 124, 45, does(f.electrodes_age, 14, 25, 9.0), start="2025-11-20", fixed={"trial_s": 45.0, "retries": 1, "must_have": FLAME}),
    _fault("r25-water-slugs", 125, 18, does(f.water_slugs, 11.4, 4, 18.0), start="2026-01-21", fixed={"must_have": FLAME}),
    _fault("r26-compressor-sags", 126, 18, does(f.compressor, 11.4, 20.0, 0.62), start="2026-02-03", fixed={"must_have": ("air_pressure",)}),
    _fault("r27-compressor-dead", 127, 16, does(f.compressor, 10.2, 8.0, 0.0), start="2026-01-11", fixed={"must_have": ("air_pressure", *FLAME)}),
    _fault("r28-compressor-wears", 128, 40, does(f.compressor_wear, 12, 22, 0.82), start="2025-12-03", fixed={"must_have": ("air_pressure",)}),
    _fault("r29-control-dead", 129, 16, does(f.dead_primary, 10.1, 30.0), does(e.cold_snap, 9, 4, -10.0), start="2026-01-16", fixed={"freeze_C": 6.0, "setback": False}),
    _fault("r30-blower-belt", 130, 28, does(f.blower_slips, 16, 6, 0.45), start="2026-01-01", fixed={"must_have": ("limit",)}),
    _fault("r31-blower-dead", 131, 16, does(f.blower_dead, 10.3, 8.0), start="2026-02-05", fixed={"must_have": ("limit", "blower")}, form="packs"),
    _fault("r32-stack-over-limit", 132, 16, does(f.too_hot, 10.3, 9.0), start="2026-01-18", fixed={"stack_C": 290.0, "stack_limit_C": 330.0, "load": 0.7}),
    _fault("r33-ash-slow", 133, 60, does(f.ash), does(e.doors, 12, 33), does(e.cold_snap, 30, 5, -8.0), start="2025-11-15", fixed={"ash_K_100h": 9.0, "load": 0.65}),
    _fault("r34-ash-fast", 134, 50, does(f.ash, 38.4), start="2025-12-01", fixed={"ash_K_100h": 20.0, "load": 0.55}),
    _fault("r35-ash-and-weather", 135, 56, does(f.ash), does(e.cold_snap, 12, 5, -11.0), does(e.cold_snap, 37, 5, 7.0), does(e.doors, 20, 35), does(f.batch, 24, "engine-thin", True), start="2025-12-10", fixed={"ash_K_100h": 13.0, "oil": "hydraulic-46", "load": 0.6}, profile="typical"),
    _fault("r36-shutter-slips", 136, 28, does(f.shutter, 15, 99, 0.74), start="2026-01-05"),
    _fault("r37-nozzle-plugs", 137, 26, does(f.nozzle, 14, 99, 0.66, "nozzle-plugged"), start="2026-01-09", fixed={"stack_C": 188.0}),
    _fault("r38-wrong-nozzle", 138, 26, does(f.nozzle, 13, 8, 1.35, "wrong-nozzle", False, 1.05), start="2026-01-20", fixed={"stack_C": 220.0}),
    _fault("r39-burner-relay-welded", 139, 16, does(f.burner_weld, 10.4, 7.0), start="2026-02-20", fixed={"january_C": 0.0}),
    _fault("r40-fire-without-call", 140, 16, does(f.burner_weld, 10.95, 5.0, True), start="2026-03-10", fixed={"keep_warm": False, "setback": True, "january_C": 2.0}, form="packs"),
    _fault("r41-thermostat-in-draught", 141, 18, does(f.draught, 11.3, 2.0), start="2026-01-22"),
    _fault("r42-supply-runs-low", 142, 34, does(o.supply_runs_low, 5, 27), start="2026-01-02", fixed={"rated_kW": 46.0, "supply_l": 620.0, "load": 0.6, "must_have": ("supply_level",)}),
    _fault("r43-probes-fail", 143, 24, does(e.sensor, 10.4, 20.0, "stack", "open"), does(e.sensor, 14.35, 16.0, "tank", "frozen"), does(e.sensor, 18.3, 10.0, "nozzle", "short"), does(e.sensor, 21.4, 9.0, "stack", "spikes", 90.0), start="2026-01-06"),
    _fault("r44-probe-drifts", 144, 36, does(e.sensor, 14, 15 * 24.0, "tank", "drift", -14.0), start="2026-01-02", fixed={"keep_warm": False, "setback": True, "loop": False, "january_C": 0.0}),
    _fault("r45-pump-not-seen", 145, 16, does(o.pump_unseen, 10.3, 30.0), start="2026-02-01"),
    _fault("r46-board-silent", 146, 20, does(e.gap, 9.4, 95.0, "late"), does(e.gap, 13.2, 200.0), does(e.gap, 16.6, 26.0, "lost", True), start="2026-01-12", form="packs"),
)

CLEAN = (
    _clean("c01-quiet-weeks", 201, 40, start="2025-11-10"),
    _clean("c02-cold-snap", 202, 30, does(e.cold_snap, 14, 5, -13.0), start="2025-12-20", profile="typical"),
    _clean("c03-doors", 203, 28, does(e.doors, 30, 203), start="2026-01-05", profile="typical"),
    _clean("c04-batch-logged", 204, 30, does(f.batch, 15, "gear-hydraulic", True), start="2026-01-02", fixed={"oil": "hydraulic-68", "supply_outdoor": 0.4}),
    _clean("c05-batch-unlogged", 205, 30, does(f.batch, 14, "engine-thin", False), start="2025-12-05", fixed={"oil": "hydraulic-46"}),
    _clean("c06-set-points", 206, 30, does(e.setpoint, 12, "tank", 5.0), does(e.setpoint, 19, "nozzle", -5.0), start="2026-01-15"),
    _clean("c07-summer-pause", 207, 60, does(e.summer, 18, 30), start="2025-04-08", fixed={"january_C": -3.0}),
    _clean("c08-gaps", 208, 24, does(e.gap, 6.2, 8.0), does(e.gap, 12.4, 45.0), does(e.gap, 17.8, 300.0), start="2026-01-08", form="csv"),
    _clean("c09-reboots", 209, 14, does(e.reboots, [2.3, 5.55, 5.56, 9.1, 12.7]), start="2026-02-02", form="packs"),
    _clean("c10-clock-steps", 210, 18, does(e.clock_step, 5.2, 3.0, -47.0), does(e.clock_step, 11.7, 20.0, 85.0), start="2026-01-25"),
    _clean("c11-setback-weekends", 211, 35, start="2025-12-01", fixed={"setback": True, "keep_warm": False}, profile="sparse"),
    _clean("c12-service-visit", 212, 28, does(e.service, 14.4), start="2026-01-05", fixed={"keep_warm": False}),
    _clean("c13-cleaning-visit", 213, 36, does(e.service, 18.42, "cleaning"), start="2025-12-15", fixed={"ash_K_100h": 3.0}, profile="typical"),
    _clean("c14-low-mains", 214, 26, does(e.mains, 12, 3, 0.82), start="2026-01-18", fixed={"keep_warm": False}),
    _clean("c15-late-packs", 215, 12, does(e.gap, 4.3, 9.0, "late"), does(e.reboots, [7.7]), start="2026-02-10", form="packs"),
    _clean("c16-plain-table", 216, 30, does(e.cold_snap, 15, 4, -9.0), start="2026-01-01", form="uniform"),
    _clean("c17-bare-profile", 217, 32, does(e.doors, 10, 217), start="2025-12-12", profile="bare", declared_clean=False),
    _clean("c18-spring", 218, 36, does(e.cold_snap, 20, 4, -8.0), does(e.thermostat, 10, 3, 2.0), start="2026-03-15", fixed={"january_C": -2.0}),
    _clean("c19-autumn-start", 219, 40, does(e.cold_snap, 25, 5, -9.0), start="2025-09-25", fixed={"january_C": -4.0}),
    _clean("c20-small-furnace", 220, 30, does(e.doors, 8, 220), start="2026-01-03", fixed={"rated_kW": 21.0, "tank_l": 3.6}, profile="sparse"),
    _clean("c21-big-furnace", 221, 30, does(e.cold_snap, 12, 4, -10.0), start="2026-01-03", fixed={"rated_kW": 80.0, "tank_l": 20.0}),
    _clean("c22-slow-stack-probe", 222, 28, does(e.doors, 14, 222), does(e.cold_snap, 16, 4, -10.0), start="2026-01-10", fixed={"stack_tau_s": 58.0}, profile="typical"),
    _clean("c23-ten-second-table", 223, 26, does(e.gap, 11.3, 7.0), start="2026-02-01", form="uniform", profile="sparse"),
    _clean("c24-everything-but-faults", 224, 45, does(e.cold_snap, 10, 4, -6.0), does(e.doors, 8, 224), does(f.batch, 20, "hydraulic-68", True), does(e.setpoint, 24, "tank", 4.0), does(e.service, 28.4), does(e.gap, 33.1, 40.0), does(e.clock_step, 36.2, 4.0, 31.0), does(e.thermostat, 39, 2, 2.0), start="2025-12-18", fixed={"oil": "engine-thin", "january_C": -1.0}),
    _clean("c25-keep-warm-switched-off", 225, 24, does(e.summer, 12, 2.5), start="2026-04-08", fixed={"keep_warm": True, "january_C": -1.0}),
    _clean("c26-thick-cold-oil", 226, 30, does(e.cold_snap, 14, 4, -12.0), start="2025-12-28", fixed={"oil": "gear-hydraulic", "supply_outdoor": 0.8, "refill_share": 0.3}),
    _clean("c27-wind", 327, 28, start="2026-02-01", profile="typical"),
    _clean("c28-steady-on-call", 228, 28, does(e.thermostat, 14, 4, -3.0), start="2026-01-12", fixed={"keep_warm": False, "setback": False}, profile="sparse"),
    _clean("c29-two-pauses", 229, 44, does(e.summer, 14, 6, True), does(e.summer, 30, 5), start="2026-04-01", fixed={"january_C": -3.0}),
    _clean("c30-steady-keep-warm", 230, 30, does(e.doors, 6, 230), start="2025-11-25", fixed={"keep_warm": True, "setback": False}, profile="typical"),
)

SMOKE = (
    _fault("s01-air-leak", 301, 5, does(o.no_oil, 3.3, 7.0), start="2026-01-05", fixed={"must_have": REFILL}),
    _fault("s02-pump-weld", 302, 4, does(o.pump_weld, 2.4, 7.0), start="2026-01-05", form="packs", fixed={"must_have": ("leak", "high_level")}),
    _fault("s03-float-up", 303, 5, does(o.float_stuck_up, 3.3, 8.0), start="2026-01-12"),
    _fault("s04-no-spark", 304, 6, does(f.no_ignition, 4.3, 6.0, "no-spark", 2), start="2026-01-12", fixed={"retries": 0, "must_have": FLAME}),
    _fault("s05-tank-relay", 305, 5, does(o.shorted_relay, 3.93, 7.0, "tank"), start="2026-02-01", fixed={"keep_warm": True, "setback": True, "must_have": ("tank_heater",)}, form="csv"),
    _fault("s06-blower-dead", 306, 4, does(f.blower_dead, 2.4, 5.0), start="2026-01-20", fixed={"must_have": ("limit", "blower")}),
    _fault("s07-stack-probe-open", 307, 5, does(e.sensor, 3.2, 10.0, "stack", "open"), does(e.gap, 4.5, 70.0), start="2026-01-20", form="packs"),
    _clean("s08-clean-doors", 308, 8, does(e.doors, 5, 308), does(e.reboots, [3.1]), start="2026-01-08", form="packs"),
    _clean("s09-clean-cold-snap", 309, 8, does(e.cold_snap, 3, 3, -10.0), start="2026-02-08"),
    _clean("s10-clean-even-table", 310, 6, does(e.mains, 2, 2, 0.85), start="2026-01-15", form="uniform", profile="sparse"),
)

# looked at only after the settings were fixed: other furnaces, other seeds
HELD_OUT = (
    _fault("h01-suction-air-leak", 601, 18, does(o.no_oil, 12.6, 8.0), start="2026-01-14", profile="typical"),
    _fault("h02-float-stuck-up", 602, 16, does(o.float_stuck_up, 11.4, 9.0), start="2025-12-09"),
    _fault("h03-filter-plugging", 603, 36, does(o.filter_plugging, 13, 18, 2.2), start="2026-01-02", fixed={"refill_share": 0.35, "load": 0.6}, profile="typical"),
    _fault("h04-nozzle-relay-shorted", 604, 16, does(o.shorted_relay, 11.95, 7.0, "nozzle"), start="2026-01-26", fixed={"keep_warm": False, "setback": True, "loop": False, "must_have": ("nozzle_heater",)}),
    _fault("h05-half-element-tank", 605, 22, does(o.weak_element, 12, 8, "tank"), start="2026-01-12", fixed={"keep_warm": False, "loop": False, "setback": True}, profile="sparse"),
    _fault("h06-no-spark", 606, 18, does(f.no_ignition, 11.3, 8.0, "no-spark", 1), start="2026-02-08", fixed={"keep_warm": False, "must_have": FLAME}),
    _fault("h07-blower-belt", 607, 26, does(f.blower_slips, 15, 6, 0.42), start="2026-01-17", profile="typical", fixed={"must_have": ("limit",)}),
    _fault("h08-ash", 608, 48, does(f.ash), does(e.cold_snap, 20, 5, -9.0), start="2025-12-06", fixed={"ash_K_100h": 14.0, "load": 0.6}),
    _fault("h09-loop-leak", 609, 26, does(o.loop_leak, 13, 0.3), start="2025-12-20"),
    _fault("h10-pump-weld", 610, 14, does(o.pump_weld, 10.6, 8.0), start="2026-02-12", form="uniform", profile="sparse"),
    _fault("h11-probes-fail", 611, 20, does(e.sensor, 11.3, 18.0, "tank", "open"), does(e.sensor, 15.2, 14.0, "stack", "frozen"), start="2026-01-20"),
    _fault("h12-tank-element-open", 612, 16, does(o.dead_heater, 11.3, 9.0, "tank"), start="2026-02-03", fixed={"keep_warm": True}, profile="typical"),
    _clean("h21-weeks", 621, 30, does(e.doors, 12, 621), start="2025-12-01", profile="typical"),
    _clean("h22-cold-snap", 622, 28, does(e.cold_snap, 13, 5, -12.0), start="2026-01-08"),
    _clean("h23-even-table", 623, 26, does(e.cold_snap, 14, 4, -8.0), start="2026-01-10", form="uniform", profile="typical"),
    _clean("h24-set-points", 624, 30, does(e.setpoint, 12, "tank", 6.0), does(e.thermostat, 19, 5, -3.0), start="2026-01-03", profile="sparse"),
    _clean("h25-spring", 625, 34, does(e.summer, 14, 6), does(e.thermostat, 24, 4, 2.0), start="2026-03-20", fixed={"january_C": -2.0}),
    _clean("h26-gaps-and-batch", 626, 30, does(e.gap, 9.3, 150.0), does(e.gap, 13.7, 40.0), does(f.batch, 17, "gear-hydraulic", True), start="2026-01-05", form="csv"),
    _clean("h27-bare-profile", 627, 30, does(e.cold_snap, 15, 4, -7.0), start="2025-11-28", profile="bare", declared_clean=False),
    _clean("h28-keep-warm", 628, 28, does(e.doors, 9, 628), start="2026-01-15", fixed={"keep_warm": True, "setback": True}),
)
# fmt: on

RECORDS = (*FAULTY, *CLEAN)


def find(name: str) -> Recipe:
    """A recipe by name."""
    for recipe in (*RECORDS, *SMOKE, *HELD_OUT):
        if recipe.name == name:
            return recipe
    raise KeyError(name)
