"""Degree days and the fuel line against the Whiteside insulation data, numpy.polyfit and statsmodels."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from sootline.errors import OutOfRange
from sootline.heat.degree_days import (
    BASE_65F_C,
    days_to_empty,
    degree_days,
    first_crossing,
    fuel_line,
    fuel_line_best_base,
)

# Weekly gas use [1000 ft³] of a house in south-east England against mean outdoor temperature [°C], before insulation:
# D. Whiteside, UK Building Research Station, in Hand et al. (1994) and Venables & Ripley's MASS package.
WHITESIDE_C = [-0.8, -0.7, 0.4, 2.5, 2.9, 3.2, 3.6, 3.9, 4.2, 4.3, 5.4, 6.0, 6.0]
WHITESIDE_C += [6.0, 6.2, 6.3, 6.9, 7.0, 7.4, 7.5, 7.5, 7.6, 8.0, 8.5, 9.1, 10.2]
WHITESIDE_GAS = [7.2, 6.9, 6.4, 6.0, 5.8, 5.8, 5.6, 4.7, 5.8, 5.2, 4.9, 4.9, 4.3]
WHITESIDE_GAS += [4.4, 4.5, 4.6, 3.7, 3.9, 4.2, 4.0, 3.9, 3.5, 4.0, 3.6, 3.1, 2.6]


def test_worked_degree_days() -> None:
    """Daily means of 30, 65 and 70 °F to base 65 °F: 35, 0 and 0 °F d."""
    means_C = (np.array([30.0, 65.0, 70.0]) - 32) / 1.8
    assert degree_days(means_C) * 1.8 == pytest.approx([35.0, 0.0, 0.0], abs=1e-9)


def test_base_must_be_told() -> None:
    assert pytest.approx(18.333, abs=1e-3) == BASE_65F_C
    cold = np.array([0.0])
    assert degree_days(cold)[0] - degree_days(cold, 18.0)[0] == pytest.approx(1 / 3)


def test_whiteside_line() -> None:
    """Before insulation: gas = 6.85383 - 0.39324 T, R² 0.9438 (printed by Venables & Ripley)."""
    temperature, gas = np.array(WHITESIDE_C), np.array(WHITESIDE_GAS)
    hdd = degree_days(temperature)
    line = fuel_line(gas, np.ones(26), hdd)
    assert line.beta == pytest.approx(0.39324, abs=2e-5)
    assert line.alpha + line.beta * BASE_65F_C == pytest.approx(6.85383, abs=2e-4)
    assert line.r2 == pytest.approx(0.9438, abs=1e-4)


@given(st.integers(0, 10_000))
def test_line_against_weighted_least_squares(seed: int) -> None:
    rng = np.random.default_rng(seed)
    days = rng.integers(5, 40, 15).astype(float)
    hdd = days * rng.uniform(2, 25, 15)
    fuel = 0.5 * days + 0.8 * hdd + rng.standard_normal(15) * np.sqrt(days)
    line = fuel_line(fuel, days, hdd)
    oracle = sm.WLS(fuel / days, sm.add_constant(hdd / days), weights=days).fit()
    assert (line.alpha, line.beta) == pytest.approx(tuple(oracle.params), rel=1e-8)
    assert np.sqrt(line.covariance[1][1]) == pytest.approx(oracle.bse[1], rel=1e-8)
    assert line.r2 == pytest.approx(oracle.rsquared, rel=1e-8)


def test_best_base_is_found() -> None:
    rng = np.random.default_rng(4)
    periods = [rng.uniform(-5, 25, 30) for _ in range(12)]
    fuel = np.array([float(np.sum(0.3 + 1.1 * np.maximum(0, 15.0 - p))) for p in periods])
    line = fuel_line_best_base(fuel, periods)
    assert line.base_C == pytest.approx(15.0) and line.beta == pytest.approx(1.1, rel=1e-6)
    assert line.normalised_annual(2500.0) == pytest.approx(365 * 0.3 + 1.1 * 2500, rel=1e-6)


def test_days_to_empty_in_steady_weather() -> None:
    rng = np.random.default_rng(1)
    hdd = rng.uniform(5, 20, 60)
    line = fuel_line(2.0 + 1.0 * hdd + 0.01 * rng.standard_normal(60), np.ones(60), hdd)
    left = days_to_empty(120.0, line, np.full(30, BASE_65F_C - 10), np.zeros(30), rng)
    assert left.median == pytest.approx(10.0, abs=0.05)
    assert left.low <= left.median <= left.high


def test_days_to_empty_covers_the_truth() -> None:
    """80 % ranges on 300 seeded stocks hold the truth in 72 to 88 % of cases."""
    inside = 0
    for seed in range(300):
        rng = np.random.default_rng(seed)
        hdd = np.clip(14 + 5 * rng.standard_normal(40), 0, None)
        fuel = 3.0 + 1.2 * hdd + 2.0 * rng.standard_normal(40)
        line = fuel_line(fuel, np.ones(40), hdd)
        forecast = np.full(40, BASE_65F_C - 14.0)
        error = np.empty(40)
        shock = rng.standard_normal(40)
        error[0] = shock[0]
        for d in range(1, 40):
            error[d] = 0.7 * error[d - 1] + 0.51**0.5 * shock[d]
        used = np.cumsum(3.0 + 1.2 * np.maximum(0, 14.0 - 3.0 * error) + 2.0 * rng.standard_normal(40))
        truth = first_crossing(used[None, :], np.array([250.0]))[0]
        left = days_to_empty(250.0, line, forecast, np.full(40, 3.0), rng, draws=400)
        inside += left.low <= truth <= left.high
    assert 0.72 <= inside / 300 <= 0.88


def test_stock_that_outlasts_the_forecast_is_infinite() -> None:
    used = np.cumsum(np.ones((2, 5)), axis=1)
    assert first_crossing(used, np.array([3.5, 9.0])).tolist() == [3.5, np.inf]
    assert first_crossing(used, np.array([0.0, 0.5])).tolist() == [0.0, 0.5]


def test_too_little_to_draw_a_line() -> None:
    with pytest.raises(OutOfRange, match="4 periods"):
        fuel_line(np.ones(3), np.ones(3), np.ones(3))
    with pytest.raises(OutOfRange, match="same degree days"):
        fuel_line(np.ones(5), np.ones(5), np.ones(5))
    with pytest.raises(OutOfRange):
        fuel_line_best_base(np.ones(5), [np.full(3, 30.0)] * 5)
