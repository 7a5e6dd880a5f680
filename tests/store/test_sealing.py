"""Hours packed and days sealed: whatever has been done when, what is read stays the same to the bit."""

import sqlite3

import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sootline.errors import StoreDamaged
from sootline.series import SensorFault
from sootline.store import Store, files, parts
from tests.store import season
from tests.store.making import ALL, DAY_MS, FURNACE, HOUR_MS, START_MS, day_packs, pack, put, rows, said, same, slowly


def files_of(store: Store) -> list[str]:
    return sorted(path.name for path in (store.folder / parts.DAYS).glob("*/*"))


def test_reading_is_the_same_loose_packed_and_sealed(store):
    put(store, *day_packs(2), pack(9999, rows([0], faults=(SensorFault(7, "stack", "open"),), room=[1 / 3])))
    loose = store.read(FURNACE, *ALL)
    done = store.compact(START_MS + 2 * DAY_MS + 60_000)
    assert (done.days_sealed, files_of(store)) == (1, ["2026-01-01.parquet"])
    assert same(store.read(FURNACE, *ALL), loose)
    store.compact(START_MS + 3 * DAY_MS)
    assert files_of(store) == ["2026-01-01.parquet", "2026-01-02.parquet"]
    assert same(store.read(FURNACE, *ALL), loose)
    midnight = (START_MS + DAY_MS - 1, START_MS + DAY_MS + 1235)
    assert said(store.read(FURNACE, *midnight)) == said(loose.between(*midnight)) != {}


def test_repeats_are_known_after_sealing(store):
    packs = list(day_packs())
    put(store, *packs)
    store.compact(START_MS + 3 * DAY_MS)
    assert put(store, *packs) == [False] * len(packs)
    with Store.open(store.folder) as again:
        assert put(again, packs[0], packs[-1], pack(10**6)) == [False, False, True]


def test_late_rows_are_merged_on_read_and_sealed_anew(store):
    packs = list(day_packs())
    put(store, *packs[::2])
    store.compact(START_MS + 3 * DAY_MS)
    size = (store.folder / parts.DAYS / FURNACE / "2026-01-01.parquet").stat().st_size
    assert put(store, *packs[1::2]) == [True] * (len(packs) // 2)
    expected = slowly(packs)
    assert said(store.read(FURNACE, *ALL)) == expected
    assert store.compact(START_MS + 3 * DAY_MS).days_sealed == 1
    assert said(store.read(FURNACE, *ALL)) == expected
    assert files_of(store) == ["2026-01-01.parquet"]
    assert (store.folder / parts.DAYS / FURNACE / "2026-01-01.parquet").stat().st_size > size
    assert store.compact(START_MS + 3 * DAY_MS).days_sealed == 0


def test_a_pack_over_midnight_is_split_and_read_as_one(store):
    content = rows([-1000, -1, 0, 1000], stack=[1.5, 2.5, 3.5, 4.5])
    put(store, pack(1, content, base_ms=START_MS + DAY_MS))
    store.compact(START_MS + 4 * DAY_MS)
    assert files_of(store) == ["2026-01-01.parquet", "2026-01-02.parquet"]
    assert same(store.read(FURNACE, *ALL), pack(1, content, base_ms=START_MS + DAY_MS).at(START_MS + DAY_MS))


def test_a_pack_without_a_clock_moves_out_of_a_sealed_day(store):
    content = rows([-1000, 0], stack=[1.5, 2.5])
    with store.batch() as batch:
        for seq in range(3):
            batch.pack(pack(seq, content, uptime_ms=5000 * seq, clock=False), START_MS, START_MS + 1000 + 5000 * seq)
    store.compact(START_MS + 3 * DAY_MS)
    assert files_of(store) == ["2026-01-01.parquet"]
    with store.batch() as batch:
        assert batch.place(FURNACE, "b1", 1, START_MS + DAY_MS)
    moved = [0, 1000, 10000, 11000, DAY_MS - 1000, DAY_MS]
    assert (store.read(FURNACE, *ALL).t_ms - START_MS).tolist() == moved
    assert files_of(store) == []
    store.compact(START_MS + 3 * DAY_MS)
    assert (store.read(FURNACE, *ALL).t_ms - START_MS).tolist() == moved
    assert files_of(store) == ["2026-01-01.parquet", "2026-01-02.parquet"]


def test_arrival_and_origin_are_kept_in_the_file(store):
    put(store, pack(41), received_ms=START_MS + 123_456)
    store.compact(START_MS + 3 * DAY_MS)
    (row,) = pq.read_table(store.folder / parts.DAYS / FURNACE / "2026-01-01.parquet").to_pylist()
    assert (row["boot"], row["seq"]) == ("b1", 41)
    assert row["received"].timestamp() == (START_MS + 123_456) / 1000


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_any_history_of_arrival_moving_and_sealing_reads_the_same(tmp_path_factory, data):
    """Packs in any order, some without a clock and moved later, with house-keeping at any moment."""
    spread = st.integers(0, 3 * 24).map(lambda hour: START_MS + hour * HOUR_MS - 2)
    packs, final = [], {}
    for boot in ("b1", "b2"):
        for seq in range(data.draw(st.integers(0, 4))):
            times = sorted(data.draw(st.sets(st.integers(0, 5), min_size=1, max_size=4)))
            reading = st.integers(-400, 4000).map(lambda i: i / 10)
            content = rows(times, tank=[data.draw(reading) for _ in times])
            p = pack(seq, content, boot=boot, base_ms=data.draw(spread), clock=data.draw(st.booleans()))
            packs.append((p, data.draw(spread)))
    steps = data.draw(st.permutations([*range(len(packs)), *range(len(packs))]))
    with Store.open(tmp_path_factory.mktemp("any")) as store:
        for i in steps:
            p, placed_ms = packs[i]
            base_ms = p.base_ms if p.base_ms is not None else placed_ms
            with store.batch() as batch:
                new = batch.pack(p, START_MS + 3 * DAY_MS, base_ms)
                assert new == ((p.boot, p.seq) not in final)
                if not new and p.base_ms is None:
                    base_ms = data.draw(spread)
                    assert batch.place(FURNACE, p.boot, p.seq, base_ms)
            final[p.boot, p.seq] = pack(p.seq, p.rows, boot=p.boot, base_ms=base_ms)
            if data.draw(st.booleans()):
                store.compact(data.draw(st.integers(0, 5)) * DAY_MS + START_MS)
            assert said(store.read(FURNACE, *ALL)) == slowly(final.values())


def test_a_real_days_worth_with_every_sensors_grain(store):
    (day,) = season.days(1, grain=None)
    with store.batch() as batch:
        for seq, at in enumerate(range(0, len(day), 60)):
            part = day.between(int(day.t_ms[at]), int(day.t_ms[at]) + 300_000)
            base_ms = int(part.t_ms[-1])
            shifted = type(part)(part.t_ms - base_ms, part.values)
            batch.pack(pack(seq, shifted, base_ms=base_ms), base_ms + 20, base_ms)
    store.compact(START_MS + 3 * DAY_MS)
    assert same(store.read(FURNACE, *ALL), day)
    only = store.read(FURNACE, *ALL, channels=("stack",))
    assert only.values["stack"].tobytes() == day.values["stack"].tobytes()


@pytest.mark.parametrize("lost", ["file removed", "file cut short", "a bit turned"])
def test_a_damaged_day_is_named_and_stops_nothing_else(store, lost):
    put(store, *day_packs(2))
    store.compact(START_MS + 4 * DAY_MS)
    path = store.folder / parts.DAYS / FURNACE / "2026-01-01.parquet"
    data = bytearray(path.read_bytes())
    if lost == "file removed":
        path.unlink()
    elif lost == "file cut short":
        path.write_bytes(data[: len(data) // 2])
    else:
        data[300] ^= 4
        path.write_bytes(data)
        assert [problem for problem in store.verify() if path.name in problem]
        return
    with pytest.raises(StoreDamaged, match=path.name):
        store.read(FURNACE, *ALL)
    assert len(store.read(FURNACE, START_MS + DAY_MS, START_MS + 2 * DAY_MS))
    put(store, pack(10**6, base_ms=START_MS + 5), pack(10**6 + 1, base_ms=START_MS + 3 * DAY_MS))
    done = store.compact(START_MS + 9 * DAY_MS)
    assert done.days_sealed == 1 and path.name in done.problems[0]
    assert [problem for problem in store.verify() if path.name in problem]


def test_a_day_that_changes_while_it_is_sealed_is_sealed_the_next_time(store, monkeypatch):
    packs = list(day_packs(1))
    put(store, *packs[::2])
    write_beside = files.write_beside

    def write_slowly(path, data):
        """Meanwhile another process takes in late rows and seals the day first."""
        monkeypatch.undo()
        with Store.open(store.folder) as other:
            put(other, *packs[1::2])
            assert other.compact(START_MS + 3 * DAY_MS).days_sealed == 1
        return write_beside(path, data)

    monkeypatch.setattr(files, "write_beside", write_slowly)
    assert store.compact(START_MS + 3 * DAY_MS).days_sealed == 0
    assert said(store.read(FURNACE, *ALL)) == slowly(packs)
    assert files_of(store) == ["2026-01-01.parquet"] and store.verify() == []


def test_a_file_that_is_loosened_while_it_is_looked_for_is_no_trouble(store, monkeypatch):
    content = rows([0], stack=[2.5])
    with store.batch() as batch:
        batch.pack(pack(1, content, clock=False), START_MS, START_MS)
    store.compact(START_MS + 3 * DAY_MS)
    load = parts.load

    def load_late(*arguments):
        monkeypatch.undo()
        with Store.open(store.folder) as other, other.batch() as batch:
            assert batch.place(FURNACE, "b1", 1, START_MS + 77)
        return load(*arguments)

    monkeypatch.setattr(parts, "load", load_late)
    assert store.read(FURNACE, *ALL).t_ms.tolist() == [START_MS + 77]


def test_taken_packs_are_remembered_in_few_ranges(store):
    packs = list(day_packs(2))
    put(store, *packs[:100], *packs[101:])
    store.compact(START_MS + 4 * DAY_MS)
    with sqlite3.connect(store.folder / "sootline.db") as db:
        assert db.execute("SELECT first_seq, last_seq FROM seen").fetchall() == [(0, 99), (101, 575)]
    db.close()
    put(store, packs[100])
    store.compact(START_MS + 4 * DAY_MS)
    with sqlite3.connect(store.folder / "sootline.db") as db:
        assert db.execute("SELECT first_seq, last_seq FROM seen").fetchall() == [(0, 575)]
    db.close()
