"""Closed forms of the stirred tank against the differential equation solved by scipy."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from sootline.errors import OutOfRange
from sootline.heat.conversions import L_PER_S_PER_GAL_PER_H
from sootline.heat.heat_up import (
    final_temperature,
    heat_capacity,
    heater_power_from_slope,
    preheat_power,
    refill_dip,
    tank_temperature,
    time_to_temperature,
)

C20 = heat_capacity(20.0, 890.0, 2000.0)
# litres, start, target, ambient, W, W/K, minutes: closed form, independent.
CASES = [
    (20, 15, 70, 15, 500, 0, 65.27),
    (20, 15, 70, 15, 500, 5, 94.76),
    (20, 15, 70, 15, 500, 8, 157.25),
    (20, 15, 80, 15, 300, 5, inf),
    (40, 5, 60, 10, 750, 6, 108.79),
]


@pytest.mark.parametrize(("litres", "start", "target", "ambient", "watts", "ua", "minutes"), CASES)
def test_heat_up_time(
    litres: float, start: float, target: float, ambient: float, watts: float, ua: float, minutes: float
) -> None:
    capacity = heat_capacity(litres, 890.0, 2000.0)
    assert time_to_temperature(target, start, watts, ua, ambient, capacity) / 60 == pytest.approx(minutes, abs=0.01)


@pytest.mark.parametrize(("watts", "ua"), [(500.0, 0.0), (500.0, 5.0), (0.0, 5.0), (900.0, 12.0)])
def test_closed_form_against_ode(watts: float, ua: float) -> None:
    ode = solve_ivp(lambda _, y: [(watts - ua * (y[0] - 10)) / C20], (0, 7200), [60.0], rtol=1e-9, atol=1e-9)
    assert tank_temperature(7200.0, 60.0, watts, ua, 10.0, C20) == pytest.approx(ode.y[0, -1], abs=1e-5)


@given(st.floats(16, 90), st.floats(50, 2000), st.floats(0, 20))
def test_time_and_temperature_are_inverse(target: float, watts: float, ua: float) -> None:
    seconds = time_to_temperature(target, 15.0, watts, ua, 15.0, C20)
    if seconds == inf:
        assert final_temperature(watts, ua, 15.0) <= target
    elif seconds < 1e8:
        assert tank_temperature(seconds, 15.0, watts, ua, 15.0, C20) == pytest.approx(target, abs=1e-6)


def test_tank_already_warm_needs_no_time() -> None:
    assert time_to_temperature(50.0, 60.0, 500.0, 5.0, 15.0, C20) == 0.0


def test_slope_gives_the_heater_back() -> None:
    before, after = (tank_temperature(t, 40.0, 500.0, 5.0, 15.0, C20) for t in (0.0, 1.0))
    assert heater_power_from_slope(after - before, 40.0, 5.0, 15.0, C20) == pytest.approx(500.0, abs=0.1)


def test_flow_through_preheat() -> None:
    """1.5 gal/h of 895 kg/m³ oil from 20 to 80 °C, c 2000: 169 W (definition)."""
    flow = 1.5 * L_PER_S_PER_GAL_PER_H * 0.895
    assert preheat_power(flow, 2000.0, 20.0, 80.0) == pytest.approx(169, abs=0.6)


def test_dip_of_a_cold_refill() -> None:
    """0.42 L at 10 °C into 6 L at 60 °C: 3.3 K."""
    assert refill_dip(0.42, 10.0, 6.0, 60.0) == pytest.approx(3.27, abs=0.01)


def test_impossible_tanks_are_refused() -> None:
    with pytest.raises(OutOfRange):
        heat_capacity(0.0, 890.0, 2000.0)
    with pytest.raises(OutOfRange):
        preheat_power(0.001, 2000.0, 80.0, 20.0)
    with pytest.raises(OutOfRange):
        tank_temperature(-1.0, 15.0, 500.0, 5.0, 15.0, C20)
