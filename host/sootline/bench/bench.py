"""The chip bench: answers a board at the level of pins, SPI and 1-Wire, from a function of time."""

import contextlib
import math
import socket
import struct
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

from sootline.bench.wiring import Wiring
from sootline.sim import chips

Signals = Callable[[int], Mapping[str, float | bool]]

LOOKAHEAD_MS = 1000
_RESTART_MS = 2000  # what a reset takes, in virtual time
_UNIX_1900_S = 2_208_988_800


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
        self._wiring: Wiring | None = None
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
        self._wiring = Wiring(settings)

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

    def _pins(self, wiring: Wiring, t_ms: int, ticks: int) -> str:
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

    def _spi(self, wiring: Wiring, t_ms: int, words: list[str]) -> str:
        select, mode, first, data = int(words[0]), int(words[1]), words[2] == "1", bytes.fromhex(words[3])
        if select not in wiring.spi:
            return "ff" * len(data)
        channel, chip = wiring.spi[select]
        if chip.mode != mode:
            return "ff" * len(data)  # sampled on the wrong edge
        value = float(self._at(t_ms).get(channel, math.nan))
        return chip.transfer(data, first, value, self._fault(channel)).hex()

    def _onewire(self, wiring: Wiring, t_ms: int, words: list[str]) -> str:
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
