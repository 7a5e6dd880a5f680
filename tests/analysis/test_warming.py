"""How the flue warms: firings of any length are read alike, and a curve once learned does not move."""

import math

import numpy as np
import pytest

from sootline.analysis.follow.warming import GRID_S, Curve, Reading, learn

SLOW_S, SHARE = 1500.0, 0.2  # behind the fast rise of 3 min a fifth follows slowly: heavy castings


def flue(age_s: float, steady_C: float, start_C: float) -> float:
    left = (1 - SHARE) * math.exp(-age_s / 180) + SHARE * math.exp(-age_s / SLOW_S)
    return steady_C - (steady_C - start_C) * left


def reading(duration_s: float, steady_C: float = 260.0, start_C: float = 40.0) -> Reading:
    at = {age: flue(age, steady_C, start_C) for age in GRID_S if age <= duration_s}
    return Reading(duration_s, start_C, at, flue(duration_s - 100, steady_C, start_C))


def test_short_and_long_firings_are_heading_for_the_same() -> None:
    curve = learn([reading(float(s)) for s in np.random.default_rng(2).uniform(300, 1500, 60)])
    found = [curve.steady_C(reading(float(s))) for s in range(300, 3000, 90)]
    assert max(found) - min(found) < 0.5 and 235 < found[0] < 265  # type: ignore[type-var, operator]


def test_the_flue_before_the_light_off_matters_little() -> None:
    """50 K warmer before it: read at one age alone the flue would be 7 K hotter, of 260."""
    curve = learn([reading(700.0, start_C=float(c)) for c in range(20, 80)])
    cold, warm = curve.steady_C(reading(700.0, start_C=30.0)), curve.steady_C(reading(700.0, start_C=80.0))
    assert cold == pytest.approx(warm, abs=5.0)


def test_a_hotter_flue_is_found_hotter_whatever_the_length() -> None:
    curve = learn([reading(float(s)) for s in np.random.default_rng(2).uniform(300, 1500, 60)])
    for s in (310.0, 500.0, 1400.0):
        rise = (curve.steady_C(reading(s, 285.0)) or 0.0) - (curve.steady_C(reading(s)) or 0.0)
        assert rise == pytest.approx(25.0, rel=0.12)


def test_firings_too_short_for_any_age_tell_nothing() -> None:
    curve = learn([reading(700.0)] * 40)
    assert curve.age_s == 600 and curve.steady_C(Reading(230.0, 40.0, {}, 150.0)) is None


def test_a_long_firing_whose_start_is_forgotten_is_taken_at_its_end() -> None:
    assert Curve(600, {600: 1.0}, 1.1).steady_C(Reading(20_000.0, None, {}, 258.0)) == 258.0


def test_a_firing_with_a_hole_at_the_oldest_age_teaches_the_rest() -> None:
    """Rows were lost just then: the firing is long all the same."""
    whole = [reading(2000.0) for _ in range(40)]
    age = learn(whole).age_s
    holed = Reading(2000.0, 40.0, {a: C for a, C in whole[0].at_C.items() if a != age}, whole[0].tail_C)
    assert learn([*whole, holed]) == learn(whole)
