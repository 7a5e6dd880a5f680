"""A board with an empty flash, real MicroPython on it, at the end of a cable: what the person has in hand at first."""

import subprocess
import termios
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from sootline.bench import FIRMWARE, Bench, board_settings, interpreter
from tests.usb.cable import Cable

FLASH = "flash.img"
BOOT = Path(__file__).with_name("mpy_boot.py")


def signals(t_ms: int) -> dict[str, float | bool]:
    return {"tank": 60.0, "room": 17.5, "stack": 200.0, "nozzle": 85.0, "pump": False}


class UsbBoard:
    """Starts as a board does when it gets power; a soft and a hard reset are what they are on a board.

    `folder` keeps the flash, as an image with littlefs on it; `settings` say which parts are on the pins.
    """

    def __init__(
        self,
        folder: Path,
        settings: Mapping[str, Any] | None = None,
        feed: Callable[[int], Mapping[str, float | bool]] = signals,
        blocks: int = 192,
    ) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.blocks = blocks  # of 4 KiB
        self.bench = Bench(feed)
        self.settings = dict(settings or board_settings("engine-shed", feed(0)))
        self.bench.wire(self.settings, False)
        self.cable = Cable(folder / "cable")
        self.cable.spoil = self._overhear
        mode = termios.tcgetattr(self.cable.console)
        mode[3] |= termios.ISIG  # Ctrl-C interrupts
        termios.tcsetattr(self.cable.console, termios.TCSANOW, mode)
        self.said = b""
        self.starts = 0
        self._raw_wanted = False
        self._off = True
        self._process: subprocess.Popen[bytes] | None = None
        self._closing = threading.Event()
        self._turn = threading.RLock()
        self._watcher = threading.Thread(target=self._watch, daemon=True)
        self.power()
        self._watcher.start()

    @property
    def port(self) -> str:
        return str(self.cable.port)

    def __enter__(self) -> "UsbBoard":
        return self

    def __exit__(self, *_: object) -> None:
        self._closing.set()
        self.cut()
        self._watcher.join(5)
        self.cable.__exit__()
        self.bench.close()

    def power(self, main: bool = True) -> None:
        """Switch on."""
        with self._turn:
            self._power(main)

    def _power(self, main: bool) -> None:
        self.said = b""
        environment = {
            "BOARD_IMAGE": str(self.folder / FLASH),
            "BOARD_BLOCKS": str(self.blocks),
            "BOARD_FOLDER": str(self.folder),
            "BOARD_BENCH": str(FIRMWARE / "bench"),
            "BOARD_MAIN": "1" if main else "",
            "SOOTLINE_BENCH": self.bench.address,
        }
        console = self.cable.console
        self._process = subprocess.Popen(
            ["setsid", "--ctty", *interpreter(), "-X", "heapsize=384k", "-i", str(BOOT)],
            env=environment,
            stdin=console,
            stdout=console,
            stderr=console,
        )
        self.starts += 1
        self._off = False

    def cut(self) -> None:
        """Take the power away, in the middle of whatever it does."""
        with self._turn:
            self._off = True
            if self._process:
                self._process.kill()
                self._process.wait()

    def _watch(self) -> None:
        while not self._closing.wait(0.01):
            with self._turn:
                process = self._process
                if not self._off and process is not None and process.poll() is not None:
                    self._start_again()

    def _start_again(self) -> None:
        hard = self.folder / "reset"
        if hard.exists():
            hard.unlink()
            self.power()
        else:  # Ctrl-D: the port would start its interpreter anew; in raw mode main.py is left out
            self.cable.noise(b"MPY: soft reboot\r\n")
            self._raw_wanted = True
            self.power(main=False)

    def _overhear(self, data: bytes) -> bytes:
        self.said = (self.said + data)[-4000:]
        if self._raw_wanted and self.said.endswith(b">>> "):
            self._raw_wanted = False
            self.cable.tell(b"\x01")
        return data


def look(folder: Path, script: str, timeout_s: float = 20) -> str:
    """What a script prints with the flash of a switched-off board as its root."""
    environment = {"BOARD_IMAGE": str(folder / FLASH), "BOARD_FOLDER": str(folder), "SOOTLINE_BENCH": "x"}
    environment["BOARD_BENCH"] = str(Path(__file__).parent)
    environment["BOARD_BLOCKS"] = str((folder / FLASH).stat().st_size // 4096)
    boot = BOOT.read_text().split("import machine", 1)[0]
    done = subprocess.run(
        [*interpreter(), "-X", "heapsize=512k", "-c", boot + script],
        env=environment,
        capture_output=True,
        text=True,
        timeout=timeout_s,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def wait_for(condition: Callable[[], Any], timeout_s: float = 20.0) -> None:
    end = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < end, "not in time"
        time.sleep(0.02)
