"""One step of physics: balances close, oil heats as the closed form and the differential equation say."""

import math
import random
from dataclasses import replace

import pytest
from scipy.integrate import solve_ivp

from sootline.heat.heat_up import refill_dip
from sootline.sim import plant
from sootline.sim.exchanger import CHAMBER_J_K, WALL_J_K
from sootline.sim.oil import Oil, oil
from sootline.sim.plant import ELEMENT_J_K, ELEMENT_W_K, Drive, State, Totals
from sootline.sim.workshop import ENGINE_SHED

ELEMENT_LAG_MIN = ELEMENT_J_K / ELEMENT_W_K / 60.0  # the element's own heat-up delays the oil's


def _constant_oil(density: float, heat: float) -> Oil:
    vg = oil("vg-68")
    return Oil(vg.line_a, vg.line_b, density, 0.0, heat, 1e-3, 0.0, vg.net_J_kg)


def _tank(litres: float, t_C: float, of: Oil, room_C: float) -> State:
    spec = replace(ENGINE_SHED, first_oil=of)
    rest = plant.at_rest(spec, room_C)
    kg = litres * of.density_kg_l(t_C)
    return rest._replace(oil=of, tank_kg=kg, tank_C=t_C, element_C=t_C, tank_probe_C=t_C)


def _spec(ua_W_K: float):
    building = replace(ENGINE_SHED.building, air_J_K=1e15, fabric_J_K=1e15)  # a room that stays as it is
    return replace(ENGINE_SHED, tank=replace(ENGINE_SHED.tank, loss_W_K=ua_W_K), building=building)


def _minutes_to(spec, state, drive, target_C, dt_s=5.0, most_min=600.0):
    totals, minutes = Totals(), 0.0
    while state.tank_C < target_C and minutes < most_min:
        state, totals = plant.advance(spec, state, totals, drive, dt_s)
        minutes += dt_s / 60.0
    return minutes


@pytest.mark.parametrize(
    ("litres", "start_C", "end_C", "power_W", "ua_W_K", "minutes"),
    [  # t = -tau ln((Tinf - T)/(Tinf - T0)), tau = m c/UA; constant properties 890 kg/m³, 2000 J/(kg K)
        (20.0, 15.0, 70.0, 500.0, 0.0, 65.27),
        (20.0, 15.0, 70.0, 500.0, 5.0, 94.76),
        (20.0, 15.0, 70.0, 500.0, 8.0, 157.25),
        (40.0, 5.0, 60.0, 750.0, 6.0, 108.79),
    ],
)
def test_heat_up_of_constant_oil_is_the_closed_form(litres, start_C, end_C, power_W, ua_W_K, minutes):
    room_C = 10.0 if litres == 40.0 else 15.0
    state = _tank(litres, start_C, _constant_oil(890.0, 2000.0), room_C)
    taken = _minutes_to(_spec(ua_W_K), state, Drive(tank_heater_W=power_W), end_C)
    # The element is warmed along with the oil, which the closed form of oil alone leaves out.
    element = ELEMENT_J_K / (litres * 0.890 * 2000.0)
    assert taken == pytest.approx(minutes * (1.0 + element) + ELEMENT_LAG_MIN, rel=0.001, abs=0.09)


def test_a_heater_too_small_never_gets_there():
    state = _tank(20.0, 15.0, _constant_oil(890.0, 2000.0), 15.0)
    assert _minutes_to(_spec(5.0), state, Drive(tank_heater_W=300.0), 80.0, 60.0, 2000.0) >= 2000.0


def test_heat_up_of_real_oil_is_the_differential_equation():
    gear, room_C, power_W, ua_W_K = oil("vg-220"), 10.0, 1000.0, 3.0
    state = _tank(8.0, 10.0, gear, room_C)
    kg = state.tank_kg

    def slope(_, y):
        tank_C, element_C = y
        flow_W = ELEMENT_W_K * (element_C - tank_C)
        tank_K_s = (flow_W - ua_W_K * (tank_C - room_C)) / (kg * gear.specific_heat_J_kgK(tank_C))
        return [tank_K_s, (power_W - flow_W) / ELEMENT_J_K]

    exact = solve_ivp(slope, (0.0, 900.0), [10.0, 10.0], rtol=1e-9, atol=1e-9).y[0, -1]
    totals = Totals()
    for _ in range(180):
        state, totals = plant.advance(_spec(ua_W_K), state, totals, Drive(tank_heater_W=power_W), 5.0)
    assert state.tank_C == pytest.approx(exact, abs=0.05)


def test_a_refill_of_cold_oil_dips_the_tank_as_mixing_says():
    # 0.42 L at 10 °C into 6 L at 60 °C, heater off: 3.3 K (mixing by mass; heat.refill_dip by volume says the same).
    hydraulic = oil("vg-68")
    state = _tank(6.0, 60.0, hydraulic, 60.0)
    drive = Drive(pump_l_s=0.042, supply_C=10.0, supply_oil=hydraulic)
    after, _ = plant.advance(_spec(0.0), state, Totals(), drive, 10.0)
    assert 60.0 - after.tank_C == pytest.approx(3.3, abs=0.15)
    assert 60.0 - after.tank_C == pytest.approx(refill_dip(0.42, 10.0, 6.0, 60.0), abs=0.2)


def _random_drive(rng: random.Random, of: Oil) -> Drive:
    burning = rng.random() < 0.6
    return Drive(
        pump_l_s=rng.choice([0.0, 0.04]),
        nozzle_kg_s=0.001 if burning else 0.0,
        leak_kg_s=rng.choice([0.0, 2e-4]),
        fire_W=42e3 if burning else 0.0,
        gas_W_K=24.0 if burning else 6.0,
        gas_decay=rng.uniform(0.05, 0.1),
        burner_air=burning,
        tank_heater_W=rng.choice([0.0, 1000.0]),
        nozzle_heater_W=rng.choice([0.0, 400.0]),
        line_C=60.0,
        air_conductance_W_K=rng.choice([19.0, 260.0]),
        air_W_K=rng.choice([30.0, 780.0]),
        supply_C=8.0,
        supply_oil=of,
        outdoor_C=-5.0,
        building_loss_W_K=800.0,
    )


def _held_J(s: State) -> float:
    return s.tank_kg * s.oil.enthalpy_J_kg(s.tank_C)


def test_oil_and_heat_balances_close_whatever_is_switched():
    rng, gear = random.Random(3), oil("vg-220")
    spec = replace(ENGINE_SHED, overflow_l=1e3, high_level_l=1e2)
    first = _tank(7.0, 55.0, gear, 12.0)
    state, totals, furnace_in_J = first, Totals(), 0.0
    for _ in range(3000):
        state, totals = plant.advance(spec, state, totals, _random_drive(rng, gear), rng.uniform(0.01, 20.0))
    assert state.tank_kg - first.tank_kg == pytest.approx(
        totals.pumped_kg - totals.burned_kg - totals.lost_kg, rel=1e-9
    )
    gained_J = totals.oil_in_J - totals.oil_out_J + totals.element_to_oil_J - totals.tank_loss_J
    assert _held_J(state) - _held_J(first) == pytest.approx(gained_J, rel=1e-9)
    assert totals.tank_heater_J - totals.element_to_oil_J == pytest.approx(
        ELEMENT_J_K * (state.element_C - first.element_C), rel=1e-6
    )
    stored_J = CHAMBER_J_K * (state.chamber_C - first.chamber_C) + WALL_J_K * (state.wall_C - first.wall_C)
    furnace_in_J = totals.fire_J - totals.flue_J - totals.air_J - totals.jacket_J - totals.soak_J
    assert furnace_in_J == pytest.approx(stored_J, rel=1e-6, abs=1e-6 * totals.fire_J)


def test_overflow_goes_to_the_tray_and_is_lost_from_the_balance():
    gear = oil("vg-220")
    state = _tank(ENGINE_SHED.overflow_l, 60.0, gear, 12.0)
    drive = Drive(pump_l_s=0.042, supply_C=8.0, supply_oil=gear)
    after, totals = plant.advance(ENGINE_SHED, state, Totals(), drive, 20.0)
    assert plant.tank_volume_l(after) == pytest.approx(ENGINE_SHED.overflow_l)
    assert after.tray_l == pytest.approx(0.84, rel=0.1)
    assert totals.lost_kg == pytest.approx(state.tank_kg + totals.pumped_kg - after.tank_kg)


def test_the_nozzle_block_soaks_up_heat_after_the_fire():
    spec = ENGINE_SHED
    state = plant.at_rest(spec, 15.0)._replace(block_C=95.0, chamber_C=900.0, wall_C=150.0)
    totals, course_C = Totals(), []
    for _ in range(240):
        state, totals = plant.advance(spec, state, totals, Drive(gas_decay=0.05), 5.0)
        course_C.append(state.block_C)
    peak_C = max(course_C)
    assert 97.0 < peak_C < 115.0
    assert course_C[-1] < peak_C - 1.0


@pytest.mark.parametrize("dt_s", [0.5, 5.0, 60.0])
@pytest.mark.parametrize("tau_s", [5.0, 90.0])
def test_a_lag_behind_a_ramp_is_exact_whatever_the_step(tau_s, dt_s):
    # First-order lag behind u = r t from rest: y = r (t - tau (1 - e^(-t/tau))).
    y, rate = 0.0, 0.3
    for i in range(int(120 / dt_s)):
        k, g = plant.lag(dt_s, tau_s)
        u0, u1 = rate * i * dt_s, rate * (i + 1) * dt_s
        y = u1 + (y - u0) * k - (u1 - u0) * g
    assert y == pytest.approx(rate * (120.0 - tau_s * (1.0 - math.exp(-120.0 / tau_s))), rel=1e-9)


def test_the_stack_probe_lags_behind_the_breech():
    spec = replace(ENGINE_SHED, stack_probe_s=15.0)
    state = plant.at_rest(spec, 20.0)._replace(breech_C=300.0, wall_C=300.0)
    after, _ = plant.advance(spec, state, Totals(), Drive(gas_decay=0.0), 1.0)
    assert 20.0 + 0.8 * 280.0 / 15.0 < after.stack_probe_C < 20.0 + 1.05 * 280.0 / 15.0


def test_an_empty_tank_gives_no_more_oil():
    state = _tank(0.2, 60.0, oil("vg-68"), 15.0)
    totals = Totals()
    for _ in range(100):
        state, totals = plant.advance(ENGINE_SHED, state, totals, Drive(nozzle_kg_s=0.01), 5.0)
    assert state.tank_kg == pytest.approx(plant.LAST_KG, abs=1e-9)
    assert totals.burned_kg == pytest.approx(0.2 * 0.852 - plant.LAST_KG, rel=0.02)
