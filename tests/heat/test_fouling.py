"""Fouling laws, the fit with model choice, slopes by batch and start, and the normalised series as a resistance."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from sootline.errors import OutOfRange
from sootline.heat.exchanger import Furnace, resistance_series, stack_from_fouling
from sootline.heat.fouling import asymptotic, falling_rate, linear
from sootline.heat.fouling_fit import (
    LAWS,
    FoulingRecord,
    Prior,
    batch_design,
    draw_courses,
    fit_fouling,
    law_course,
)
from sootline.heat.fouling_slopes import fouling_slopes, residual_correlation

TRUE_COURSE = {
    "linear": lambda hours: 0.12 * hours,
    "asymptotic": lambda hours: asymptotic(hours, 60.0, 250.0),
    "falling-rate": lambda hours: falling_rate(hours, 2.0, 0.5),
}


def record(rng: np.random.Generator, law: str, days: int = 120, scatter_K: float = 2.0) -> FoulingRecord:
    """A season at 8 h a day with one known law and independent scatter."""
    day = np.arange(1.0, days + 1)
    hours = 8.0 * day
    return FoulingRecord(day, hours, TRUE_COURSE[law](hours) + scatter_K * rng.standard_normal(days))


def test_asymptotic_values() -> None:
    """Rf* 5e-4, tau 30 days (Kern-Seaton form computed independently)."""
    t = np.array([10.0, 30.0, 60.0, 90.0])
    assert asymptotic(t, 5e-4, 30.0) == pytest.approx([1.41734e-4, 3.16060e-4, 4.32332e-4, 4.75107e-4], rel=1e-5)


def test_laws_start_clean_and_grow() -> None:
    t = np.linspace(0, 500, 50)
    for course in (linear(t, 0.1), falling_rate(t, 1.0, 0.6), asymptotic(t, 50.0, 100.0)):
        assert course[0] == 0.0 and np.all(np.diff(course) > 0)
    assert asymptotic(1e-6, 50.0, 100.0) / 1e-6 == pytest.approx(0.5, rel=1e-6)  # initial slope Rf*/tau


@pytest.mark.parametrize(("law", "shape", "_"), LAWS)
def test_scaled_laws_meet_at_the_span(law: str, shape: float, _: float) -> None:
    ends = law_course(np.array([0.0, 300.0]), law, shape, 300.0)
    assert ends == pytest.approx([0.0, 300.0])


@given(st.lists(st.floats(5, 200), min_size=1, max_size=4, unique=True))
def test_batch_columns_add_up_to_the_law(starts: list[float]) -> None:
    hours = np.linspace(1, 400, 40)
    design = batch_design(hours, "falling-rate", 0.6, 400.0, (0.0, *sorted(starts)))
    assert design[:, 2:].sum(axis=1) == pytest.approx(design[:, 1])


@pytest.mark.parametrize("law", ["linear", "asymptotic", "falling-rate"])
def test_fit_follows_the_true_course(law: str) -> None:
    rng = np.random.default_rng(7)
    seen = record(rng, law)
    fitted = draw_courses(fit_fouling(seen), 2000, rng).value_at(seen.hours).mean(axis=0)
    late = slice(20, None)  # after the first three weeks, when every law has had time to bend
    assert np.abs(fitted - TRUE_COURSE[law](seen.hours))[late].max() < 2.5


def test_law_choice_with_clear_data() -> None:
    rng = np.random.default_rng(11)
    straight = fit_fouling(record(rng, "linear", 150, 1.0)).law_weights()
    bent = fit_fouling(record(rng, "asymptotic", 150, 1.0)).law_weights()
    assert sum(straight.values()) == pytest.approx(1.0)
    assert straight["linear"] > 0.6
    assert bent["linear"] < 0.1


def test_few_days_keep_the_choice_open() -> None:
    weights = fit_fouling(record(np.random.default_rng(2), "linear", 10)).law_weights()
    assert all(w > 0.02 for w in weights.values())


def test_independent_scatter_gives_least_squares() -> None:
    """With a flat prior the straight-line posterior is ordinary least squares (statsmodels)."""
    rng = np.random.default_rng(5)
    seen = record(rng, "linear")
    course = fit_fouling(seen, Prior(baseline_sd=1e3, rate=0.15, rate_sd=1e2))
    part = max((c for c in course.components if c.law == "linear"), key=lambda c: c.weight)
    ols = sm.OLS(seen.value, sm.add_constant(seen.hours)).fit()
    assert part.mean[0] == pytest.approx(ols.params[0], abs=0.25)
    assert part.mean[1] + part.mean[2] == pytest.approx(ols.params[1], abs=0.003)
    assert part.noise_sd == pytest.approx(np.sqrt(ols.scale), rel=0.25)


def test_long_records_are_condensed_without_harm() -> None:
    """900 half days give the course of the 450 days they make up."""
    rng = np.random.default_rng(12)
    day = np.arange(0.5, 450.5, 0.5)
    value = 0.02 * 8 * day + 2.0 * rng.standard_normal(900)
    long = draw_courses(fit_fouling(FoulingRecord(day, 8 * day, value)), 500, rng)
    assert long.value_at(np.array([3600.0])).mean() == pytest.approx(72.0, abs=1.5)


def test_predictions_widen_ahead() -> None:
    rng = np.random.default_rng(3)
    draws = draw_courses(fit_fouling(record(rng, "linear", 40)), 2000, rng)
    spread = draws.value_at(np.array([320.0, 480.0, 800.0])).std(axis=0)
    assert spread[0] < spread[1] < spread[2]


def test_an_unknown_batch_ahead_widens_the_prediction() -> None:
    rng = np.random.default_rng(3)
    draws = draw_courses(fit_fouling(record(rng, "linear", 100)), 4000, rng)
    far = np.array([1600.0])
    same = draws.value_at(far)
    changed = draws.value_at(far, np.full(4000, 820.0))
    assert changed.std() > 1.2 * same.std()


def test_deposits_do_not_shrink() -> None:
    rng = np.random.default_rng(8)
    day = np.arange(1.0, 60.0)
    falling = FoulingRecord(day, 8 * day, -0.1 * day + rng.standard_normal(59))
    rises = draw_courses(fit_fouling(falling), 300, rng).value_at(np.linspace(0, 900, 30))
    assert np.all(np.diff(rises, axis=1) >= -1e-9)


def test_resistance_course_from_a_stack_series() -> None:
    """Stack series of a furnace fouling linearly, turned into a resistance: the fit returns the rate put in."""
    furnace = Furnace(gas_W_K=35.6, air_W_K=905.0, area_m2=4.0, gas_in_C=1200.0)
    rng = np.random.default_rng(9)
    day = np.arange(1.0, 100.0)
    hours = 8.0 * day
    stack = stack_from_fouling(furnace, 1e-5 * hours, 220.0, 20.0) + 1.5 * rng.standard_normal(99)
    rf = resistance_series(furnace, stack - 20.0, 200.0, 20.0)
    course = fit_fouling(FoulingRecord(day, hours, rf), Prior(baseline_sd=6e-4, rate=2e-5, rate_sd=2e-5))
    draws = draw_courses(course, 1000, rng).value_at(np.array([0.0, 792.0]))
    gained = draws[:, 1] - draws[:, 0]
    assert gained.mean() == pytest.approx(1e-5 * 792, rel=0.05)


@pytest.mark.parametrize(
    "columns",
    [
        ([1, 2, 3], [1, 2, 3], [0, 0, 0]),
        ([1, 2, 3, 4, 5, 5], [1, 2, 3, 4, 5, 6], [0] * 6),
        ([1, 2, 3, 4, 5, 6], [1, 2, 3, 2, 5, 6], [0] * 6),
        ([1, 2, 3, 4, 5, 6], [1, 2, 3, 4, 5, 6], [0, 0, float("nan"), 0, 0, 0]),
    ],
)
def test_unusable_records_are_refused(columns: tuple[list[float], list[float], list[float]]) -> None:
    day, hours, value = (np.array(c, dtype=float) for c in columns)
    with pytest.raises(OutOfRange):
        FoulingRecord(day, hours, value)


def slope_case(seed: int, n: int = 120) -> tuple[np.ndarray, ...]:
    """Two batches, 0.10 and 0.30 K/h, and 0.05 K a start, with autocorrelated residues."""
    rng = np.random.default_rng(seed)
    day = np.arange(1.0, n + 1)
    hours = rng.uniform(3, 12, n)
    on_b = day > n / 2
    exposure = np.column_stack([np.cumsum(hours * ~on_b), np.cumsum(hours * on_b)])
    starts = np.cumsum(rng.poisson(rng.uniform(2, 25, n))).astype(float)
    noise = rng.standard_normal(n)
    for i in range(1, n):
        noise[i] = 0.6 * noise[i - 1] + 0.8 * noise[i]
    rise = exposure @ np.array([0.10, 0.30]) + 0.05 * starts + 2.0 * noise
    return day, exposure, rise, starts


def test_slopes_by_batch_and_start() -> None:
    day, exposure, rise, starts = slope_case(1)
    found = fouling_slopes(day, exposure, rise, ["hydraulic", "engine"], starts)
    for name, truth in (("hydraulic", 0.10), ("engine", 0.30)):
        slope = found.by_batch[name]
        assert abs(slope.value - truth) < 3 * slope.standard_error
    assert found.by_batch["engine"].told_apart
    assert found.per_start is not None and abs(found.per_start.value - 0.05) < 3 * found.per_start.standard_error
    assert 0.3 < found.correlation < 0.9


def test_slope_errors_are_honest() -> None:
    """Over 300 seeded records, 2-standard-error intervals hold the true slope in 90 to 99 % of cases."""
    inside = 0
    for seed in range(300):
        day, exposure, rise, starts = slope_case(seed)
        slope = fouling_slopes(day, exposure, rise, ["a", "b"], starts).by_batch["b"]
        inside += abs(slope.value - 0.30) < 2 * slope.standard_error
    assert 0.90 <= inside / 300 <= 0.99


def test_slopes_against_statsmodels_gls() -> None:
    day, exposure, rise, _ = slope_case(4)
    found = fouling_slopes(day, exposure, rise, ["a", "b"])
    sigma = found.correlation ** np.abs(day[:, None] - day[None, :])
    gls = sm.GLS(rise, sm.add_constant(exposure), sigma=sigma).fit()
    assert found.by_batch["b"].value == pytest.approx(gls.params[2], rel=1e-6)
    assert found.by_batch["b"].standard_error == pytest.approx(gls.bse[2], rel=1e-6)


def test_inseparable_causes_are_refused() -> None:
    day, exposure, rise, _ = slope_case(4)
    with pytest.raises(OutOfRange, match="told apart"):
        fouling_slopes(day, exposure, rise, ["a", "b"], exposure.sum(axis=1))
    with pytest.raises(OutOfRange, match="too few"):
        fouling_slopes(day[:5], exposure[:5], rise[:5], ["a", "b"])


def test_white_residuals_have_no_correlation() -> None:
    rng = np.random.default_rng(0)
    found = [residual_correlation(np.arange(200.0), rng.standard_normal(200)) for _ in range(50)]
    assert np.mean(found) < 0.08
