"""Impossible single readings: against a plain loop, in any pieces."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline.analysis.glitch import MAY_CHANGE, GlitchFilter
from sootline.analysis.marks import Mark
from sootline.analysis.sampling import Sampling
from sootline.series import Rows
from tests.analysis.kit import T0

SAMPLING = Sampling(5.0, 60.0)


def filtered(gaps: list[int], column: list[float], cuts: list[int], channel: str = "tank") -> tuple[list[float], int]:
    """What is left of the column, and how many glitches were marked."""
    t, x = T0 + np.cumsum(gaps), np.array(column)
    edges = sorted({0, len(t), *(cut % (len(t) + 1) for cut in cuts)})
    glitches, marks, out = GlitchFilter(), list[Mark](), list[float]()
    for i, j in pairwise(edges):
        out += glitches.feed(Rows(t[i:j], {channel: x[i:j]}), SAMPLING, marks).values[channel].tolist()
    return out, len(marks)


def slow(gaps: list[int], column: list[float]) -> list[float]:
    at_once, per_s = MAY_CHANGE["tank"]
    before: list[tuple[int, float]] = []
    out = []
    for t, x in zip(np.cumsum(gaps).tolist(), column, strict=True):
        if math.isnan(x):
            out.append(x)
            continue
        agrees = len(before) < 2 or any(
            t - t0 > SAMPLING.idle_gap_ms or abs(x - x0) <= at_once + per_s * (t - t0) / 1000 for t0, x0 in before[-2:]
        )
        if x == 85.0 and before and before[-1][1] != 85.0 and abs(x - before[-1][1]) > 3.0:
            agrees = False  # the power-on value, and the oil was not as warm
        before.append((t, x))
        out.append(x if agrees else math.nan)
    return out


@given(
    st.lists(
        st.tuples(
            st.sampled_from([200, 5_000, 60_000, 180_000, 180_001]),
            st.sampled_from([20.0, 22.0, 26.0, 30.0, 85.0, math.nan]),
        ),
        min_size=1,
        max_size=60,
    ),
    st.lists(st.integers(0, 100), max_size=5),
)
def test_like_a_plain_loop_in_any_pieces(steps: list[tuple[int, float]], cuts: list[int]) -> None:
    gaps, column = [gap for gap, _ in steps], [x for _, x in steps]
    kept, marked = filtered(gaps, column, cuts)
    expected = slow(gaps, column)
    assert np.array_equal(kept, expected, equal_nan=True)
    assert marked == sum(math.isnan(x) for x in expected) - sum(math.isnan(x) for x in column)


def test_power_on_value_of_a_digital_probe() -> None:
    """DS18B20 data sheet: the scratchpad holds +85 degC until the first conversion after power-up."""
    assert np.isnan(filtered([5_000] * 5, [21.0, 21.1, 85.0, 21.1, 21.2], [])[0]).tolist() == [0, 0, 1, 0, 0]


def test_a_noisy_flue_may_well_stand_at_85_degrees() -> None:
    assert filtered([5_000] * 5, [88.5, 84.75, 88.25, 85.0, 87.5], [], "stack")[1] == 0


@pytest.mark.parametrize(("reading", "lost"), [(29.0, 0), (29.01, 1)])
def test_what_oil_may_do_in_five_seconds(reading: float, lost: int) -> None:
    """6 K at once and 0.3 K/s: 9 K since the reading before the last, 10 s ago."""
    assert filtered([5_000] * 3, [20.0, 20.0, reading], [])[1] == lost


def test_a_true_step_loses_one_sample() -> None:
    assert filtered([5_000] * 6, [20.0, 20.0, 60.0, 60.0, 60.0, 60.0], [])[1] == 1


def test_the_flue_may_jump_where_oil_may_not() -> None:
    column = [30.0, 30.0, 100.0, 170.0, 230.0]
    assert filtered([5_000] * 5, column, [], "stack")[1] == 0 and filtered([5_000] * 5, column, [])[1] > 0
