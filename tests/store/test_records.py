"""Alarms, acts, events, log, boards, messages set aside: kept, replaced, removed, read in order."""

import dataclasses

import pytest

from sootline.alarms import Acknowledgement, Alarm, Shelf
from sootline.errors import UserError
from sootline.events import Event
from sootline.messages.message import Message
from sootline.profile import LogEntry
from sootline.store import Store, boards
from tests.store.making import FURNACE, START_MS

ALARM = Alarm(
    FURNACE,
    "preheat-slow",
    "tank",
    "medium",
    "unacknowledged",
    START_MS,
    None,
    START_MS + 5,
    "none",
    "look at the heater",
    {"took_min": 31.5, "causes": [{"cause": "heater", "probability": 0.6, "evidence": ["slow"]}], "blind_to": None},
)


def test_alarms_are_put_replaced_and_removed(store):
    other = dataclasses.replace(ALARM, alarm="leak", channel=None, raised_ms=START_MS - 9, cleared_ms=START_MS - 1)
    with store.batch() as batch:
        batch.alarms(put=[ALARM, other])
    assert store.alarms() == [other, ALARM]
    assert store.alarms("carriage-shop") == []
    assert store.alarms(FURNACE, since_ms=START_MS) == [ALARM]
    escalated = dataclasses.replace(ALARM, priority="high", cleared_ms=START_MS + 9)
    with store.batch() as batch:
        batch.alarms(put=[escalated], remove=[other.key])
    assert store.alarms() == [escalated]


def test_acts_outlive_the_record(store):
    with store.batch() as batch:
        batch.alarms(put=[ALARM])
        batch.acknowledge(ALARM.key, "Ffion", START_MS + 60)
        batch.acknowledge(ALARM.key, "Idris", START_MS + 90)
        batch.shelve(ALARM.key, Shelf("Ffion", "waiting for a part", START_MS + 61, START_MS + 1000))
        batch.alarms(remove=[ALARM.key])
    assert store.acknowledgements() == {ALARM.key: Acknowledgement("Ffion", START_MS + 60)}
    assert store.shelved(FURNACE)[ALARM.key] == Shelf("Ffion", "waiting for a part", START_MS + 61, START_MS + 1000)
    assert store.acknowledgements("carriage-shop") == {}


def test_a_message_is_kept_once_and_its_fate_with_it(store):
    first = Message("A", "Ffion", "raised", START_MS, START_MS, "t", "b", key=ALARM.key, priority="critical")
    digest = Message("B", "Ffion", "weekly", START_MS - 9, START_MS - 9, "t", "b", code="0042")
    with store.batch() as batch:
        batch.messages([digest, first])
        batch.messages([dataclasses.replace(first, title="made again")])
    assert store.messages() == [first, digest]
    assert store.waiting_messages(START_MS) == [first, digest]  # critical first
    assert store.next_message_ms() == START_MS - 9
    gone = dataclasses.replace(digest, state="sent", tries=2, done_ms=START_MS + 5, error="refused: 451")
    with store.batch() as batch:
        assert not batch.confirm("Ffion", "0042", "Ffion", START_MS)  # it has not gone out yet
        batch.message(gone)
        assert not batch.confirm("Ffion", "0043", "Ffion", START_MS + 6)
        assert not batch.confirm("Idris", "0042", "Ffion", START_MS + 6)
        assert batch.confirm("Ffion", "0042", "Ffion", START_MS + 6)
        assert not batch.confirm("Ffion", "0042", "Idris", START_MS + 7)
    assert store.messages(before_ms=START_MS) == [
        dataclasses.replace(gone, confirmed_by="Ffion", confirmed_ms=START_MS + 6)
    ]
    assert store.waiting_messages(START_MS) == [first]
    assert store.messages(since_ms=START_MS, most=1) == [first] and store.messages(most=1) == [first]


def test_events_keep_every_kind_of_feature(store):
    refill = Event(
        FURNACE, "refill", START_MS, START_MS + 9000, {"on_time_s": 9.1, "full": True, "why": "x", "dip_K": None}
    )
    firing = Event(FURNACE, "firing", START_MS - 5, START_MS + 1, {"rise_K": -0.25})
    with store.batch() as batch:
        batch.events(put=[refill, firing])
    assert store.events() == [firing, refill]
    assert store.events(FURNACE, "refill", START_MS, START_MS + 1) == [refill]
    assert store.events(FURNACE, None, START_MS + 1) == []
    with store.batch() as batch:
        batch.events(put=[dataclasses.replace(refill, end_ms=START_MS + 9500)], remove=[firing.key])
    assert [event.end_ms for event in store.events()] == [START_MS + 9500]


def test_log_entries_are_corrected_and_taken_back(store):
    cleaned = LogEntry(START_MS, "cleaning")
    setpoint = LogEntry(START_MS - 1, "setpoint", "tank", 65.0, "winter")
    with store.batch() as batch:
        batch.log(FURNACE, cleaned, setpoint)
        batch.log(FURNACE, dataclasses.replace(cleaned, note="with brush"))
    assert store.log(FURNACE) == [setpoint, dataclasses.replace(cleaned, note="with brush")]
    with store.batch() as batch:
        batch.unlog(FURNACE, setpoint)
    assert [entry.kind for entry in store.log(FURNACE)] == ["cleaning"]


def test_announcements_keep_changes_and_the_newest_word(store):
    with store.batch() as batch:
        for i, word in enumerate(
            (
                {"online": True, "boot": "b1", "interval": 5, "uptime": 1},
                {"online": True, "boot": "b1", "interval": 5, "uptime": 900, "rssi": -71},
                {"online": False},
                {"online": True, "boot": "b2", "interval": 5, "uptime": 2},
            )
        ):
            batch.announce(FURNACE, START_MS + i, word)
    assert store.announcements()[FURNACE] == (START_MS + 3, {"online": True, "boot": "b2", "interval": 5, "uptime": 2})
    assert [(t - START_MS, word.get("uptime")) for t, word in store.announced(FURNACE)] == [(0, 900), (2, None), (3, 2)]


def test_messages_set_aside_are_counted_and_the_newest_kept(store, monkeypatch):
    monkeypatch.setattr(boards, "MESSAGES_KEPT", 3)
    monkeypatch.setattr(boards, "REASONS_KEPT", 2)
    with store.batch() as batch:
        for i in range(5):
            batch.set_aside(START_MS + i, f"sootline/{FURNACE}/measurements", b"x" * 9000, "not a SenML pack")
        for reason in ("no boot id", "no uptime", "no sequence number"):
            batch.set_aside(START_MS + 9, f"sootline/{FURNACE}/measurements", b"{}", reason)
        batch.set_aside(START_MS + 9, "sootline/NO/x", b"", "no such furnace")
    assert store.set_aside_counts(FURNACE) == {"not a SenML pack": 5, boards.OTHER: 2, "no boot id": 1}
    assert store.set_aside_counts("") == {"no such furnace": 1}
    newest = store.last_set_aside(10, FURNACE)
    assert [(m.reason, m.size) for m in newest] == [("no sequence number", 2), ("no uptime", 2), ("no boot id", 2)]


def test_small_values_are_remembered(store):
    assert store.recall("cursor") is None
    with store.batch() as batch:
        batch.remember("cursor", {"at": 5})
        batch.remember("cursor", {"at": 6})
    assert store.recall("cursor") == {"at": 6}


def test_a_batch_that_fails_leaves_nothing(store):
    class Stop(Exception):
        pass

    with pytest.raises(Stop), store.batch() as batch:
        batch.alarms(put=[ALARM])
        batch.remember("cursor", 1)
        raise Stop
    assert store.alarms() == [] and store.recall("cursor") is None
    with store.batch() as batch:
        batch.alarms(put=[ALARM])
    assert store.alarms() == [ALARM]


def test_everything_is_there_after_opening_again(tmp_path):
    with Store.open(tmp_path) as store, store.batch() as batch:
        batch.alarms(put=[ALARM])
    with Store.open(tmp_path) as store:
        assert store.alarms() == [ALARM]


def test_a_reading_store_sees_and_cannot_write(store):
    with Store.open(store.folder, read_only=True) as reader:
        with store.batch() as batch:
            batch.alarms(put=[ALARM])
        assert reader.alarms() == [ALARM]
        with pytest.raises(UserError, match="reading only"), reader.batch():
            pass
