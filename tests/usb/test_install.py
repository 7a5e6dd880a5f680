"""Installing over USB on a real MicroPython with littlefs: cut off at every piece, the board has a whole version."""

import contextlib
import hashlib
import json
import random
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from sootline.bench import FIRMWARE
from sootline.errors import UserError
from sootline.usb.console import BoardError, Console, open_console
from sootline.usb.install import install
from tests.usb.board import UsbBoard, look, wait_for

LOADER = b"print('the loader')\n"
# The rule of firmware/README.md, "Slots", read for itself: which slot is started, is all of it there, and does the
# loader choose the same?
STARTED = """
import hashlib, json, binascii
def there(path):
    try:
        os.stat(path)
        return True
    except OSError:
        return False
state = {"active": "a", "trial": None}
if there("slots.json"):
    state = json.load(open("slots.json"))
slot = state["active"]
if state["trial"] and there(state["trial"] + "/manifest"):
    slot = state["trial"]
other = "b" if slot == "a" else "a"
if not there(slot + "/manifest") and there(other + "/manifest"):
    slot = other
version = "none"
if there(slot + "/manifest"):
    for line in open(slot + "/manifest"):
        words = line.split()
        if words[0] == "version":
            version = words[1]
        if words[0] == "file":
            data = open(slot + "/" + words[3], "rb").read()
            assert len(data) == int(words[1]), line
            assert binascii.hexlify(hashlib.sha256(data).digest()).decode() == words[2], line
print(slot, version, there("main.py"))
chosen, _ = loader["choose"]()
assert chosen == (slot if version != "none" else ""), chosen
"""
LOOK = f"loader = {{'__name__': 'loader'}}\nexec({(FIRMWARE / 'main.py').read_text()!r}, loader)\n{STARTED}"


@dataclass
class Made:
    version: str
    files: dict[str, bytes]

    @property
    def manifest(self) -> bytes:
        lines = ["sootboard-release 1", f"version {self.version}", "mpy 6", "arch any"]
        lines += [f"file {len(d)} {hashlib.sha256(d).hexdigest()} {name}" for name, d in self.files.items()]
        return "".join(f"{line}\n" for line in lines).encode()


def release(version: str, sizes: tuple[int, ...] = (700, 90)) -> Made:
    names = [f"sootboard/{'drivers/' * (i % 2)}m{i}.mpy" for i in range(len(sizes))]
    return Made(version, {n: random.Random(version + n).randbytes(s) for n, s in zip(names, sizes, strict=True)})


def quiet(*_: Any) -> None:
    """Nobody is told anything."""


class Broken(Exception):
    """The tool was killed."""


def breaking(console: Console, at: int, way: str, board: UsbBoard) -> list[int]:
    """Have the tool or the board die at the piece with number `at`; counts the pieces."""
    transport = console.transport
    send, count = transport.exec_raw, [0]

    def piece(command: Any, timeout: float = 10, data_consumer: Any = None) -> Any:
        count[0] += 1
        if count[0] == at:
            if way == "board, in the middle":
                transport.exec_raw_no_follow(command)
                time.sleep(random.Random(at).random() * 0.003)
            if way != "tool":
                board.cut()
            raise Broken
        return send(command, timeout, data_consumer)

    transport.exec_raw = piece
    return count


@pytest.mark.parametrize("first", [True, False], ids=["empty board", "new version"])
def test_broken_off_at_every_piece(tmp_path: Path, first: bool) -> None:
    old, new = release("1.0.0"), release("1.1.0")
    image, kept = tmp_path / "flash.img", tmp_path / "kept.img"
    before = "a none False" if first else "a 1.0.0 True"
    seen = set()
    with UsbBoard(tmp_path, blocks=32) as board:
        with open_console(board.port, quiet) as console:
            if not first:
                install(console, old, LOADER, quiet)
            count = breaking(console, -1, "", board)
            board_state = image.read_bytes()
            kept.write_bytes(board_state)
            install(console, new, LOADER, quiet)
            pieces = count[0]
        board.cut()
        assert look(tmp_path, LOOK).strip() == ("a 1.1.0 True" if first else "b 1.1.0 True")
        # Every third time the tool dies, else the board.
        ways = ("board", "board, in the middle", "tool")
        for at in range(1, pieces + 1, 2 if first else 1):
            shutil.copy(kept, image)
            board.power(main=False)
            with open_console(board.port, quiet) as console:
                breaking(console, at, ways[at % 3], board)
                with contextlib.suppress(Broken):
                    install(console, new, LOADER, quiet)
                    raise AssertionError("nothing was broken off")
            board.cut()
            found = look(tmp_path, LOOK).strip()
            seen.add(found)
            whole = [before, "a 1.1.0 False", "a 1.1.0 True"] if first else [before, "b 1.1.0 True"]
            assert found in whole, (at, pieces)
    assert before in seen and len(seen) > 1
    assert pieces > 30


def test_going_on_after_a_break_sends_the_rest_only(tmp_path: Path) -> None:
    new = release("1.1.0", (600, 600, 600, 600, 600, 600))
    with UsbBoard(tmp_path, blocks=32) as board:
        with open_console(board.port, quiet) as console:
            count = breaking(console, 36, "board", board)
            with pytest.raises(Broken):
                install(console, new, LOADER, quiet)
        board.power()
        with open_console(board.port, quiet) as console:
            there = [name for name in new.files if console.hash(f"a/{name}")]
            assert 1 < len(there) < 6
            count = breaking(console, -1, "", board)
            steps: list[tuple[int, int]] = []
            assert install(console, new, LOADER, lambda *s: steps.append(s)) == "a"
            assert steps == [(i, 6) for i in range(7)]
            assert count[0] < 70
            assert console.read("slots.json") == b'{"active": "a", "trial": null, "tries": 0}'
        board.cut()
        assert look(tmp_path, LOOK).strip() == "a 1.1.0 True"


def test_what_was_damaged_on_the_way_is_not_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with UsbBoard(tmp_path, blocks=32) as board, open_console(board.port, quiet) as console:
        console.put("settings", b"old")
        write = console.transport.fs_writefile
        monkeypatch.setattr(console.transport, "fs_writefile", lambda path, data, size: write(path, data[:-1], size))
        with pytest.raises(UserError, match="damaged on the way"):
            console.put("settings", b"new")
        assert console.read("settings") == b"old"


def test_a_board_that_runs_its_program_is_stopped_and_started_again(tmp_path: Path) -> None:
    program = b"import time\nprint('running')\nwhile True:\n time.sleep(0.05)\n"
    with UsbBoard(tmp_path, blocks=32) as board:
        with open_console(board.port, quiet) as console:
            console.put("main.py", program)
            console.restart()
        wait_for(lambda: b"running" in board.said)
        with open_console(board.port, quiet) as console:
            assert console.read("main.py") == program
        board.cut()


def test_a_deaf_board_asks_for_its_reset_button(tmp_path: Path) -> None:
    said: list[str] = []
    with UsbBoard(tmp_path, blocks=32) as board:
        board.cut()

        def press(line: str) -> None:
            said.append(line)
            board.power()

        with open_console(board.port, press) as console:
            assert console.ask("6 * 7") == 42
    assert len(said) == 1 and "reset button" in said[0]


def test_errors_in_words(tmp_path: Path) -> None:
    with UsbBoard(tmp_path, blocks=32) as board:
        with open_console(board.port, quiet) as console:
            with pytest.raises(BoardError, match="the board says: ZeroDivisionError"):
                console.run("1 / 0")
            with pytest.raises(BoardError, match="no room left on the board"):
                console.run("f = open('most', 'wb')\nfor _ in range(26):\n f.write(bytes(4096))\nf.close()")
                console.put("rest", bytes(20_000))
            board.cut()
            board.cable.unplug()
            with pytest.raises(UserError, match="no longer answers"):
                console.run("1")
        board.cable.plug()
        with pytest.raises(UserError, match="no MicroPython answers"):
            open_console(board.port, quiet, patience_s=0)


@pytest.fixture(autouse=True)
def _short_answers(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr("sootline.usb.console.ANSWER_S", 2.0)
    monkeypatch.setattr("sootline.usb.console.LISTENS_S", 1.0)
    monkeypatch.setattr("sootline.usb.console.STARTS_S", 1.0)
    yield


def test_the_state_is_what_the_layout_says(tmp_path: Path) -> None:
    with UsbBoard(tmp_path, blocks=32) as board, open_console(board.port, quiet) as console:
        assert install(console, release("1.0.0"), LOADER, quiet) == "a"
        assert json.loads(console.read("slots.json") or b"") == {"active": "a", "trial": None, "tries": 0}
        assert install(console, release("1.1.0", (50,)), LOADER, quiet) == "b"
        assert json.loads(console.read("slots.json") or b"") == {"active": "a", "trial": "b", "tries": 0}
        assert install(console, release("1.2.0", (50, 60)), LOADER, quiet) == "b"
        assert console.read("b/manifest") == release("1.2.0", (50, 60)).manifest
        assert console.ask("__import__('os').listdir('b/sootboard')") == ["drivers", "m0.mpy"]
