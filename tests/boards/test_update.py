"""Updates over the air as a whole: the command's own sender, a real broker, the board code in real MicroPython."""

import json
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from sootline import cli
from sootline.bench import FIRMWARE, Bench, Board
from sootline.bench.compile import compile_all, compiler
from sootline.boards import key as keys
from sootline.boards import release as releases
from sootline.boards import update as updates
from sootline.boards.release import Release
from sootline.boards.remote import Remote
from sootline.errors import UserError
from sootline.ingest.client import Address
from tests.firmware.conftest import MOSQUITTO, Mosquitto, free_port

assert MOSQUITTO
KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
START_MS = 1_795_600_000_000


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    port = free_port()
    lines = [f"listener {port} 127.0.0.1", "allow_anonymous true", "set_tcp_nodelay true"]
    mosquitto = Mosquitto(tmp_path_factory.mktemp("broker"), lines, port)
    mosquitto.start()
    yield mosquitto
    mosquitto.stop()


@pytest.fixture(scope="module")
def first() -> Release:
    return releases.build(KEY)


def variant(first: Release, folder: Path, version: str, **changes: tuple[str, str]) -> Release:
    """The release under another version, with one text of a module replaced."""
    program = compiler()
    assert program
    changes["__init__"] = ('VERSION = "0.1.0"', f'VERSION = "{version}"')
    texts = {}
    for module, (old, new) in changes.items():
        texts[f"sootboard/{module}.mpy"] = (FIRMWARE / "sootboard" / f"{module}.py").read_text().replace(old, new)
        assert new in texts[f"sootboard/{module}.mpy"]
    compile_all(program, texts, {name: folder / name for name in texts})
    files = {**first.files, **{name: (folder / name).read_bytes() for name in texts}}
    return Release(version, files, releases.manifest(version, files, KEY))


def install(folder: Path, release: Release, slot: str = "a") -> Path:
    """What an installation over USB leaves on the board."""
    folder.mkdir(exist_ok=True)
    shutil.copy(FIRMWARE / "main.py", folder)
    for name, content in {**release.files, "manifest": release.manifest}.items():
        path = folder / slot / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder


@contextmanager
def on(folder: Path, broker: Mosquitto, furnace: str, speed: float = 1.0, **signals: Any) -> Iterator[Board]:
    """The board switched on; a signal is a value or a function of time."""

    def at(t_ms: int) -> dict[str, float | bool]:
        return {name: value(t_ms) if callable(value) else value for name, value in signals.items()}

    bench = Bench(at, start_ms=None if speed == 1.0 else START_MS)
    settings = {
        "update_key": keys.public_hex(KEY),
        "interval": 1,
        "idle_interval": 5 if speed == 1.0 else 60,
        "poll_ms": 50,
    }
    with (
        bench,
        Board(
            furnace,
            bench=bench,
            broker_port=broker.port,
            speed=speed,
            settings=settings,
            directory=folder,
            slots=True,
        ) as board,
    ):
        yield board


COLD = {"tank": 60.0, "nozzle": 85.0, "stack": 21.0, "pump": False, "burner": False}


@contextmanager
def remote(broker: Mosquitto, furnace: str) -> Iterator[Remote]:
    with Remote(Address(port=broker.port), "sootline", furnace) as connection:
        yield connection


def wait_online(connection: Remote) -> None:
    for _ in range(100):
        connection.listen(0.1)
        if connection.announced and connection.announced["online"]:
            return
    raise AssertionError("the board did not come up")


def test_new_version_after_a_power_cut_on_the_way(
    tmp_path: Path, broker: Mosquitto, first: Release, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(updates, "_ANSWER_S", 2.0)
    monkeypatch.setattr(updates, "_PAUSE_S", 1.0)
    folder = install(tmp_path / "board", first)
    new = variant(first, tmp_path / "new", "0.2.0")
    said: list[str] = []
    power: list[Any] = []

    def say(text: str) -> None:
        said.append(text)
        if text == "50 %":
            power.pop().__exit__(None, None, None)
            power.append(on(folder, broker, "shed", **COLD))
            power[0].__enter__()

    power.append(on(folder, broker, "shed", **COLD))
    board = power[0].__enter__()
    try:
        with remote(broker, "shed") as connection:
            wait_online(connection)
            assert connection.announced and connection.announced["slot"] == "a"
            ask = connection.ask
            asked: list[Any] = []
            monkeypatch.setattr(connection, "ask", lambda step, wait_s: asked.append(step) or ask(step, wait_s))
            updates.update(connection, new, say)
            told = connection.announced
    finally:
        power.pop().__exit__(None, None, None)
    assert (told["firmware"], told["slot"], told["trial"], told["reset"]) == ("0.2.0", "b", False, "update")
    assert said[-1].endswith("runs 0.2.0"), board.log
    # It went on after the last whole file, without the manifest once more.
    blocks = [-(-len(content) // updates.BLOCK) for content in (new.manifest, *new.files.values())]
    assert sum(blocks) <= sum("file" in step for step in asked) <= sum(blocks) + max(blocks[1:]) + 2
    assert json.loads((folder / "slots.json").read_text()) == {"active": "b", "trial": None, "tries": 0}
    for name, content in new.files.items():
        assert (folder / "b" / name).read_bytes() == content
    # It stays so when it is switched on again.
    with on(folder, broker, "shed", **COLD), remote(broker, "shed") as connection:
        wait_online(connection)
        boot = told["boot"]
        while connection.announced["boot"] == boot or not connection.announced["online"]:
            connection.listen(0.1)
        assert connection.announced["firmware"] == "0.2.0" and connection.announced["slot"] == "b"


def test_a_version_that_does_not_load_gives_way(tmp_path: Path, broker: Mosquitto, first: Release) -> None:
    folder = install(tmp_path / "board", first)
    broken = variant(first, tmp_path / "new", "0.2.0", supervisor=("import asyncio\n", "import asyncio\nimport no\n"))
    with on(folder, broker, "broken", **COLD) as board, remote(broker, "broken") as connection:
        wait_online(connection)
        with pytest.raises(UserError, match=r"has gone back to 0\.1\.0 and runs"):
            updates.update(connection, broken, lambda _: None)
        assert board.restarts == 4, board.log  # for the update, and after each of three tries
        assert connection.announced and (connection.announced["slot"], connection.announced["online"]) == ("a", True)
    assert json.loads((folder / "slots.json").read_text()) == {"active": "a", "trial": None, "tries": 0}


def test_a_version_that_reads_no_sensor_gives_way_in_time(tmp_path: Path, broker: Mosquitto, first: Release) -> None:
    blind = variant(first, tmp_path / "new", "0.2.0", sampler=("self.measured = True", "pass"))
    folder = install(install(tmp_path / "board", first), blind, "b")
    (folder / "slots.json").write_text('{"active": "a", "trial": "b", "tries": 0}')
    with on(folder, broker, "blind", 0.0, **COLD) as board, remote(broker, "blind") as connection:
        wait_online(connection)
        seen = []
        end = time.monotonic() + 90
        while connection.announced and connection.announced.get("slot") != "a" and time.monotonic() < end:
            connection.listen(0.1)
            seen.append((connection.announced.get("firmware"), connection.announced.get("trial")))
        assert ("0.2.0", True) in seen and ("0.2.0", False) not in seen, board.log
        told = connection.announced
    assert told and (told["firmware"], told["trial"], told["reset"]) == ("0.1.0", False, "update")
    assert "trial at 90" in told["faults"][-1] and "in 15 min" in told["faults"][-1]  # at 900 s and a little


def test_not_while_it_fires(
    tmp_path: Path, broker: Mosquitto, first: Release, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = install(tmp_path / "board", first)
    with on(folder, broker, "fires", **{**COLD, "burner": True}), remote(broker, "fires") as connection:
        wait_online(connection)
        with pytest.raises(UserError, match="'fires' fires \\(burner is on\\); update it when it is off"):
            updates.update(connection, first, lambda _: None)
        # So the command, which makes the owner's key at its first call.
        words = ["board", "update", "fires", "--data", str(tmp_path), "--broker", f"127.0.0.1:{broker.port}"]
        assert cli.main(words) == 2
        assert capsys.readouterr().err.startswith("sootline: 'fires' fires (burner is on)")
        assert (tmp_path / keys.NAME).stat().st_mode & 0o777 == 0o600
        # The board does not rely on the host for that.
        answer = connection.ask({"do": "update", "begin": "0" * 64, "size": 1}, 10)
        assert answer is not None and (answer["ok"], answer["error"]) == (False, "firing")
    assert not (folder / "b").exists()


def test_who_is_not_there_is_said(
    broker: Mosquitto, monkeypatch: pytest.MonkeyPatch, first: Release, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["board", "update", "Shed!"]) == 2 and cli.main(["board", "update", "shed", "--data", "/no"]) == 2
    assert capsys.readouterr().err.splitlines() == [
        "sootline: 'Shed!' is no name of a furnace",
        "sootline: /no: there is no such folder; name the one of sootline run with --data",
    ]
    monkeypatch.setattr(updates, "_HEARD_S", 0.5)
    with remote(broker, "nobody") as connection, pytest.raises(UserError, match="no board of 'nobody' is known"):
        updates.update(connection, first, lambda _: None)
    monkeypatch.setattr("sootline.boards.remote._CONNECT_S", 0.3)
    with pytest.raises(UserError, match="does not answer; does sootline run"), Remote(Address(port=1), "x", "y"):
        pass
