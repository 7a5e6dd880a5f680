"""The logbook in the running service: kept once, acted on once, taken back, and the same after a restart."""

import time
from dataclasses import replace
from pathlib import Path

import pytest

from sootline.analysis.causes.search import beginning
from sootline.errors import UserError
from sootline.logbook import UNDO_MS, Answer, Logged, Search
from sootline.profile import LogEntry
from sootline.service import Service, now_ms
from sootline.store import Store
from tests.service.kit import Peer, eventually, payloads, rows, running

TOPIC = "sootline/engine-shed/measurements"


def line(id: str = "a" * 32, kind: str = "cleaning", **change: object) -> Logged:
    entry = LogEntry(now_ms(), kind, note="full")  # type: ignore[arg-type]
    return replace(Logged(id, "engine-shed", entry, "Maud", now_ms()), **change)  # type: ignore[arg-type]


def entries(service: Service) -> list[str]:
    """Kinds of the events that tell what entries did."""
    return [event.kind for event in service.store.events() if event.kind.startswith("entry-")]


def feed(peer: Peer, seq: int) -> None:
    """Half a minute of readings that end now."""
    data = rows(now_ms() - 25_000, tank=[60.0] * 6, nozzle=[80.0] * 6, stack=[25.0] * 6, pump=[0.0] * 6)
    for payload in payloads(data, first_seq=seq, boot_ms=now_ms() - 3_600_000):
        peer.publish(TOPIC, payload)


def test_an_entry_is_kept_and_acted_on_once_and_taken_back(tmp_path: Path) -> None:
    with running(tmp_path) as service, Peer(service.address.port) as peer:
        feed(peer, 0)
        eventually(lambda: service.store.extent("engine-shed"))
        logged = line()
        assert service.live.log(logged, b"jpeg") and service.live.log(logged, b"jpeg")
        again = replace(logged, entry=replace(logged.entry, at_ms=logged.entry.at_ms + 5000), entered_ms=now_ms())
        assert service.live.log(again), "sent again by a phone that was not told"
        assert not service.live.log(replace(logged, entry=LogEntry(now_ms(), "filter"))), "another entry, the same id"
        assert service.store.logbook() == [logged]
        time.sleep(1.0)
        feed(peer, 100)
        eventually(lambda: entries(service) == ["entry-cleaning"])
        assert service.live.undo(logged.id, "Jory") and not service.live.undo(logged.id, "Pim")
        assert service.store.log("engine-shed") == []
        eventually(lambda: entries(service) == [])
    with running(tmp_path) as service:  # and so it stays
        assert entries(service) == []
        [kept] = service.store.logbook()
        assert kept.undone_by == "Jory" and not service.live.undo("b" * 32, "Pim")
        assert service.store.photo(kept.id) == b"jpeg"


def test_after_a_day_it_is_too_late(tmp_path: Path) -> None:
    with Store.open(tmp_path) as store, store.batch() as batch:
        batch.log(line("c" * 32, entered_ms=now_ms() - UNDO_MS - 1))
        batch.log(line("d" * 32, entered_ms=now_ms() - UNDO_MS + 60_000))
    with running(tmp_path) as service:
        assert not service.live.undo("c" * 32, "Jory") and service.live.undo("d" * 32, "Jory")


def test_a_disk_that_refuses_leaves_nothing_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The entry waits for the worker; whoever sent it is told, and sends it again."""
    monkeypatch.setattr("sootline.live._ACT_TIMEOUT_S", 0.5)
    with running(tmp_path) as service:
        (tmp_path / "photos").write_text("not a folder")
        with pytest.raises(UserError, match="not stored yet"):
            service.live.log(line(photo=True), b"jpeg")
        assert service.store.logbook() == [] and any("photos" in t or "store" in t for t in service.live.troubles)
        (tmp_path / "photos").unlink()
        eventually(lambda: len(service.store.logbook()) == 1)
        assert service.store.photo("a" * 32) == b"jpeg"
        eventually(lambda: not service.live.troubles)


def test_a_search_goes_on_one_answer_at_a_time(tmp_path: Path) -> None:
    """Two phones at once, or a double tap: the second answer to a step changes nothing."""
    begun = Search("e" * 32, "engine-shed", "lockout", None, None, now_ms(), "Pim", beginning("lockout"))
    with running(tmp_path) as service:
        dry = Answer("chamber", "dry", "Pim", now_ms())
        assert service.live.tell(begun, dry) and not service.live.tell(begun, dry)
        assert not service.live.tell(begun, replace(dry, answer="pooled", by="Maud"))
        assert service.live.tell(begun, Answer("off", "cannot", "Maud", now_ms()))
    with running(tmp_path) as service:  # and it is there after a restart
        [kept] = service.store.searches()
        assert [(a.step, a.answer, a.by) for a in kept.answers] == [
            ("chamber", "dry", "Pim"),
            ("off", "cannot", "Maud"),
        ]
