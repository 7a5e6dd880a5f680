"""Alarms, acts, events, log, boards, messages set aside: kept, replaced, removed, read in order."""

import dataclasses

import pytest

from sootline.alarms import Acknowledgement, Alarm, Shelf
from sootline.errors import UserError
from sootline.events import Event
from sootline.logbook import UNDO_MS, Answer, Logged, Search
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
    assert store.acknowledgements() == {ALARM.key: Acknowledgement("Idris", START_MS + 90)}
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


CLEANED = Logged("a7f3c2d1", FURNACE, LogEntry(START_MS, "cleaning"), "Ffion", START_MS + 5000)
SETPOINT = Logged("b7f3c2d1", FURNACE, LogEntry(START_MS - 1, "setpoint", "tank", 65.0, "winter"), "Idris", START_MS)


def test_a_line_of_the_logbook_is_kept_once(store):
    with store.batch() as batch:
        assert batch.log(CLEANED) and batch.log(SETPOINT)
        assert not batch.log(dataclasses.replace(CLEANED, by="somebody else"))
    assert store.logbook() == [SETPOINT, CLEANED] == store.logbook(FURNACE) and store.logbook("carriage-shop") == []
    assert store.log(FURNACE) == [SETPOINT.entry, CLEANED.entry]
    assert store.logged(CLEANED.id) == CLEANED and store.logged("nothing1") is None


def test_what_is_undone_stays_in_the_book_and_acts_no_more(store):
    with store.batch() as batch:
        batch.log(CLEANED)
        batch.log(SETPOINT)
        batch.undo(SETPOINT.id, "Ffion", START_MS + 9)
        batch.undo(SETPOINT.id, "Idris", START_MS + 10)  # the first to take it back has
    assert store.log(FURNACE) == [CLEANED.entry]
    assert store.logged(SETPOINT.id) == dataclasses.replace(SETPOINT, undone_by="Ffion", undone_ms=START_MS + 9)
    assert not store.logged(SETPOINT.id).may_undo(START_MS + 11)
    assert CLEANED.may_undo(CLEANED.entered_ms + UNDO_MS - 1) and not CLEANED.may_undo(CLEANED.entered_ms + UNDO_MS)


def test_a_photo_lies_beside_and_is_missed_when_it_is_gone(store, tmp_path):
    with store.batch() as batch:
        batch.log(dataclasses.replace(CLEANED, photo=True), b"jpeg")
        batch.log(SETPOINT)
    assert store.photo(CLEANED.id) == b"jpeg" and store.photo(SETPOINT.id) is None
    assert store.verify() == []
    store.backup(tmp_path / "copy")
    with Store.open(tmp_path / "copy", read_only=True) as copy:
        assert copy.photo(CLEANED.id) == b"jpeg" and copy.logbook() == store.logbook() and copy.verify() == []
    [path] = store.folder.glob("photos/*")
    path.unlink()
    [problem] = store.verify()
    assert f"{CLEANED.id}.jpg is missing" in problem
    store.backup(tmp_path / "without")  # the rest is saved all the same


def test_a_search_is_kept_as_it_goes(store):
    search = Search("c7f3c2d1", FURNACE, "lockout", None, START_MS, START_MS + 60, "Ffion", {"no-spark": 0.3})
    further = dataclasses.replace(search, answers=(Answer("first", "done", "Ffion", START_MS + 90),))
    with store.batch() as batch:
        batch.search(search)
        batch.search(further)
    assert store.search(search.id) == further and store.searches(FURNACE) == [further] == store.searches()
    assert store.search("nothing1") is None and store.searches("carriage-shop") == []


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
