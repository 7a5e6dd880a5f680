"""Closed forms of the cleaning interval against scipy's minimum, and the flatness of the optimum."""

from math import exp, inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from sootline.errors import OutOfRange
from sootline.heat import economics as e
from sootline.heat.flue_loss import loss_slope_o2

money = st.floats(10, 500)
growth = st.floats(1e-4, 1.0)


@pytest.mark.parametrize(
    ("cost", "k", "downtime", "best", "rate"),
    [(50, 0.02, 0, 70.7107, 1.41421), (120, 0.05, 0, 69.2820, 3.46410), (50, 0.02, 2, 68.7390, 1.37478)],
)
def test_linear_loss(cost: float, k: float, downtime: float, best: float, rate: float) -> None:
    found = e.optimal_interval_linear(cost, k, downtime)
    assert found == pytest.approx(best, abs=1e-4)
    assert e.average_cost(found, cost, lambda t: k * t * t / 2, downtime) == pytest.approx(rate, abs=1e-5)


@pytest.mark.parametrize(("p", "best"), [(0.5, 131.037), (1.0, 31.6228), (2.0, 9.0856)])
def test_power_loss(p: float, best: float) -> None:
    assert e.optimal_interval_power(50.0, 0.1, p) == pytest.approx(best, abs=1e-3)


@pytest.mark.parametrize(("cost", "best"), [(60, 100.701), (100, 194.111), (130, inf)])
def test_asymptotic_loss(cost: float, best: float) -> None:
    assert e.optimal_interval_asymptotic(cost, 2.0, 60.0) == pytest.approx(best, abs=1e-3)


@given(money, growth)
def test_linear_optimum_against_scipy(cost: float, k: float) -> None:
    best = e.optimal_interval_linear(cost, k)
    found = minimize_scalar(
        lambda t: (cost + k * t * t / 2) / t, bounds=(best / 5, best * 5), method="bounded", options={"xatol": 1e-9}
    )
    assert best == pytest.approx(found.x, rel=1e-5)


@given(money, st.floats(0.5, 20), st.floats(20, 200))
def test_asymptotic_optimum_against_scipy(cost: float, final: float, tau: float) -> None:
    best = e.optimal_interval_asymptotic(cost, final, tau)

    def j(t: float) -> float:
        return (cost + final * (t - tau * (1 - exp(-t / tau)))) / t

    if best == inf:
        assert j(1e3 * tau) <= j(20 * tau)
    elif best < 20 * tau:
        found = minimize_scalar(j, bounds=(best / 3, best * 3), method="bounded", options={"xatol": 1e-9})
        assert j(best) == pytest.approx(found.fun, rel=1e-9)


@given(money, growth, st.sampled_from([0.5, 1.0, 1.7]))
def test_at_the_optimum_the_loss_rate_is_the_average_cost(cost: float, k: float, p: float) -> None:
    """L(T*) = J(T*), the condition every optimum of an average cost fulfils."""
    best = e.optimal_interval_power(cost, k, p)
    average = e.average_cost(best, cost, lambda t: k * t ** (p + 1) / (p + 1))
    assert k * best**p == pytest.approx(average, rel=1e-9)


@given(money, growth, st.floats(0, 20))
def test_numeric_minimum_equals_the_closed_form(cost: float, k: float, downtime: float) -> None:
    closed = e.optimal_interval_linear(cost, k, downtime)
    numeric = e.optimal_interval(cost, lambda t: k * t * t / 2, longest=20 * closed, downtime=downtime)
    assert numeric == pytest.approx(closed, rel=1e-6)


def test_numeric_minimum_past_the_horizon_is_infinite() -> None:
    assert e.optimal_interval(130.0, lambda t: 2 * (t - 60 * (1 - exp(-t / 60))), longest=5000.0) == inf


def test_half_or_double_the_interval_costs_a_quarter_more() -> None:
    assert e.cost_of_missing(50.0, 100.0) == pytest.approx(0.25)
    assert e.cost_of_missing(200.0, 100.0) == pytest.approx(0.25)
    with pytest.raises(OutOfRange):
        e.cost_of_missing(200.0, inf)


def test_flat_window_of_a_linear_loss() -> None:
    """J/J* = (x + 1/x)/2 <= 1.05 for x between 0.7298 and 1.3702."""
    t = np.arange(0.0, 400.0, 0.05)
    window = e.flat_window(t, 0.02 * t, 50.0)
    assert window.best == pytest.approx(70.71, abs=0.1)
    assert (window.start / window.best, window.end / window.best) == pytest.approx((0.7298, 1.3702), abs=0.003)
    assert window.best_rate == pytest.approx(1.41421, rel=1e-4)


def test_window_open_at_the_end_of_the_grid() -> None:
    t = np.arange(0.0, 40.0, 0.1)
    window = e.flat_window(t, 0.02 * t, 50.0)
    assert window.best == inf and window.end == inf


@pytest.mark.parametrize("grid", [[0.0, 1.0], [1.0, 2.0, 3.0], [0.0, 2.0, 1.0]])
def test_bad_grids_are_refused(grid: list[float]) -> None:
    with pytest.raises(OutOfRange):
        e.average_cost_curve(np.array(grid), np.array(grid), 10.0)


def test_worked_case_of_a_heating_day() -> None:
    """6 L/h for 10 h/day at 0.60 a litre, O2 7.3 %, efficiency 0.82, 1 K/day: k 0.024864 per day², C 60 -> 69.47 days,
    1.727 a day; cleaning at 41.7 K (75 °F) instead costs 13 % more. Computed independently."""
    k = 100 * e.loss_growth(e.loss_per_kelvin_hour(6.0, 0.60, loss_slope_o2(7.3), 0.82), 0.1)
    assert k == pytest.approx(0.024864, rel=1e-3)
    best = e.optimal_interval_linear(60.0, k)
    assert best == pytest.approx(69.47, abs=0.05)
    assert e.cost_of_missing(41.7, best) == pytest.approx(0.133, abs=0.002)


def test_costs_must_be_positive() -> None:
    with pytest.raises(OutOfRange):
        e.optimal_interval_linear(0.0, 0.1)
    with pytest.raises(OutOfRange):
        e.optimal_interval_linear(10.0, 0.0)
