"""The cleaning date: coverage on seeded seasons, limits one by one, what binds, and what waiting costs."""

from math import inf, sqrt

import numpy as np
import pytest

from sootline.errors import OutOfRange
from sootline.heat.burning_hours import sample_burning_hours
from sootline.heat.cleaning_date import (
    CleaningDate,
    Limits,
    MoneyLimit,
    cleaning_date,
)
from sootline.heat.cleaning_limits import (
    RiseLimit,
    clean_stack_at_coldest,
    draft_rise_limit,
    smoke_limit_hours,
    vent_rise_limit,
)
from sootline.heat.economics import optimal_interval_linear
from sootline.heat.fouling_fit import FoulingRecord, fit_fouling
from tests.heat import coverage

HOURS_A_DAY = 8.0


def steady(limits: Limits, rate: float = 0.15, days: int = 60, ahead: int = 200, draws: int = 600) -> CleaningDate:
    """Date seen after `days` of steady 8 h days with a nearly noiseless linear course."""
    rng = np.random.default_rng(42)
    day = np.arange(1.0, days + 1)
    hours = HOURS_A_DAY * day
    seen = FoulingRecord(day, hours, rate * hours + 0.3 * rng.standard_normal(days))
    return cleaning_date(fit_fouling(seen), hours[-1], np.full((draws, ahead), HOURS_A_DAY), limits, rng)


def test_coverage_on_seeded_seasons() -> None:
    """210 seasons that are not the fitted model: truth inside the 80 % range in 75 to 88 %, median error <= 5 days."""
    score = coverage.study(210)
    assert 0.75 <= score.inside <= 0.88
    assert score.median_error_d <= 5.0


def test_a_steady_rise_meets_its_limit_when_it_must() -> None:
    """72 K after 60 days at 1.2 K a day; 90 K comes 15 days on."""
    found = steady(Limits(at_rise={"vent": RiseLimit(90.0)}))
    assert found.date.median == pytest.approx(15.0, abs=0.8)
    assert found.date.low <= found.date.median <= found.date.high
    assert found.binding == "vent" and found.share_first["vent"] == 1.0
    assert found.window is None and found.waiting == {}


def test_limit_already_passed_is_today() -> None:
    assert steady(Limits(at_rise={"own": RiseLimit(30.0)})).date.high == 0.0


def test_limit_never_reached_is_infinite() -> None:
    found = steady(Limits(at_rise={"vent": RiseLimit(5000.0)}))
    assert found.date.median == inf and found.share_first["vent"] == 0.0


def test_earliest_limit_binds() -> None:
    ash = np.full(600, 30 * HOURS_A_DAY)
    limits = Limits(
        at_rise={"vent": RiseLimit(90.0), "draft": RiseLimit(140.0)}, at_hours={"ash": ash}, season_end_day=60.0
    )
    found = steady(limits)
    assert found.binding == "vent"
    assert found.by_limit["ash"].median == pytest.approx(30.0, abs=0.01)
    assert found.by_limit["season end"].median == 60.0
    assert found.date.median == found.by_limit["vent"].median
    assert steady(Limits(at_rise={"vent": RiseLimit(500.0)}, season_end_day=20.0)).binding == "season end"


def test_uncertain_limit_widens_the_range() -> None:
    sharp = steady(Limits(at_rise={"vent": RiseLimit(90.0)})).date
    blurred = steady(Limits(at_rise={"vent": RiseLimit(90.0, 8.0)})).date
    assert blurred.high - blurred.low > 3 * (sharp.high - sharp.low)


def test_money_date_is_the_closed_form() -> None:
    """L = k h with k = loss/K/h x K/h: T* = sqrt(2 C/k) burning hours."""
    money = MoneyLimit(cost=80.0, loss_per_K_h=0.002)
    found = steady(Limits(money=money))
    best_h = optimal_interval_linear(80.0, 0.002 * 0.15)
    assert best_h == pytest.approx(sqrt(160 / 3e-4))
    expected = best_h / HOURS_A_DAY - 60
    assert found.by_limit["money"].median == pytest.approx(expected, rel=0.05)
    assert found.binding == "money"


def test_optimum_is_flat_and_missing_it_is_cheap() -> None:
    found = steady(Limits(money=MoneyLimit(80.0, 0.002)))
    assert found.window is not None
    assert found.window.start < found.window.best < found.window.end
    assert found.window.end - found.window.start > 40
    assert 0 < found.waiting[7] < found.waiting[14] < found.waiting[28] < 0.1 * 80
    assert found.waiting[-7] > 0


def test_money_never_asks_when_oil_is_worth_nothing_much() -> None:
    found = steady(Limits(money=MoneyLimit(500.0, 1e-6)))
    assert found.date.median == inf and found.waiting == {}
    assert found.window is not None and found.window.best == inf


def test_no_limit_no_date() -> None:
    with pytest.raises(OutOfRange, match="no limit"):
        steady(Limits())


def test_vent_limit_keeps_its_margin() -> None:
    assert vent_rise_limit(370.0, 290.0).rise_K == 40.0
    with pytest.raises(OutOfRange, match="no room"):
        vent_rise_limit(370.0, 340.0)


def test_clean_stack_on_the_coldest_day() -> None:
    """250 °C at 5 °C outdoors, 1 K hotter for each kelvin colder, 4 K of scatter: 265 °C at -10 °C."""
    rng = np.random.default_rng(2)
    outdoor = rng.uniform(-5, 12, 60)
    stack, error = clean_stack_at_coldest(outdoor, 255.0 - outdoor + 4 * rng.standard_normal(60), -10.0)
    assert abs(stack - 265.0) < 3 * error and 4.0 < error < 6.0
    with pytest.raises(OutOfRange, match="coldest"):
        clean_stack_at_coldest(outdoor, 255.0 - outdoor, -40.0)


def test_draft_limit_by_line() -> None:
    """Draft over the fire -5 Pa clean, weaker by 0.05 Pa/K: gone at 100 K."""
    rng = np.random.default_rng(2)
    rise = np.linspace(0, 50, 60)
    limit = draft_rise_limit(rise, -5 + 0.05 * rise + 0.2 * rng.standard_normal(60))
    assert limit is not None
    assert abs(limit.rise_K - 100.0) < 3 * limit.sd_K and 1.0 < limit.sd_K < 10.0


def test_draft_that_does_not_weaken_sets_no_limit() -> None:
    rng = np.random.default_rng(2)
    rise = np.linspace(0, 50, 60)
    assert draft_rise_limit(rise, -5 + 0.5 * rng.standard_normal(60)) is None
    with pytest.raises(OutOfRange, match="8 readings"):
        draft_rise_limit(rise[:4], rise[:4])


def test_smoke_twice_at_two_is_now() -> None:
    draws = np.zeros(3)
    assert smoke_limit_hours(np.array([100.0, 200.0]), np.array([2.0, 3.0]), draws).tolist() == [0, 0, 0]
    assert smoke_limit_hours(np.array([100.0, 200.0]), np.array([0.0, 1.0]), draws).tolist() == [inf] * 3


def test_smoke_line_reaches_two() -> None:
    hours = np.array([0.0, 100.0, 200.0, 300.0])
    left = smoke_limit_hours(hours, np.array([0.0, 0.4, 0.8, 1.2]), np.array([0.0, 1.0, -1.0]))
    assert left[0] == pytest.approx(200.0)
    assert left[1] < left[0] < left[2]
    with pytest.raises(OutOfRange):
        smoke_limit_hours(hours, np.array([0.0, 1.0, 2.0, 12.0]), np.zeros(1))


def test_burning_hours_ahead() -> None:
    rng = np.random.default_rng(6)
    recent = 7.0 + rng.standard_normal(20)
    ahead = sample_burning_hours(recent, 60, 4000, rng)
    assert ahead.shape == (4000, 60) and ahead.min() >= 0 and ahead.max() <= 24
    assert ahead[:, :7].mean() == pytest.approx(recent.mean(), abs=0.1)
    sums = np.cumsum(ahead, axis=1)
    assert sums[:, 59].std() / 59 > sums[:, 6].std() / 59
    expected = np.linspace(6, 2, 60)
    assert sample_burning_hours(recent, 60, 4000, rng, expected).mean(axis=0) == pytest.approx(expected, abs=0.3)


def test_burning_hours_level_is_as_uncertain_as_autocorrelated_days_leave_it() -> None:
    """20 days of sd s with correlation 0.6 know their mean to s sqrt((1 + 0.6)/(1 - 0.6)/20) = 0.447 s."""
    rng = np.random.default_rng(6)
    recent = 10.0 + np.tile([1.0, -1.0], 10)
    ahead = sample_burning_hours(recent, 400, 2000, rng, np.linspace(10.0, 10.0, 400))
    first_month = ahead[:, :30].mean(axis=1)
    level, drift, weather = 0.447 * 1.026, 10 * 0.10 * 15.5 / 30, 1.026 * np.sqrt(4 / 30)
    assert first_month.std() == pytest.approx(np.sqrt(level**2 + drift**2 + weather**2), rel=0.08)


def test_burning_hours_need_a_few_days() -> None:
    rng = np.random.default_rng(6)
    with pytest.raises(OutOfRange, match="5 recent days"):
        sample_burning_hours(np.array([7.0, np.nan, 6.0]), 10, 5, rng)
    with pytest.raises(OutOfRange, match="10 needed"):
        sample_burning_hours(np.full(9, 6.0), 10, 5, rng, np.ones(3))
