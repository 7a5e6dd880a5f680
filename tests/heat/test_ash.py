"""Ash balance: AP-42 factor, the 7.4 lb rule, learning the retained share."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline.errors import OutOfRange
from sootline.heat import ash
from sootline.heat.conversions import GALLON_L, POUND_KG


def test_a_tenth_of_a_percent_in_a_thousand_gallons() -> None:
    """0.1 % of 1000 US gal at 7.47 lb/gal is 7.5 lb, of which 6.6 leave (AP-42 1.11: 66 A lb/1000 gal)."""
    brought_lb = ash.ash_brought(ash.BurnedBatch(1000 * GALLON_L, 895.0, 0.1)) / POUND_KG
    assert brought_lb == pytest.approx(7.47, abs=0.01)
    assert 1 - 66 * 0.1 / brought_lb == pytest.approx(ash.RETAINED_SHARE, abs=0.03)


def test_budget_sums_batches() -> None:
    batches = [ash.BurnedBatch(1000.0, 880.0, 0.87), ash.BurnedBatch(500.0, 875.0, 0.05)]
    budget = ash.ash_budget(batches, 0.1, 2.0, full_kg=1.0)
    assert budget.brought_kg == pytest.approx(8.8 * 0.87 + 4.375 * 0.05)
    assert budget.kept_low_kg < budget.kept_kg < budget.kept_high_kg <= budget.brought_kg
    assert budget.used == pytest.approx(budget.kept_kg)
    assert ash.ash_budget(batches, 0.1, 2.0).used is None


@given(st.floats(0.02, 0.5), st.integers(1, 8))
def test_retained_share_is_learned_from_weighings(share: float, cleanings: int) -> None:
    """The more weighings, the closer to the owner's own share; always between it and the start value."""
    learned, factor = ash.retained_share([10.0] * cleanings, [10.0 * share] * cleanings)
    low, high = sorted([ash.RETAINED_SHARE, share])
    assert low - 1e-9 <= learned <= high + 1e-9
    assert 1.0 < factor < ash.RETAINED_SPREAD
    more, tighter = ash.retained_share([10.0] * (cleanings + 1), [10.0 * share] * (cleanings + 1))
    assert abs(np.log(more / share)) <= abs(np.log(learned / share)) + 1e-12
    assert tighter < factor


def test_two_weighings_bring_the_share_within_a_factor_two() -> None:
    learned, _ = ash.retained_share([10.0, 8.0], [3.0, 2.4])
    assert 0.15 < learned < 0.6


def test_hours_until_the_budget_is_full() -> None:
    batch = ash.BurnedBatch(0.0, 880.0, 0.5)
    hours = ash.hours_to_full(1.0, 0.4, 4.0, batch, 0.1, 2.0, np.array([0.0, 1.0, -1.0]))
    assert hours[0] == pytest.approx(0.6 / (0.88 * 0.005 * 0.1 * 4.0))
    assert hours[1] < hours[0] < hours[2]
    assert ash.hours_to_full(1.0, 1.5, 4.0, batch, 0.1, 2.0, np.zeros(1))[0] == 0.0


@pytest.mark.parametrize(("weighed", "word"), [(1.0, "agrees"), (1.9, "agrees"), (2.1, "more"), (0.4, "less")])
def test_weighed_ash_within_a_factor_two(weighed: float, word: str) -> None:
    assert ash.weighed_verdict(weighed, 1.0) == word


def test_impossible_ash_is_refused() -> None:
    with pytest.raises(OutOfRange, match="ash"):
        ash.ash_brought(ash.BurnedBatch(100.0, 880.0, 12.0))
    with pytest.raises(OutOfRange):
        ash.retained_share([10.0], [0.0])
