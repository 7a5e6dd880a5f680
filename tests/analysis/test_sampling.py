"""How long a silent reading counts, learned from the spacing of a table's rows."""

import numpy as np
import pytest

from sootline.analysis.sampling import Sampling, spacing
from sootline.series import Times


def times(*parts: tuple[int, float]) -> Times:
    """n rows each so many seconds apart, one part after the other."""
    return np.cumsum(np.concatenate([np.full(n, round(1000 * step)) for n, step in parts]), dtype=np.int64)


@pytest.mark.parametrize("step_s", [5.0, 10.0, 30.0, 60.0, 300.0])
def test_an_even_table(step_s: float) -> None:
    learned = spacing(times((500, step_s)))
    assert learned == Sampling(step_s, max(60.0, step_s))
    assert learned.active_gap_ms == 3000 * step_s, "three times the usual spacing"


def test_rows_at_changes_and_gaps_do_not_matter() -> None:
    """5 s while it burns, 60 s between, a row at each change, and an hour missing."""
    day = [(60, 5.0), (1, 0.7), (1, 4.3), (20, 60.0)] * 30
    assert spacing(times(*day, (1, 3600.0), *day)) == Sampling(5.0, 60.0)


def test_a_furnace_that_hardly_rests() -> None:
    """Few rows at rest, but a third of the time; every twentieth is lost, and ten days are missing."""
    day = [(6000, 10.0), *[(19, 300.0), (1, 600.0)] * 4]
    assert spacing(times(*day * 10, (1, 10 * 86_400.0), *day * 10)) == Sampling(10.0, 300.0)


def test_jitter_of_a_tenth_of_a_second() -> None:
    t = times((400, 30.0))
    assert spacing(t + np.random.default_rng(3).integers(-100, 100, len(t))) == Sampling(30.0, 60.0)


@pytest.mark.parametrize("step_s", [0.5, 1.0, 2.0])
def test_the_defaults_are_the_least(step_s: float) -> None:
    assert spacing(times((500, step_s))) == Sampling()


@pytest.mark.parametrize("n", [0, 1])
def test_too_few_rows_tell_nothing(n: int) -> None:
    assert spacing(times((n, 30.0))) == Sampling()
