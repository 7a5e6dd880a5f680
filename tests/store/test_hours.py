"""Hourly lowest, mean, highest, and the overview: compared with going through every reading."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sootline.store import Store
from tests.store.making import DAY_MS, FURNACE, HOUR_MS, START_MS, pack, put, rows


def slow_overview(read, channel, start_ms, end_ms, n, by_hour):
    """start of span -> (low, high), reading by reading."""
    spans: dict[int, list[float]] = {}
    for t, value in zip(read.t_ms.tolist(), read.values.get(channel, np.full(len(read), np.nan)).tolist(), strict=True):
        hour = t // HOUR_MS * HOUR_MS
        if by_hour and hour >= start_ms and hour + HOUR_MS <= end_ms:
            t = hour
        if value == value:
            edges = [start_ms + i * (end_ms - start_ms) // n for i in range(n)]
            spans.setdefault(max(edge for edge in edges if edge <= t), []).append(value)
    return {t: (min(values), max(values)) for t, values in spans.items()}


@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_overview_loses_no_spike_at_any_stage(tmp_path_factory, data):
    with Store.open(tmp_path_factory.mktemp("any")) as store:
        for seq in range(data.draw(st.integers(1, 12))):
            times = sorted(data.draw(st.sets(st.integers(0, 5000), min_size=1, max_size=6)))
            reading = st.one_of(st.just(float("nan")), st.integers(-400, 13720).map(lambda i: i / 10))
            content = rows([1000 * t for t in times], stack=[data.draw(reading) for _ in times])
            put(store, pack(seq, content, base_ms=START_MS + data.draw(st.integers(0, 60)) * HOUR_MS))
            if data.draw(st.booleans()):
                store.compact(START_MS + data.draw(st.integers(0, 5)) * DAY_MS)
        start_ms = START_MS + data.draw(st.integers(0, 40 * 3600)) * 1000
        end_ms = start_ms + data.draw(st.integers(1, 40 * 3600)) * 1000
        n = data.draw(st.integers(1, 50))
        t_ms, low, high = store.overview(FURNACE, "stack", start_ms, end_ms, n)
        read = store.read(FURNACE, start_ms, end_ms, ("stack",))
        hours = store.hours(FURNACE, "stack", 0, 2**60)
    by_hour = end_ms - start_ms >= n * HOUR_MS and -(-start_ms // HOUR_MS) < end_ms // HOUR_MS
    told = {t: (lo, hi) for t, lo, hi in zip(t_ms.tolist(), low.tolist(), high.tolist(), strict=True)}
    # hours not yet packed count to the span of their own time, packed ones to that of the hour's beginning
    expected = slow_overview(read, "stack", start_ms, end_ms, n, by_hour and len(hours[0]) > 0)
    if by_hour and len(hours[0]):
        assert {v for v in (*low, *high)} <= set(read.values.get("stack", np.empty(0)).tolist())
        assert (low.min(initial=np.inf), high.max(initial=-np.inf)) == (
            min((lo for lo, _ in expected.values()), default=np.inf),
            max((hi for _, hi in expected.values()), default=-np.inf),
        )
    else:
        assert told == expected


def test_overview_of_packed_hours_is_that_of_every_reading(store):
    values = np.round(60 + 5 * np.sin(np.arange(1440) / 9), 1)
    values[777] = 999.0
    put(store, *(pack(i, rows([0], tank=[v]), base_ms=START_MS + 120_000 * i) for i, v in enumerate(values)))
    store.compact(START_MS + 4 * DAY_MS)
    for n in (1, 7, 48):
        t_ms, low, high = store.overview(FURNACE, "tank", START_MS, START_MS + 2 * DAY_MS, n)
        read = store.read(FURNACE, START_MS, START_MS + 2 * DAY_MS)
        expected = slow_overview(read, "tank", START_MS, START_MS + 2 * DAY_MS, n, True)
        assert {t: (lo, hi) for t, lo, hi in zip(t_ms.tolist(), low, high, strict=True)} == expected
        assert high.max() == 999.0


def test_hourly_mean_counts_a_reading_for_as_long_as_it_stands(store):
    # 0 s: off; 600 s: on; 660 s: off until the end of the hour, told every 60 s
    times = [0, *range(60, 600, 60), 600, 660, *range(720, 3600, 60)]
    on = [1.0 if t == 600 else 0.0 for t in times]
    put(store, pack(0, rows([1000 * t for t in times], pump=on), base_ms=START_MS))
    store.compact(START_MS + HOUR_MS)
    hour_ms, low, mean, high = store.hours(FURNACE, "pump", START_MS, START_MS + DAY_MS)
    assert (hour_ms.tolist(), low.tolist(), high.tolist()) == ([START_MS], [0.0], [1.0])
    assert mean[0] == pytest.approx(60 / 3600)


def test_an_hour_of_which_only_a_late_half_was_packed_is_corrected(store):
    put(store, pack(0, rows([0, 60_000], tank=[50.0, 52.0]), base_ms=START_MS))
    store.compact(START_MS + 3 * DAY_MS)
    put(store, pack(1, rows([0], tank=[10.0]), base_ms=START_MS + 120_000))
    store.compact(START_MS + 3 * DAY_MS)
    _, low, mean, high = store.hours(FURNACE, "tank", START_MS, START_MS + DAY_MS)
    assert (low.tolist(), high.tolist()) == ([10.0], [52.0])
    assert mean[0] == pytest.approx((50 * 60 + 52 * 60 + 10 * 180) / 300)


def test_moving_a_late_pack_leaves_the_sealed_rest_of_its_hour_in_the_overview(store):
    span = (START_MS, START_MS + 2 * DAY_MS, 4)
    put(store, pack(0, rows([0], tank=[90.0]), base_ms=START_MS + 60_000))
    store.compact(START_MS + 3 * DAY_MS)
    put(store, pack(1, rows([0], tank=[10.0]), clock=False), received_ms=START_MS + 120_000)
    store.compact(START_MS + 7 * HOUR_MS)  # the late pack is in a block of its hour, the day is not sealed anew
    assert [column.tolist() for column in store.overview(FURNACE, "tank", *span)[1:]] == [[10.0], [90.0]]
    with store.batch() as batch:
        assert batch.place(FURNACE, "b1", 1, START_MS + DAY_MS)
    t_ms, low, high = store.overview(FURNACE, "tank", *span)
    assert (t_ms - START_MS).tolist() == [0, DAY_MS]
    assert low.tolist() == high.tolist() == [90.0, 10.0]
