"""Late, twice, out of order, to a host that was restarted: series and alarms are those of the packs in order."""

import tempfile
from dataclasses import replace
from functools import cache
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from sootline.alarms import Alarm
from sootline.files.profiles import default
from sootline.ingest.intake import Intake
from sootline.profile import Profile, parse
from sootline.series import Rows
from sootline.sim.faults import Fault
from sootline.sim.run import simulate
from sootline.sim.workshop import CARRIAGE_SHOP, PROFILES
from sootline.store import Store
from sootline.watches import Watches
from sootline.wire import encode
from sootline.wire.message import Message

HOUR_MS = 3_600_000
START_MS = 1_767_600_000_000
REBOOT_MS = START_MS + 3 * HOUR_MS
END_MS = START_MS + 4 * HOUR_MS
CLOCK_MS = START_MS + 12 * 60_000  # from here on the board's clock is set
TOPIC = "sootline/carriage-shop/measurements"


def profile(furnace: str) -> Profile:
    return parse(PROFILES[furnace]) if furnace in PROFILES else default(furnace)


@cache
def readings() -> Rows:
    """Four hours of a furnace whose day tank heater fails and whose refills stop bringing oil."""
    faults = (
        Fault("half-element", START_MS - HOUR_MS, channel="tank"),
        Fault("air-leak", START_MS + 90 * 60_000),
        Fault("ssr-shorted", START_MS + 2 * HOUR_MS, channel="nozzle"),
    )
    rows, _ = simulate(CARRIAGE_SHOP, 3, START_MS - 6 * HOUR_MS, END_MS, faults, interval_s=10.0)
    return rows.between(START_MS, END_MS)


@cache
def packs() -> tuple[tuple[int, bytes], ...]:
    """(moment of the last sample, payload): a boot whose clock is set late, and a second boot."""
    rows = readings()
    unset, first = rows.between(START_MS, CLOCK_MS), rows.between(CLOCK_MS, REBOOT_MS)
    second = rows.between(REBOOT_MS, END_MS)
    sent: list[tuple[int, bytes]] = []

    def send(part: Rows, boot: str, boot_ms: int, first_seq: int, clock: bool) -> int:
        made = list(encode.packs(part, "carriage-shop", boot, boot_ms, samples=12, first_seq=first_seq, clock=clock))
        sent.extend((pack.last_ms, pack.payload) for pack in made)
        return made[-1].seq + 1

    seq = send(unset, "aa", START_MS - 5000, 0, clock=False)
    send(first, "aa", START_MS - 5000, seq, clock=True)
    send(second, "bb", REBOOT_MS - 1000, 0, clock=True)
    return tuple(sent)


def outcome(
    messages: list[Message], restarts: frozenset[int] = frozenset(), batch: int = 1
) -> tuple[Rows, list[Alarm]]:
    """What a host that got these messages has stored and found; it is restarted before some of them."""
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder)) as store:
        intake, watches = Intake(store), Watches(store, profile)
        i = 0
        while i < len(messages):
            if restarts & set(range(i, i + batch)):
                intake, watches = Intake(store), Watches(store, profile)
                for name in store.furnaces():
                    watches.resume(name, messages[i].received_ms)
            watches.deliver(intake.take(messages[i : i + batch]))
            i += batch
        watches.deliver(intake.settle())
        alarms = watches.furnaces["carriage-shop"].watch.alarms
        return store.read("carriage-shop", 0, 2**62), [
            replace(alarm, found_ms=0) for alarm in alarms if alarm.alarm != "board-offline"
        ]


@cache
def in_order() -> tuple[Rows, list[Alarm]]:
    return outcome([Message(at_ms + 100, TOPIC, payload) for at_ms, payload in packs()])


def _same(a: Rows, b: Rows) -> None:
    assert a.t_ms.tolist() == b.t_ms.tolist() and set(a.values) == set(b.values)
    for name in a.values:
        np.testing.assert_array_equal(a.values[name], b.values[name])


def test_there_is_something_to_find() -> None:
    rows, alarms = in_order()
    assert len(packs()) > 100
    assert {"heater-stuck-on", "preheat-slow"} & {alarm.alarm for alarm in alarms}
    sent = readings()
    assert len(rows) == len(sent)
    assert np.abs(rows.t_ms - sent.t_ms).max() == 0


@pytest.mark.parametrize("batch", [7, 50, 1000])
def test_batching_changes_nothing(batch: int) -> None:
    rows, alarms = outcome([Message(at_ms + 100, TOPIC, payload) for at_ms, payload in packs()], batch=batch)
    _same(rows, in_order()[0])
    assert alarms == in_order()[1]


@settings(max_examples=12, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(
    seed=st.integers(0, 2**32),
    longest_delay_ms=st.sampled_from([2_000, 60_000, HOUR_MS, 5 * HOUR_MS]),
    twice=st.floats(0.0, 0.5),
    restarts=st.frozensets(st.integers(0, 120), max_size=3),
    batch=st.sampled_from([1, 5, 40]),
)
def test_no_delivery_changes_the_series_or_the_alarms(
    seed: int, longest_delay_ms: int, twice: float, restarts: frozenset[int], batch: int
) -> None:
    random = Random(seed)
    messages = []
    for at_ms, payload in packs():
        for _ in range(1 + (random.random() < twice)):
            delay = 100 if random.random() < 0.5 else random.randint(100, longest_delay_ms)
            messages.append(Message(at_ms + delay, TOPIC, payload))
    messages.sort(key=lambda message: message.received_ms)
    rows, alarms = outcome(messages, restarts, batch)
    _same(rows, in_order()[0])
    assert alarms == in_order()[1]
