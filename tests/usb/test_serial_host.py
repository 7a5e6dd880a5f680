"""A board on a USB line: real MicroPython, a real pseudo-terminal, the real host; nothing is lost whatever happens."""

import contextlib
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from sootline.bench import Bench, Board
from sootline.errors import StoreUnavailable
from sootline.ingest.intake import Intake
from sootline.service import Options, Service
from sootline.store import Store
from sootline.store.schema import FILE
from sootline.usb.ports import open_port
from tests.service.kit import Peer, eventually
from tests.service.test_crashes import Host
from tests.usb.cable import Cable, flips

NOISE = "no message: noise or other output on the serial line"


def signals(t_ms: int) -> dict[str, float | bool]:
    return {"tank": 60.0 + t_ms % 10_000 / 1000, "stack": 200.0, "pump": t_ms % 5000 < 1500, "burner": True}


@pytest.fixture
def cable(tmp_path: Path) -> Iterator[Cable]:
    with Cable(tmp_path / "cable") as made:
        yield made


@pytest.fixture
def bench() -> Iterator[Bench]:
    with Bench(signals) as made:
        yield made


def board(bench: Bench, cable: Cable, folder: Path) -> Board:
    (folder / "board").mkdir(exist_ok=True)
    settings = {"link": "usb", "interval": 1, "data": str(folder / "flash")}
    return Board("engine-shed", bench=bench, console=cable.console, directory=folder / "board", settings=settings)


@contextmanager
def serving(data: Path, cable: Cable) -> Iterator[Service]:
    """A service on the cable, whatever troubles it has."""
    options = Options(data, broker_port=0, web_port=0, serial=(str(cable.port),), trust_clock=True)
    service = Service(options)
    service.start()
    try:
        yield service
        service.check()
    finally:
        service.stop()


def stored(data: Path) -> dict[str, list[int]]:
    """Sequence numbers of the packs in the store, by boot, in order."""
    found: dict[str, list[int]] = {}
    with contextlib.suppress(sqlite3.OperationalError), sqlite3.connect(f"file:{data / FILE}?mode=ro", uri=True) as db:
        loose = "SELECT name, seq, seq FROM pack JOIN boot ON boot.id = pack.boot"
        sealed = "SELECT name, first_seq, last_seq FROM seen JOIN boot ON boot.id = seen.boot"
        for boot, first, last in db.execute(f"{loose} UNION ALL {sealed}"):
            found.setdefault(boot, []).extend(range(first, last + 1))
    return {boot: sorted(seqs) for boot, seqs in found.items()}


def test_nothing_is_lost_or_doubled_whatever_happens(bench: Bench, cable: Cable, tmp_path: Path) -> None:
    data = tmp_path / "host"

    def count() -> int:
        return sum(map(len, stored(data).values()))

    def more(n: int) -> None:
        """Until n more packs are in the store."""
        before = count()
        eventually(lambda: count() >= before + n, 40)

    with Host(data, "--serial", str(cable.port), "--broker-port", "0", "--trust-clock") as host:
        with board(bench, cable, tmp_path) as running_board:
            more(3)
            host.kill()
            time.sleep(2)
            host.start()
            more(1)
            cable.noise(b"\r\nMPY: soft reboot\r\n>>> \x1esootline/engine-shed/measurements [{")
            more(2)
            cable.spoil = flips(0.002, seed=7)
            time.sleep(4)
            cable.spoil = bytes
            more(2)
            cable.unplug()
            time.sleep(2)
            cable.plug()
            more(3)
            running_board.kill()
        with board(bench, cable, tmp_path):
            eventually(lambda: len(stored(data)) == 2, 40)
            more(3)
    boots = stored(data)
    assert len(boots) == 2
    assert all(seqs == list(range(len(seqs))) for seqs in boots.values())
    with Store.open(data, read_only=True) as store:
        times = store.read("engine-shed", 0, 2**62).t_ms.tolist()
        assert sum(store.set_aside_counts(furnace).get(NOISE, 0) for furnace in ("engine-shed", "")) >= 1
    assert len(times) == len(set(times)) >= sum(map(len, boots.values())) // 2


def test_only_what_is_stored_is_acknowledged(
    bench: Bench, cable: Cable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[bytes] = []
    cable.spoil = lambda data: said.append(data) or data  # type: ignore[func-returns-value]
    take = Intake.take

    def refuses(*_: Any) -> Any:
        raise StoreUnavailable("no room")

    monkeypatch.setattr(Intake, "take", refuses)
    with serving(tmp_path / "host", cable) as service, board(bench, cable, tmp_path):
        eventually(lambda: b"/board {" in b"".join(said))
        time.sleep(2)
        assert b"\x1eack " not in b"".join(said)
        monkeypatch.setattr(Intake, "take", take)
        eventually(lambda: service.store.extent("engine-shed"))
        assert b"\x1eack " in b"".join(said)


def test_the_line_on_the_pages_and_in_the_store(bench: Bench, cable: Cable, tmp_path: Path) -> None:
    with serving(tmp_path / "host", cable) as service:
        eventually(lambda: any("no board has said anything" in text for text in service.live.troubles))
        with board(bench, cable, tmp_path):
            eventually(lambda: not service.live.troubles)
            says = eventually(lambda: service.store.announced("engine-shed"))
            assert says[-1][1]["online"] and says[-1][1]["rssi"] is None
            eventually(lambda: service.store.announced("engine-shed")[-1][1].get("clock") == "synced")
            cable.noise(b"Traceback (most recent call last):\r\n\x1ehello 0 51c4eabe\n")
            cable.noise(b"x" * 1000 + b"\r\n")
            eventually(lambda: service.store.set_aside_counts("engine-shed").get(NOISE) == 1)
            with Peer(service.address.port, "sootline/+/command-result") as peer:
                peer.publish("sootline/engine-shed/command", b'{"id": "x", "do": "report-interval", "interval": 2}')
                assert peer.hear("sootline/engine-shed/command-result") == {"id": "x", "ok": True, "error": None}
            cable.unplug()
            eventually(lambda: service.store.announced("engine-shed")[-1][1] == {"online": False})
            eventually(lambda: any("there is no such port" in text for text in service.live.troubles))
            cable.plug()
            eventually(lambda: service.store.announced("engine-shed")[-1][1]["online"])
            eventually(lambda: not service.live.troubles)


def test_a_port_in_use_is_said_in_words(cable: Cable, tmp_path: Path) -> None:
    with open_port(str(cable.port)), serving(tmp_path / "host", cable) as service:
        eventually(lambda: any("another program uses it" in text for text in service.live.troubles))
