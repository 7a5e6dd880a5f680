"""Where packs without a clock are placed."""

from hypothesis import given
from hypothesis import strategies as st

from sootline.wire.placement import WINDOW_MS, BootClock

HOUR = 3_600_000

_packs = st.lists(
    st.tuples(st.integers(0, 48 * HOUR), st.integers(0, 2 * HOUR)), min_size=1, max_size=25, unique_by=lambda p: p[0]
)


def _clock(packs: list[tuple[int, int]], boot_ms: int) -> BootClock:
    clock = BootClock()
    for uptime, delay in packs:
        clock.saw_relative(uptime, boot_ms + uptime + delay)
    return clock


@given(_packs, st.randoms(use_true_random=False))
def test_order_and_repeats_of_delivery_do_not_matter(packs: list[tuple[int, int]], random: object) -> None:
    shuffled = [*packs, *packs[::2]]
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert _clock(shuffled, 10**12) == _clock(sorted(packs), 10**12)


@given(_packs)
def test_a_placement_is_the_smallest_delay_within_six_hours(packs: list[tuple[int, int]]) -> None:
    """The rule of the contract, written out the slow way."""
    boot_ms = 10**12
    clock = _clock(packs, boot_ms)
    for uptime, _ in packs:
        near = min(delay for other, delay in packs if abs(other - uptime) <= WINDOW_MS)
        assert clock.place(uptime) == boot_ms + uptime + near
    uptimes = sorted(uptime for uptime, _ in packs)
    assert clock.place_all(uptimes) == [clock.place(uptime) for uptime in uptimes]


@given(_packs, st.integers(0, 48 * HOUR))
def test_the_boards_own_clock_settles_it(packs: list[tuple[int, int]], uptime: int) -> None:
    clock = _clock(packs, 10**12)
    clock.saw_absolute(uptime, 2 * 10**12 + uptime)
    assert all(clock.place(u) == 2 * 10**12 + u for u, _ in packs)


@given(st.lists(st.tuples(st.integers(0, HOUR), st.integers(0, 1000)), min_size=1, unique_by=lambda p: p[0]))
def test_of_several_readings_of_the_boards_clock_the_first_of_the_boot_counts(synced: list[tuple[int, int]]) -> None:
    """A clock disciplined over the network later steps by milliseconds; packs must not move for that."""
    forward, backward = BootClock(), BootClock()
    for uptime, step in synced:
        forward.saw_absolute(uptime, 10**12 + uptime + step)
    for uptime, step in reversed(synced):
        backward.saw_absolute(uptime, 10**12 + uptime + step)
    assert forward == backward
    assert forward.place(0) == 10**12 + min(synced)[1]


def test_a_delayed_pack_does_not_move_the_others() -> None:
    clock = _clock([(0, 50), (5_000, 40), (10_000, 3 * HOUR)], 10**12)
    assert [clock.place(u) for u in (0, 5_000, 10_000)] == [10**12 + u + 40 for u in (0, 5_000, 10_000)]
