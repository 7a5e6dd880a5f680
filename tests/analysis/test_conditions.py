"""Conditions on measured channels, against plain loops, in any pieces."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline.analysis.conditions import MANY, Condition, Level, Slope, Still
from sootline.analysis.history import History
from sootline.analysis.marks import Mark
from sootline.analysis.plant import Plant
from sootline.analysis.sampling import Sampling
from sootline.analysis.settings import Settings
from sootline.profile import parse
from sootline.series import Rows
from tests.analysis.kit import BARE, T0

SAMPLING = Sampling(5.0, 60.0)
Reading = tuple[int, float]

readings = st.lists(
    st.tuples(
        st.sampled_from([200, 5_000, 5_000, 20_000, 60_000, 170_000, 300_000]),
        st.sampled_from([20.0, 20.0, 21.0, 24.0, 27.0, 30.0, math.nan]),
    ),
    min_size=1,
    max_size=80,
)
pieces = st.lists(st.integers(0, 100), max_size=6)


def marks(condition: Condition, steps: list[tuple[int, float]], cuts: list[int]) -> list[tuple[int, bool | None]]:
    t = T0 + np.cumsum([gap for gap, _ in steps])
    x = np.array([value for _, value in steps])
    history, track, found = History(), condition.track(-(2**62)), list[Mark]()
    edges = sorted({0, len(t), *(cut % (len(t) + 1) for cut in cuts)})
    for i, j in pairwise(edges):
        history.extend(Rows(t[i:j], {"stack": x[i:j]}))
        track.feed(history, SAMPLING, found)
    return [(mark.t_ms, mark.on) for mark in found]


def given_readings(steps: list[tuple[int, float]]) -> list[Reading]:
    t = (T0 + np.cumsum([gap for gap, _ in steps])).tolist()
    return [(at, x) for at, (_, x) in zip(t, steps, strict=True) if not math.isnan(x)]


def hold(judged: list[tuple[int, float]], limit: float, clear: float, below: bool) -> list[tuple[int, bool | None]]:
    sign = -1 if below else 1
    holds, out = False, []
    for t, y in judged:
        starts, ends = sign * y > sign * limit, sign * y <= sign * clear or math.isnan(y)
        if ends if holds else starts:
            holds = not holds
            out.append((t, holds))
    return out


def changes(data: list[Reading], window_ms: int) -> list[tuple[int, float]]:
    out = []
    for t, x in data:
        old = [(t0, x0) for t0, x0 in data if t0 <= t - window_ms]
        fresh = old and t - old[-1][0] <= window_ms + SAMPLING.idle_gap_ms
        out.append((t, x - old[-1][1] if fresh else math.nan))
    return out


@given(readings, pieces, st.booleans())
def test_level(steps: list[tuple[int, float]], cuts: list[int], below: bool) -> None:
    limit, clear = (22.0, 25.0) if below else (25.0, 22.0)
    expected = hold(given_readings(steps), limit, clear, below)
    assert marks(Level("name", "stack", limit, clear, below), steps, cuts) == expected


@given(readings, pieces, st.booleans())
def test_slope(steps: list[tuple[int, float]], cuts: list[int], below: bool) -> None:
    limit, clear = (-5.0, -2.0) if below else (5.0, 2.0)
    expected = hold(changes(given_readings(steps), 60_000), limit, clear, below)
    assert marks(Slope("name", "stack", 60_000, limit, clear, below), steps, cuts) == expected


@given(readings, pieces)
def test_still(steps: list[tuple[int, float]], cuts: list[int]) -> None:
    span_ms, expected, holds = 400_000, list[tuple[int, bool | None]](), False
    since = last = None
    for t, x in given_readings(steps):
        if since is None or x != last:
            if holds:
                holds = False
                expected.append((t, False))
            since, last = t, x
        elif not holds and t - since >= span_ms:
            holds = True
            expected.append((t, True))
    assert marks(Still("name", "stack", span_ms), steps, cuts) == expected


def test_a_slope_across_a_gap_is_unknown() -> None:
    assert marks(Slope("name", "stack", 60_000, 5.0, 2.0), [(1, 20.0), (240_000, 30.0)], []) == [(T0 + 240_001, True)]
    assert marks(Slope("name", "stack", 60_000, 5.0, 2.0), [(1, 20.0), (240_001, 30.0)], []) == []


@pytest.mark.parametrize("seed", range(3))
def test_a_slope_over_many_readings(seed: int) -> None:
    """Mostly evenly spaced, as in a table, with holes, gaps and rows at odd moments."""
    random = np.random.default_rng(seed)
    n = 3 * MANY
    gaps = np.where(random.random(n) < 0.02, random.choice([200, 17_000, 60_000, 300_000], n), 5_000)
    level = np.where(random.random(n) < 0.01, math.nan, 20 + np.round(random.normal(0, 1.0, n).cumsum() * 4) / 4)
    steps = list(zip(gaps.tolist(), level.tolist(), strict=True))
    expected = hold(changes(given_readings(steps), 60_000), 3.0, 1.0, False)
    assert len(expected) > 20
    for cuts in ([40], [40, 700], [3, 20, 40, 50]):
        assert marks(Slope("name", "stack", 60_000, 3.0, 1.0), steps, cuts) == expected


@given(readings, pieces)
def test_a_slope_that_nobody_need_know_while_a_level_holds(steps: list[tuple[int, float]], cuts: list[int]) -> None:
    """All but the changes at which the level held both before and after."""
    level, slope = Level("warm", "stack", 25.0, 22.0), Slope("name", "stack", 60_000, 5.0, 2.0)
    holds, warm, told = False, set[int](), dict(hold(given_readings(steps), 25.0, 22.0, False))
    for t, _ in given_readings(steps):
        if holds and told.get(t, True):
            warm.add(t)
        holds = bool(told.get(t, holds))
    everything = hold(changes(given_readings(steps), 60_000), 5.0, 2.0, False)
    found = plant_marks(level, slope, steps, cuts)
    assert found == [mark for mark in everything if mark[0] not in warm]


def plant_marks(
    level: Level, slope: Slope, steps: list[tuple[int, float]], cuts: list[int]
) -> list[tuple[int, bool | None]]:
    """What a plant tells of the slope; it is asked for before the level it depends on."""
    t, x = T0 + np.cumsum([gap for gap, _ in steps]), np.array([value for _, value in steps])
    plant, found = Plant(parse(BARE), Settings(), SAMPLING), list[Mark]()
    plant.watch(slope, found.append, unless=lambda times: plant.around(level.name, times, holds=True))
    plant.watch(level, lambda mark: None)
    edges = sorted({0, len(t), *(cut % (len(t) + 1) for cut in cuts)})
    for i, j in pairwise(edges):
        plant.history.extend(Rows(t[i:j], {"stack": x[i:j]}))
        found += [mark for mark in plant.condition_marks() if mark.subject == slope.name]
    return [(mark.t_ms, mark.on) for mark in found]
