"""The history gives out what was read by now, and no more, however it came in."""

import math
from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sootline.analysis.history import KEEP_MS, History
from sootline.series import Rows
from tests.analysis.kit import T0

steps = st.lists(
    st.tuples(st.sampled_from([200, 5_000, 3_600_000, 3_600_000]), st.sampled_from([20.0, 25.0, math.nan])),
    min_size=10,
    max_size=60,
)


@given(steps, st.lists(st.integers(0, 100), max_size=6), st.data())
def test_like_a_plain_list_in_any_pieces(steps: list[tuple[int, float]], cuts: list[int], data: st.DataObject) -> None:
    t, x = T0 + np.cumsum([gap for gap, _ in steps]), np.array([value for _, value in steps])
    edges = sorted({0, len(t), *(cut % (len(t) + 1) for cut in cuts)})
    history = History()
    for i, j in pairwise(edges):
        history.extend(Rows(t[i:j], {"tank": x[i:j]}))
        now = data.draw(st.sampled_from(t[i:j].tolist())) + data.draw(st.sampled_from([0, 100, 4_000]))
        history.now_ms = now
        past = [(a, b) for a, b in zip(t.tolist(), x.tolist(), strict=True) if a <= now and not math.isnan(b)]
        assert history.has("tank") == bool(past)
        assert history.latest("tank") == (past[-1] if past else None)
        fresh = [reading for reading in past if now - reading[0] <= 60_000]
        assert history.latest("tank", 60_000) == (fresh[-1] if fresh else None)
        back = data.draw(st.sampled_from([60_000, 7_200_000, 10 * KEEP_MS]))
        kept = [reading for reading in past if reading[0] >= now - min(back, KEEP_MS)]
        window_t, window_x = history.window("tank", now - back, 2**62)
        assert list(zip(window_t.tolist(), window_x.tolist(), strict=True)) == kept
        mean = history.mean("tank", now - back, now)
        assert mean is None if not kept else abs(mean - np.mean([b for _, b in kept])) < 1e-9
        at = history.at("tank", now - 60_000)
        older = [b for a, b in past if now - KEEP_MS <= a <= now - 60_000]
        assert at == (older[-1] if older else None)


def test_nothing_later_than_now() -> None:
    history = History()
    t = T0 + 5_000 * np.arange(10)
    history.extend(Rows(t, {"tank": np.arange(10.0)}))
    history.now_ms = T0 + 12_000
    assert history.window("tank", T0, 2**62)[1].tolist() == [0.0, 1.0, 2.0]
    assert history.latest("tank") == (T0 + 10_000, 2.0)
    assert history.at("tank", T0 + 30_000) == 2.0


def test_old_readings_are_dropped_and_the_last_word_kept() -> None:
    history = History()
    for day in range(3):
        t = T0 + 86_400_000 * day + 5_000 * np.arange(2_000)
        history.extend(
            Rows(t, {"tank": np.full(2_000, float(day)), "room": np.full(2_000, 9.0 if not day else math.nan)})
        )
    tank, room = history.column("tank"), history.column("room")
    assert tank is not None and room is not None
    assert len(tank.t) <= 2_001 and len(room.t) == 2_000
    history.now_ms = int(tank.t[-1])
    assert history.latest("room") == (T0 + 5_000 * 1_999, 9.0)
