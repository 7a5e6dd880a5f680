"""A new board set up as its owner does it, over USB: real board code on real MicroPython, a real mosquitto."""

import contextlib
import io
import json
import os
import pty
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import NamedTuple

import pytest

from sootline import cli
from sootline.bench import board_settings
from sootline.broker import Broker
from sootline.service import Options, Service
from sootline.usb import ports
from sootline.usb.console import Console, open_console
from sootline.usb.install import next_slot
from tests.service.kit import Peer
from tests.usb.board import FLASH, UsbBoard, look, signals, wait_for

SECRETS = {"wifi_password": "tollen-rails-4711", "broker_password": "b0ard-secret-0815"}


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The flash of a board with the board code of this project on it and nothing else."""
    folder = tmp_path_factory.mktemp("installed")
    with UsbBoard(folder) as made:
        assert cli.main(["board", "install", made.port]) == 0
    return folder / FLASH


@pytest.fixture
def board(installed: Path, tmp_path: Path) -> Iterator[UsbBoard]:
    (tmp_path / "board").mkdir()
    shutil.copy(installed, tmp_path / "board" / FLASH)
    with UsbBoard(tmp_path / "board") as made:
        yield made


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    with Broker(tmp_path_factory.mktemp("broker"), 0) as own:
        yield own


@pytest.fixture
def secrets(tmp_path: Path) -> Path:
    path = tmp_path / "secrets.toml"
    path.touch(mode=0o600)
    path.write_text("".join(f'{name} = "{value}"\n' for name, value in SECRETS.items()))
    return path


def quiet(_: str) -> None:
    """Nobody is told anything."""


def console(board: UsbBoard) -> Console:
    return open_console(board.port, quiet)


class Said(NamedTuple):
    code: int
    out: str
    err: str


def sootline(*words: str) -> Said:
    """`sootline board WORDS` with nobody at the keyboard."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = cli.main(["board", *words])
    return Said(code, out.getvalue(), err.getvalue())


def configure(board: UsbBoard, broker: Broker, secrets: Path, tmp_path: Path) -> Said:
    """As a script does it: everything in files and options, nobody asked."""
    fitted = board_settings("engine-shed", signals(0))
    further = {key: fitted[key] for key in ("spi", "onewire", "contacts")}
    further["ntp"] = {"host": "127.0.0.1", "port": board.bench.ntp_port}
    path = tmp_path / "settings.json"
    path.write_text(json.dumps(further))
    words = ("--furnace", "engine-shed", "--wifi", "workshop", "--broker", f"127.0.0.1:{broker.port}")
    return sootline("configure", board.port, *words, "--settings", str(path), "--secrets", str(secrets))


def test_configure_then_check(
    board: UsbBoard, broker: Broker, secrets: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    done = configure(board, broker, secrets, tmp_path)
    assert done.code == 0, done.err
    with Peer(broker.port, "sootline/+/command-result") as peer:
        assert cli.main(["board", "check", board.port]) == 0, capsys.readouterr()
        assert peer.hear("sootline/engine-shed/command-result")["id"] == "check"
    lines = capsys.readouterr().out.splitlines()
    points = {line[6:28].strip(): (line[:4], line[29:]) for line in lines}
    assert {verdict for verdict, _ in points.values()} == {"PASS"}
    for what in ("board code", "MicroPython", "room", "settings", "Wi-Fi", "publish", *signals(0)):
        assert what in points, lines
    assert float(points["tank"][1]) == pytest.approx(60.0, abs=0.1)
    assert float(points["stack"][1]) == pytest.approx(200.0, abs=0.1)
    assert points["pump"][1] == "off"
    assert "dBm" in points["Wi-Fi"][1]
    assert points["publish"][1] == "one message acknowledged, clock set"


def test_check_says_what_fails(
    board: UsbBoard, broker: Broker, secrets: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert configure(board, broker, secrets, tmp_path).code == 0
    with console(board) as there:
        settings = json.loads(there.read("config.json") or b"")
        settings["broker"]["port"] = 1  # nobody listens
        rom = next(iter(settings["onewire"]))
        del settings["onewire"][rom]
        there.put("config.json", json.dumps(settings).encode())
        there.put("a/sootboard/memo.mpy", b"damaged")
    board.bench.faults["stack"] = "open"
    try:
        assert cli.main(["board", "check", board.port]) == 1
    finally:
        board.bench.faults.clear()
    text = capsys.readouterr().out
    assert "FAIL  board code" in text and "1 files are damaged; install again" in text
    assert "FAIL  stack" in text and "open: broken, or not plugged in" in text
    assert "FAIL  thermometers" in text and rom in text
    assert "FAIL  publish" in text and "PASS  Wi-Fi" in text


def test_settings_that_cannot_be_leave_the_old_ones(
    board: UsbBoard, broker: Broker, secrets: Path, tmp_path: Path
) -> None:
    assert configure(board, broker, secrets, tmp_path).code == 0
    with console(board) as there:
        before = there.read("config.json")
    done = sootline("configure", board.port, "--furnace", "Engine Shed", "--secrets", str(secrets))
    assert done.code == 2
    assert "furnace must be small letters" in done.err
    with console(board) as there:
        assert there.read("config.json") == before
        assert there.read("config.json.new") is None


def test_secrets_are_typed_unseen_and_appear_nowhere_else(board: UsbBoard, broker: Broker) -> None:
    """As a person at a terminal does it: the password is not echoed, not said by the board, in no process list."""
    said: list[bytes] = []
    overhear = board.cable.spoil
    board.cable.from_board = said.append
    master, terminal = pty.openpty()
    words = ("--furnace", "engine-shed", "--broker", f"127.0.0.1:{broker.port}", "--user", "engine-shed")
    process = subprocess.Popen(
        ["setsid", "--ctty", sys.executable, "-m", "sootline", "board", "configure", board.port, *words],
        stdin=terminal,
        stdout=terminal,
        stderr=terminal,
    )
    os.close(terminal)
    shown, listed = b"", set()
    answers = {
        b"name of the wireless network: ": b"workshop\n",
        b"password of the wireless network": SECRETS["wifi_password"].encode() + b"\n",
        b"password of the board at the broker": SECRETS["broker_password"].encode() + b"\n",
    }
    asked = 0
    end = time.monotonic() + 60
    while process.poll() is None and time.monotonic() < end:
        with contextlib.suppress(OSError):  # it is through
            listed.add(Path(f"/proc/{process.pid}/cmdline").read_bytes())
            listed.add(Path(f"/proc/{process.pid}/environ").read_bytes())
        if not select.select([master], [], [], 0.1)[0]:
            continue
        try:
            shown += os.read(master, 4096)
        except OSError:
            break
        tail = shown[asked:]
        if tail.endswith(b"Enter: none): "):
            asked = len(shown)
            os.write(master, b"\n")
        for question, answer in answers.items():
            if question in tail and tail.endswith(b": "):
                asked = len(shown)
                time.sleep(0.1)
                os.write(master, answer)
    os.close(master)
    assert process.wait(20) == 0, shown
    board.cable.from_board = None
    assert board.cable.spoil is overhear
    for secret in SECRETS.values():
        assert secret.encode() not in shown + b"".join(said) + b"".join(listed)
    with console(board) as there:
        settings = json.loads(there.read("config.json") or b"")
    assert settings["wifi"] == {"ssid": "workshop", "password": SECRETS["wifi_password"]}
    assert settings["broker"]["password"] == SECRETS["broker_password"]


def test_secrets_on_the_board_stay_there(board: UsbBoard, broker: Broker, secrets: Path, tmp_path: Path) -> None:
    """Set up anew without them, they are kept, and the board never says them: only a mark in their place."""
    assert configure(board, broker, secrets, tmp_path).code == 0
    said: list[bytes] = []
    board.cable.from_board = said.append
    assert sootline("configure", board.port, "--wifi", "yard").code == 0
    assert sootline("check", board.port).code == 0
    board.cable.from_board = None
    assert b"engine-shed" in b"".join(said) and SECRETS["wifi_password"].encode() not in b"".join(said)
    with console(board) as there:
        assert json.loads(there.read("config.json") or b"")["wifi"] == {
            "ssid": "yard",
            "password": SECRETS["wifi_password"],
        }


def test_a_version_on_trial_is_parked_meanwhile(board: UsbBoard, broker: Broker, secrets: Path, tmp_path: Path) -> None:
    """The loader starts a trial with the watchdog armed; at the prompt nobody would feed it."""
    with console(board) as there:
        there.run("import os\nos.mkdir('b')\nf = open('b/manifest', 'w')\nf.write('version 9.9.9\\n')\nf.close()")
        trial = {"active": "a", "trial": "b", "tries": 1}
        there.put("slots.json", json.dumps(trial).encode())
    starts = board.starts
    with console(board) as there:
        assert board.starts >= starts + 2  # once more, without the trial
        assert there.slots() == {"active": "a", "trial": None, "tries": 1}
        assert next_slot(there) == "b"
        there.restart()
        wait_for(lambda: b">>> " in board.said)
    board.cut()
    found = look(board.folder, "print(open('slots.json').read())")
    assert json.loads(found)["trial"] == "b"


def test_a_secrets_file_that_others_can_read_is_refused(board: UsbBoard, secrets: Path) -> None:
    secrets.chmod(0o644)
    done = sootline("configure", board.port, "--secrets", str(secrets))
    assert done.code == 2 and "chmod 600" in done.err
    secrets.chmod(0o600)
    secrets.write_text('wifi = "x"\n')
    done = sootline("configure", board.port, "--secrets", str(secrets))
    assert done.code == 2 and "wifi_password" in done.err


def test_the_log_of_faults(board: UsbBoard, broker: Broker, secrets: Path, tmp_path: Path) -> None:
    assert configure(board, broker, secrets, tmp_path).code == 0
    with console(board) as there:
        there.remove("faults.log")
        there.remove("faults.log.old")
    assert sootline("log", board.port).out == "nothing has gone wrong\n"
    with console(board) as there:
        there.run(
            "import sys\nsys.path.insert(0, 'a')\nfrom sootboard.clock import Clock\n"
            "from sootboard.faultlog import FaultLog\nlog = FaultLog('faults.log', Clock())\n"
            "try:\n 1 / 0\nexcept Exception as e:\n log.record('measure', e, '')"
        )
    text = sootline("log", board.port).out
    assert text.startswith("* measure at 0 s: ZeroDivisionError") and "Traceback" in text


def _listed(device: str, vid: int | None, serial: str | None = None) -> SimpleNamespace:
    return SimpleNamespace(device=device, vid=vid, pid=0x55D4, serial_number=serial)


def test_ports_are_found_by_what_is_on_them_and_never_guessed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = [_listed("/dev/ttyS0", None), _listed("/dev/ttyUSB1", 0x1A86), _listed("/dev/ttyACM0", 0x2E8A, "E661")]
    monkeypatch.setattr(ports.list_ports, "comports", lambda: listed)
    assert cli.main(["board", "find"]) == 0
    out = capsys.readouterr().out
    assert "ttyS0" not in out and "/dev/ttyACM0  Raspberry Pi Pico (2e8a:55d4, serial number E661)" in out
    asked: list[str] = []
    assert ports.choose(None, lambda text: asked.append(text) or "2") == "/dev/ttyUSB1"  # type: ignore[func-returns-value]
    assert "1  /dev/ttyACM0" in asked[0]
    with pytest.raises(Exception, match="no port was chosen"):
        ports.choose(None, lambda _: "")
    assert ports.choose("/dev/ttyS0", input) == "/dev/ttyS0"
    listed[1:] = listed[2:]
    assert ports.choose(None, input) == "/dev/ttyACM0"
    listed.clear()
    assert cli.main(["board", "check"]) == 2
    assert "no board is plugged in" in capsys.readouterr().err


def test_no_permission_and_no_port_in_words(board: UsbBoard, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "there is no such port" in sootline("check", str(tmp_path / "none")).err
    with monkeypatch.context() as patched:
        patched.setattr(os, "access", lambda *_: False)
        assert "usermod -aG dialout" in ports.trouble(board.port, OSError(13, "Permission denied"))
    with ports.open_port(board.port):
        done = sootline("check", board.port)
        assert done.code == 2 and "another program uses it" in done.err


def test_a_board_without_network(board: UsbBoard, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    settings = board_settings("engine-shed", signals(0))
    path = tmp_path / "settings.json"
    path.write_text(json.dumps({key: settings[key] for key in ("spi", "onewire", "contacts")}))
    words = ("--furnace", "engine-shed", "--link", "usb", "--settings", str(path))
    done = sootline("configure", board.port, *words)
    assert done.code == 0, done.err
    assert cli.main(["board", "check", board.port]) == 0
    out = capsys.readouterr().out
    assert "PASS  USB line               speaks as sootline/engine-shed" in out and "Wi-Fi" not in out


def test_a_new_version_over_usb_is_kept_once_it_has_shown_that_it_works(board: UsbBoard, tmp_path: Path) -> None:
    """The whole way: installed as a trial, started by the loader, connected over the line, confirmed by itself."""
    settings = board_settings("engine-shed", signals(0))
    path = tmp_path / "settings.json"
    path.write_text(json.dumps({key: settings[key] for key in ("spi", "onewire", "contacts")} | {"interval": 1}))
    words = ("--furnace", "engine-shed", "--link", "usb", "--settings", str(path))
    assert sootline("configure", board.port, *words).code == 0
    done = sootline("install", board.port)
    assert done.code == 0 and "slot b" in done.out
    options = Options(tmp_path / "host", broker_port=0, web_port=0, serial=(board.port,))
    service = Service(options)
    service.start()
    try:
        wait_for(lambda: service.store.extent("engine-shed"), 40)
        time.sleep(3)  # it looks at itself each second
    finally:
        service.stop()
    with console(board) as there:
        assert there.slots() == {"active": "b", "trial": None, "tries": 0}
