"""A small time server for the boards: SNTP (RFC 4330, packet layout of RFC 5905) from this computer's clock.

While nothing keeps this computer's own clock right, answers say so (leap indicator 3, stratum 0, kiss code INIT), and a
board goes on with relative times, which the host places by receipt. Nobody is answered with more bytes than he sent.
"""

import ctypes
import logging
import socket
import struct
import threading
import time
from collections.abc import Callable

from sootline.errors import UserError

log = logging.getLogger(__name__)

PORT = 123
STRATUM = 10  # what keeps this clock is not known here: clients with a better server stay there
_TO_1900_S = 2_208_988_800
_PRECISION = -20  # log2 of seconds: a microsecond
_LOOK_S = 16.0  # between looks at the kernel's opinion of its clock
_TRUSTED_ERROR_S = 1.0  # told of a clock that only the owner vouches for
_TIME_ERROR = 5  # adjtimex(2): the clock is not synchronised
_PACKET = struct.Struct(">BBbbII4s8s8s8s8s")


class _Timex(ctypes.Structure):
    """The head of struct timex of adjtimex(2); `rest` is more than any system writes."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror_us", ctypes.c_long),
        ("rest", ctypes.c_byte * 512),
    )


def kernel_error_s() -> float | None:
    """Greatest error [s] of this computer's clock as its kernel sees it; None while nothing disciplines the clock."""
    library = ctypes.CDLL(None)
    ask = getattr(library, "adjtimex", None) or getattr(library, "ntp_adjtime", None)
    told = _Timex()
    if ask is None:
        return None
    state = int(ask(ctypes.byref(told)))
    return None if state < 0 or state == _TIME_ERROR else float(told.maxerror_us) / 1e6


def vouched_error_s() -> float:
    """The error [s] told of a clock that the owner vouches for."""
    return _TRUSTED_ERROR_S


def stamp(t_ns: int) -> bytes:
    """Unix time [ns] as an NTP timestamp: 32 bits of seconds since 1900, begun anew in 2036, and 32 of fraction."""
    seconds, rest = divmod(t_ns, 1_000_000_000)
    return struct.pack(">II", (seconds + _TO_1900_S) % 2**32, (rest << 32) // 1_000_000_000)


def answer(asked: bytes, received_ns: int, sent_ns: int, checked_ns: int, error_s: float | None) -> bytes | None:
    """The packet for a request, or None for one that gets no answer.

    checked_ns: when the clock was last found in order; error_s: its greatest error, None while it cannot be trusted.
    """
    if len(asked) < _PACKET.size:
        return None
    version, mode = asked[0] >> 3 & 7, asked[0] & 7
    if not 1 <= version <= 4 or mode not in (1, 3):
        return None
    leap, stratum, reference, dispersion = 3, 0, b"INIT", 0
    if error_s is not None:
        leap, stratum, reference = 0, STRATUM, b"\x7f\x00\x00\x01"  # the clock of this very computer
        dispersion = min(round(error_s * 65536), 0xFFFFFFFF)
    return _PACKET.pack(
        leap << 6 | version << 3 | mode + 1,  # client to server, symmetric active to passive
        stratum,
        asked[2] if asked[2] < 128 else 0,
        _PRECISION,
        0,
        dispersion,
        reference,
        stamp(checked_ns) if error_s is not None else bytes(8),
        asked[40:48],
        stamp(received_ns),
        stamp(sent_ns),
    )


class TimeServer:
    """Answers on one UDP port from start() until stop(); `error_s()` tells how far the clock can be trusted.

    `port` 0 takes any free one.
    """

    def __init__(self, host: str, port: int = PORT, error_s: Callable[[], float | None] = kernel_error_s) -> None:
        self.host = host
        self.port = port
        self._error_s = error_s
        self._socket = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_DGRAM)
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._serve, name="time", daemon=True)

    def start(self) -> None:
        """Raises UserError where the port cannot be had."""
        try:
            self._socket.bind((self.host, self.port))
        except OSError as error:
            raise UserError(_why(self.host, self.port, error)) from None
        self.port = int(self._socket.getsockname()[1])
        self._socket.settimeout(0.5)
        self._thread.start()

    def stop(self) -> None:
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(5)
        self._socket.close()

    def _serve(self) -> None:
        looked, checked_ns, error_s = float("-inf"), 0, None
        trusted: bool | None = None
        while not self._stopping.is_set():
            try:
                asked, sender = self._socket.recvfrom(1024)
            except TimeoutError:
                continue
            except OSError as error:
                log.warning("the time server: %s", error)  # an earlier answer could not be delivered
                continue
            received_ns = time.time_ns()
            if time.monotonic() - looked > _LOOK_S:
                looked, checked_ns, error_s = time.monotonic(), received_ns, self._error_s()
                if trusted is not (error_s is not None):
                    trusted = error_s is not None
                    log.log(logging.INFO if trusted else logging.WARNING, "%s", _SERVED[trusted])
            packet = answer(asked, received_ns, time.time_ns(), checked_ns, error_s)
            if packet is not None:
                try:
                    self._socket.sendto(packet, sender)
                except OSError:
                    log.debug("no answer to %s", sender)


_SERVED = {
    True: "boards are told the time",
    False: "nothing keeps this computer's clock right, so boards are not told the time; "
    "set it by NTP, or vouch for it with --trust-clock",
}


def _why(host: str, port: int, error: OSError) -> str:
    if isinstance(error, PermissionError):
        return (
            f"no right to tell the time on port {port}: allow it (sudo sysctl net.ipv4.ip_unprivileged_port_start=123) "
            f"or choose a port above 1023: --time-listen {host}:11123, and ntp.port in the boards' settings"
        )
    return (
        f"the time cannot be served on {host} port {port} ({error.strerror}); where another time server runs on this "
        "computer, point the boards there; or choose another port with --time-listen"
    )
