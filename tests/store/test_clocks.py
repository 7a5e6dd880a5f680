"""Packs without a clock: what is known of each boot's clock, and moving them when more is known."""

import random

from sootline.wire.placement import BootClock
from tests.store.making import ALL, FURNACE, HOUR_MS, START_MS, pack, rows


def test_clocks_are_those_of_the_packs_in_any_order(store):
    relative = [(seq, 1000 * seq, START_MS + 1000 * seq + delay) for seq, delay in enumerate([40, 10, 900, 3, 55])]
    absolute = [(9, 9000, START_MS + 8900), (7, 7000, START_MS + 6950)]
    expected = BootClock()
    for _, uptime_ms, received_ms in relative:
        expected.saw_relative(uptime_ms, received_ms)
    for _, uptime_ms, base_ms in absolute:
        expected.saw_absolute(uptime_ms, base_ms)
    words = [(False, *r) for r in relative] + [(True, *a) for a in absolute]
    random.Random(4).shuffle(words)
    with store.batch() as batch:
        for clock, seq, uptime_ms, t_ms in words:
            p = pack(seq, uptime_ms=uptime_ms, base_ms=t_ms if clock else None, clock=clock)
            batch.pack(p, t_ms, t_ms)
    assert store.boot_clocks(FURNACE) == {"b1": expected}
    assert [(seq, uptime_ms) for seq, uptime_ms, _ in store.relative_packs(FURNACE, "b1")] == [
        (seq, uptime_ms) for seq, uptime_ms, _ in relative
    ]


def test_a_moved_pack_is_read_where_it_belongs(store):
    with store.batch() as batch:
        for seq in range(3):
            p = pack(seq, rows([-2, 0], tank=[seq, seq + 0.5]), uptime_ms=seq * 5000, clock=False)
            batch.pack(p, START_MS + seq * 5000 + 300, START_MS + seq * 5000 + 300)
    with store.batch() as batch:
        assert batch.place(FURNACE, "b1", 1, START_MS + 5000)
        assert not batch.place(FURNACE, "b1", 99, START_MS)
    assert store.read(FURNACE, *ALL).t_ms.tolist() == [START_MS + ms for ms in (298, 300, 4998, 5000, 10298, 10300)]
    assert store.relative_packs(FURNACE, "b1")[1] == (1, 5000, START_MS + 5000)


def test_a_pack_with_a_clock_is_not_moved(store):
    with store.batch() as batch:
        batch.pack(pack(1), START_MS, pack(1).base_ms)
        assert not batch.place(FURNACE, "b1", 1, START_MS)
    assert store.read(FURNACE, *ALL).t_ms.tolist() == [pack(1).base_ms]


def test_packs_that_may_still_move_stay_loose(store):
    """A board without a clock whose crystal runs fast moves hours of packs with nearly every new one."""
    with store.batch() as batch:
        for seq in range(20):
            t_ms = START_MS + seq * HOUR_MS // 2
            batch.pack(pack(seq, rows([0], tank=[seq / 10]), uptime_ms=seq * HOUR_MS // 2, clock=False), t_ms, t_ms)
    assert store.compact(START_MS + 10 * HOUR_MS).packs == 9
    assert store.compact(START_MS + 11 * HOUR_MS).packs == 2
    with store.batch() as batch:  # the clock is set: all of its packs are where they belong
        batch.pack(pack(20, uptime_ms=10 * HOUR_MS, base_ms=START_MS + 9), START_MS + 10 * HOUR_MS, START_MS + 9)
    assert store.compact(START_MS + 11 * HOUR_MS).packs == 10
    assert len(store.read(FURNACE, *ALL)) == 21
