"""Packs are taken once, in any order, and read back to the bit."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from sootline.series import SensorFault
from sootline.store import Store
from tests.store.making import ALL, FURNACE, START_MS, pack, put, rows, said, same, slowly


def test_a_pack_is_taken_once(store):
    assert put(store, pack(1), pack(2), pack(1)) == [True, True, False]
    assert put(store, pack(2), pack(3)) == [False, True]
    assert len(store.read(FURNACE, *ALL)) == 3


def test_the_same_number_of_another_boot_or_furnace_is_another_pack(store):
    assert put(store, pack(1), pack(1, boot="b2", base_ms=START_MS), pack(1, furnace="carriage-shop")) == [True] * 3
    assert store.furnaces() == ["carriage-shop", "engine-shed"]


def test_rows_come_back_to_the_bit(store):
    content = rows(
        [-61, 0, 4999],
        tank=[60.1, np.nan, 1 / 3],
        pump=[1.0, 0.0, np.nan],
        pump_s=[np.nan, 12.25, np.nan],
        faults=(SensorFault(-61, "nozzle", "open"), SensorFault(0, "stack", "crc")),
    )
    put(store, pack(7, content))
    assert same(store.read(FURNACE, *ALL), pack(7, content).at(pack(7).base_ms))


def test_a_fault_needs_no_row(store):
    content = rows([0], tank=[60.0], faults=(SensorFault(5, "stack", "short"),))
    put(store, pack(0, content))
    read = store.read(FURNACE, *ALL)
    assert read.t_ms.tolist() == [START_MS]
    assert read.faults == (SensorFault(START_MS + 5, "stack", "short"),)


def test_minus_zero_is_zero(store):
    put(store, pack(0, rows([0], outdoor=[-0.0])))
    assert not np.signbit(store.read(FURNACE, *ALL).values["outdoor"][0])


def test_a_pack_without_rows_counts_as_taken(store):
    assert put(store, pack(1, rows([]))) == [True]
    assert put(store, pack(1, rows([]))) == [False]
    assert store.extent(FURNACE) is None
    assert len(store.read(FURNACE, *ALL)) == 0


def test_range_is_half_open_and_channels_choose(store):
    put(store, *(pack(i) for i in range(10)), pack(10, rows([1], leak=[1.0])))
    assert store.read(FURNACE, START_MS + 5000, START_MS + 15000).t_ms.tolist() == [START_MS + 5000, START_MS + 10000]
    leak = store.read(FURNACE, *ALL, channels=("leak",))
    assert leak.t_ms.tolist() == [START_MS + 50001] and set(leak.values) == {"leak"}
    assert set(store.read(FURNACE, START_MS, START_MS + 1, ("tank", "pump")).values) == {"tank", "pump"}
    assert len(store.read("no-such", *ALL)) == 0


def test_the_greater_boot_and_number_wins_one_moment(store):
    early, late = pack(1, rows([0], tank=[1.0], room=[5.0]), base_ms=START_MS), pack(2, rows([0], tank=[2.0]))
    late = pack(2, late.rows, base_ms=START_MS)
    put(store, late, early)
    read = store.read(FURNACE, *ALL)
    assert read.t_ms.tolist() == [START_MS]
    assert read.values["tank"].tolist() == [2.0] and read.values["room"].tolist() == [5.0]


def test_extent_and_last_received(store):
    assert store.extent(FURNACE) is None and store.last_received_ms(FURNACE) is None
    put(store, pack(3, rows([-5, 10], tank=[1.0, 2.0])), received_ms=START_MS + 77)
    assert store.extent(FURNACE) == (START_MS + 14995, START_MS + 15010)
    assert store.last_received_ms(FURNACE) == START_MS + 77


reading = st.one_of(st.just(float("nan")), st.integers(-400, 4000).map(lambda i: i / 10))


@st.composite
def packs_of_a_furnace(draw):
    """Packs of two boots whose times may fall together."""
    chosen = []
    for boot in ("b1", "b2"):
        for seq in range(draw(st.integers(0, 5))):
            n = draw(st.integers(0, 4))
            times = sorted(draw(st.sets(st.integers(0, 6), min_size=n, max_size=n)))
            columns = {c: draw(st.lists(reading, min_size=n, max_size=n)) for c in ("tank", "stack", "pump_s")}
            faults = draw(st.sets(st.tuples(st.integers(0, 6), st.sampled_from(("tank", "room"))), max_size=2))
            content = rows(times, tuple(sorted(SensorFault(t, c, "open") for t, c in faults)), **columns)
            chosen.append(pack(seq, content, boot=boot, base_ms=START_MS + draw(st.integers(0, 3))))
    return chosen


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_order_and_any_repeats_read_the_same(tmp_path_factory, data):
    packs = data.draw(packs_of_a_furnace())
    shuffled = data.draw(st.permutations(packs + packs[: len(packs) // 2]))
    with Store.open(tmp_path_factory.mktemp("any")) as store:
        put(store, *shuffled)
        read = store.read(FURNACE, *ALL)
    assert said(read) == slowly(packs)
    assert (np.diff(read.t_ms) > 0).all()
