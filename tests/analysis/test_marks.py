"""Marks of on/off channels: against a plain loop, and the sum that explains a silence."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline.analysis.marks import Mark, StateTrack, state_marks
from sootline.analysis.sampling import Sampling
from sootline.series import Rows
from tests.analysis.kit import T0

SAMPLING = Sampling(5.0, 60.0)  # on: known for 15 s, off: for 180 s


def slow(times: list[int], column: list[float], sums: list[float]) -> list[Mark]:
    """The same by a plain loop over readings."""
    marks: list[Mark] = []
    last: tuple[int, bool, float] | None = None
    for t, x, s in zip(times, column, sums, strict=True):
        if math.isnan(x):
            continue
        on = x > 0.5
        if last is None:
            marks.append(Mark(t, "pump", on, t, s))
        else:
            t0, on0, s0 = last
            limit = 15_000 if on0 else 180_000
            span, grown = t - t0, (s - s0) * 1000
            if on == on0 and span <= limit and (on or not grown > 500):
                pass
            elif not 0 <= grown <= span + 500:
                marks += [Mark(t, "pump", None, t0 + limit)] * (span > limit) + [Mark(t, "pump", on, t, s)]
            elif on != on0:
                moved = min(round(grown), span)
                marks.append(Mark(t, "pump", on, t - moved if on else t0 + moved, s))
            elif not on and grown > 500:  # a run between them
                marks += [Mark(t, "pump", True, t - min(round(grown), span), s0), Mark(t, "pump", False, t, s)]
            elif on and min(round(grown), span) < span - 500:  # a pause between them
                marks += [Mark(t, "pump", None, t0 + min(round(grown), limit)), Mark(t, "pump", True, t, s)]
        last = (t, on, s)
    return marks


def same(a: list[Mark], b: list[Mark]) -> bool:
    return [repr(mark) for mark in a] == [repr(mark) for mark in b]


def feed(times: list[int], column: list[float], sums: list[float], cuts: list[int]) -> list[Mark]:
    states: dict[str, StateTrack] = {}
    marks: list[Mark] = []
    t, x, s = np.array(times, np.int64), np.array(column), np.array(sums)
    edges = sorted({0, len(times), *(cut % (len(times) + 1) for cut in cuts)})
    for i, j in pairwise(edges):
        marks += state_marks(Rows(t[i:j], {"pump": x[i:j]}, {"pump": s[i:j]}), states, SAMPLING)
    return marks


@given(
    st.lists(
        st.tuples(
            st.sampled_from([1, 200, 5_000, 15_000, 15_001, 60_000, 180_000, 180_001, 3_600_000]),
            st.sampled_from([0.0, 1.0, math.nan]),
            st.sampled_from([math.nan, 0.0, 5.0, 15.0, 180.0]),
        ),
        min_size=1,
        max_size=60,
    ),
    st.lists(st.integers(0, 100), max_size=5),
)
def test_like_a_plain_loop_in_any_pieces(steps: list[tuple[int, float, float]], cuts: list[int]) -> None:
    times = (T0 + np.cumsum([gap for gap, _, _ in steps])).tolist()
    column = [x for _, x, _ in steps]
    sums = np.nancumsum([s for _, _, s in steps]).tolist()
    sums = [math.nan if math.isnan(step) else s for (_, _, step), s in zip(steps, sums, strict=True)]
    assert same(feed(times, column, sums, cuts), slow(times, column, sums))


def between(gap_s: float, on0: float, on1: float, grown_s: float) -> list[tuple[bool | None, float, float]]:
    """(state, when known, moment itself), seconds after the reading before the gap, for what came after it."""
    t, t1 = T0, T0 + round(1000 * gap_s)
    marks = feed([t, t1], [on0, on1], [100.0, 100.0 + grown_s], [])
    return [(mark.on, (mark.t_ms - t) / 1000, (mark.at_ms - t) / 1000) for mark in marks[1:]]


@pytest.mark.parametrize(
    ("gap_s", "on0", "on1", "grown_s", "expected"),
    [
        (15.0, 1, 1, math.nan, []),  # 3 x 5 s: still held
        (15.001, 1, 1, math.nan, [(None, 15.001, 15), (True, 15.001, 15.001)]),  # one too long: unknown
        (180.0, 0, 0, math.nan, []),  # 3 x 60 s while idle
        (181.0, 0, 0, math.nan, [(None, 181, 180), (False, 181, 181)]),
        (600.0, 1, 1, 600.0, []),  # the sum says it stayed on
        (600.0, 0, 0, 0.0, []),  # or off
        (600.0, 1, 0, 12.4, [(False, 600, 12.4)]),  # it stopped 12.4 s into the silence
        (600.0, 0, 0, 12.4, [(True, 600, 587.6), (False, 600, 600)]),  # it ran for so long, at the latest then
        (600.0, 0, 1, 12.4, [(True, 600, 587.6)]),  # it started 12.4 s ago
        (600.0, 1, 1, 12.4, [(None, 600, 12.4), (True, 600, 600)]),  # it paused, when is not known
        (60.0, 0, 0, 9.4, [(True, 60, 50.6), (False, 60, 60)]),  # a run whose pack was lost, even in a short gap
        (600.0, 1, 0, -100.0, [(None, 600, 15), (False, 600, 600)]),  # rebooted: the sum began anew
    ],
)
def test_what_the_sum_tells_of_a_gap(
    gap_s: float, on0: float, on1: float, grown_s: float, expected: list[tuple[bool | None, float, float]]
) -> None:
    assert between(gap_s, on0, on1, grown_s) == expected


def test_measured_channels_make_no_marks() -> None:
    rows = Rows(np.array([T0, T0 + 5000], np.int64), {"tank": np.array([20.0, 90.0])})
    assert state_marks(rows, {}, SAMPLING) == []
