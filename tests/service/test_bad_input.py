"""What cannot be used is set aside and counted, and nothing else suffers for it."""

import json
import time
from pathlib import Path
from typing import Any

import pytest

from sootline.ingest.intake import SECOND_BOARD, Arrival, Intake
from sootline.store import Store
from sootline.wire.message import Message
from tests.service.kit import Peer, eventually, payloads, rows, running, stalled_refill

NOW_MS = 1_767_603_600_000
TOPIC = "sootline/engine-shed/measurements"


@pytest.fixture
def store(tmp_path: Path) -> Any:
    with Store.open(tmp_path) as opened:
        yield opened


def _good(at_ms: int = NOW_MS, seq: int = 0, tank: float = 60.0) -> Message:
    [payload] = payloads(rows(at_ms, tank=[tank]), first_seq=seq, boot_ms=NOW_MS - 60_000)
    return Message(at_ms, TOPIC, payload)


def _changed(change: Any) -> bytes:
    """A good pack's records after `change` has had its way with them."""
    records = json.loads(_good().payload)
    change(records)
    return json.dumps(records).encode()


BAD: dict[str, tuple[str, bytes, str]] = {
    "no JSON": (TOPIC, b"tank=60", "not a SenML pack"),
    "cut off": (TOPIC, _good().payload[:-5], "not a SenML pack"),
    "empty": (TOPIC, b"", "not a SenML pack"),
    "not text": (TOPIC, b"\xff\xfe\x00", "not a SenML pack"),
    "no SenML": (TOPIC, b'{"tank": 60}', "not a SenML pack"),
    "NaN": (TOPIC, _good().payload.replace(b"60.0", b"NaN"), "not a SenML pack"),
    "infinite": (TOPIC, _good().payload.replace(b"60.0", b"1e999"), "not a SenML pack"),
    "nested": (TOPIC, b'[{"n":"a","v":1,"x":' + b"[" * 20_000 + b"]" * 20_000 + b"}]", "not a SenML pack"),
    "1 MB": (TOPIC, b"[" + b" " * 2**20 + b"]", "larger than 65536 bytes"),
    "other furnace": (TOPIC, _good().payload.replace(b"engine-shed", b"carriage-shop"), "names another furnace"),
    "no boot": (TOPIC, _changed(lambda r: r[0].pop("vs") and r[0].update(vs="")), "no boot id"),
    "no seq": (TOPIC, _changed(lambda r: r.pop(1)), "no sequence number"),
    "far future": (TOPIC, _changed(lambda r: r[0].update(bt=4e9)), "its clock is ahead of the receipt"),
    "clock never set": (TOPIC, _changed(lambda r: r[0].update(bt=946_684_800)), "its clock is years behind"),
    "absurd time": (TOPIC, _changed(lambda r: r[3].update(t=-1e300)), "mixes absolute and relative"),
    "unknown leaf": ("sootline/engine-shed/weather", b"{}", "unknown topic"),
    "bad furnace id": ("sootline/Engine Shed/measurements", _good().payload, "not a topic of a furnace"),
    "announcement": ("sootline/engine-shed/board", b"[]", "not an announcement"),
    "announcement says nothing": ("sootline/engine-shed/board", b'{"online": 1}', "not an announcement"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_message_that_cannot_be_used_is_set_aside_and_the_next_is_taken(store: Store, case: str) -> None:
    topic, payload, reason = BAD[case]
    arrivals = Intake(store).take([_good(), Message(NOW_MS + 1, topic, payload), _good(NOW_MS + 5000, seq=1)])
    assert [len(arrival.rows) for arrival in arrivals] == [1, 1]
    furnace = "" if case == "bad furnace id" else "engine-shed"
    [counted] = store.set_aside_counts(furnace).items()
    assert counted[0].startswith(reason) and counted[1] == 1
    [kept] = store.last_set_aside(5)
    assert (kept.topic, kept.size) == (topic, len(payload))
    assert store.read("engine-shed", 0, 2**62).t_ms.tolist() == [NOW_MS, NOW_MS + 5000]


def test_records_that_cannot_be_used_do_not_cost_the_rest_of_their_pack(store: Store) -> None:
    def spoil(records: list[dict[str, Any]]) -> None:
        records += [{"n": "colour", "v": 1}, {"n": "stack", "u": "Cel", "v": 1e6}, {"n": "room", "u": "Cel", "v": "x"}]
        records.pop()

    intake = Intake(store)
    [arrival] = intake.take([Message(NOW_MS, TOPIC, _changed(spoil))])
    assert arrival.rows.values["tank"].tolist() == [60.0]
    assert [fault.kind for fault in arrival.rows.faults] == ["range"]
    counts = {"'stack' outside -60 to 1372 Cel": 1, "unknown channel 'colour'": 1}
    assert store.set_aside_counts("engine-shed") == counts
    intake.take([Message(NOW_MS, TOPIC, _changed(spoil))])  # a repeat is not counted again
    assert store.set_aside_counts("engine-shed") == counts


def test_what_the_host_itself_publishes_is_passed_over(store: Store) -> None:
    messages = [
        Message(NOW_MS, "sootline/engine-shed/alarms/leak", b"{}"),
        Message(NOW_MS, "sootline/engine-shed/alarms/oil-overtemperature/tank", b""),
        Message(NOW_MS, "sootline/engine-shed/command", b"{}"),
        Message(NOW_MS, "sootline/engine-shed/command-result", b"{}"),
    ]
    assert Intake(store).take(messages) == []
    assert store.last_set_aside(5) == []


def _board(boot: str, start_ms: int, first_ms: int, n: int, tank: float, clock: bool) -> list[Message]:
    """n live packs 5 s apart from first_ms of a board that booted at start_ms."""
    data = rows(first_ms, tank=[tank] * n)
    sent = payloads(data, boot, (first_ms - start_ms) // 5000, boot_ms=start_ms, clock=clock)
    return [Message(t + 40, TOPIC, payload) for t, payload in zip(data.t_ms.tolist(), sent, strict=True)]


@pytest.mark.parametrize("clock", [True, False], ids=["clock set", "no clock"])
def test_a_second_board_of_the_same_name_is_set_aside_while_the_first_lives(store: Store, clock: bool) -> None:
    first = _board("first", NOW_MS - 3_600_000, NOW_MS, 240, 60.0, clock)
    second = _board("second", NOW_MS + 300_000, NOW_MS + 302_000, 180, 20.0, clock)
    messages = sorted(first + second, key=lambda message: message.received_ms)
    intake = Intake(store)
    for message in messages:
        intake.take([message])
    kept = store.read("engine-shed", 0, 2**62).values["tank"]
    assert (kept == 60.0).sum() == 240
    assert (kept == 20.0).sum() < 15  # what came before it was clear that the first lives on
    assert store.set_aside_counts("engine-shed")[SECOND_BOARD] == 180 - (kept == 20.0).sum()
    # a restart of the host changes nothing of it
    again = _board("second", NOW_MS + 300_000, NOW_MS + 1_202_000, 1, 20.0, clock)
    more = _board("first", NOW_MS - 3_600_000, NOW_MS + 1_200_000, 12, 60.0, clock)
    Intake(store).take(sorted(more + again, key=lambda message: message.received_ms))
    # once the first has been silent for long, the second is believed
    late = _board("second", NOW_MS + 300_000, NOW_MS + 2_400_000, 2, 30.0, clock)
    intake.take(late)
    assert (store.read("engine-shed", 0, 2**62).values["tank"] == 30.0).sum() == 2


@pytest.mark.parametrize("clock", [True, False], ids=["clock set", "no clock"])
def test_a_reboot_with_packs_still_buffered_is_no_second_board(store: Store, clock: bool) -> None:
    before = _board("before", NOW_MS - 3_600_000, NOW_MS, 200, 60.0, clock)
    held = [Message(NOW_MS + 1_100_000 + 250 * i, TOPIC, m.payload) for i, m in enumerate(before[100:])]
    after = _board("after", NOW_MS + 1_020_000, NOW_MS + 1_022_000, 200, 61.0, clock)
    messages = sorted(before[:100] + held + after, key=lambda message: message.received_ms)
    arrivals: list[Arrival] = []
    intake = Intake(store)
    for message in messages:
        arrivals += intake.take([message])
    assert store.set_aside_counts("engine-shed") == {}
    kept = store.read("engine-shed", 0, 2**62).values["tank"]
    assert (kept == 60.0).sum() == 200 and (kept == 61.0).sum() == 200


def test_bad_messages_reach_neither_the_service_nor_its_alarms(tmp_path: Path) -> None:
    with running(tmp_path) as service, Peer(service.address.port) as peer:
        for i, payload in enumerate(payloads(stalled_refill(time.time_ns() // 1_000_000))):
            for topic, bad, _ in BAD.values() if i % 12 == 0 else ():
                peer.publish(topic, bad)
            peer.publish(TOPIC, payload)
        assert peer.hear("sootline/engine-shed/alarms/refill-timeout")["state"] == "unacknowledged"
        [furnace] = eventually(lambda: [f for f in service.live.furnaces() if sum(f.set_aside.values()) == 3 * 18])
        assert len(furnace.set_aside) < 18  # counted by reason
        assert furnace.last_set_aside[0].topic.startswith("sootline/engine-shed/")
        [trouble] = eventually(lambda: service.live.troubles)
        assert "sootline/Engine Shed/measurements" in trouble
