"""Serial ports: which there are, which look like a board, and plain words where one cannot be opened."""

import errno
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import serial
from serial.tools import list_ports

from sootline.errors import UserError

BAUD = 115200
BUSY_S = 1.5  # some services have a short look at every port that appears
_BUSY = (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK)

# USB vendor ids of what boards of these families carry (product ids vary): the chip itself, or its serial converter.
VENDORS = {
    0x2E8A: "Raspberry Pi Pico",
    0x303A: "Espressif chip",
    0x10C4: "CP210x converter",
    0x1A86: "CH340 or CH910x converter",
    0x0403: "FTDI converter",
}


@dataclass(frozen=True, slots=True)
class Port:
    """One port. `path` is what to open; `what` describes it."""

    path: str
    what: str


def boards() -> list[Port]:
    """Ports whose USB ids are those of a board or of the converter on one; nothing is opened."""
    found = [p for p in list_ports.comports() if p.vid in VENDORS]
    return [Port(_lasting(p.device), _what(p)) for p in sorted(found, key=lambda p: p.device)]


def _lasting(device: str) -> str:
    """The name below /dev/serial/by-id that stays when ports are counted anew, where there is one."""
    for link in sorted(Path("/dev/serial/by-id").glob("*")):
        if os.path.realpath(link) == os.path.realpath(device):
            return str(link)
    return device


def choose(given: str | None, ask: Callable[[str], str]) -> str:
    """The port named, else the only board there is; where there are several, the person is asked.

    ask: asked with the text shown, gives the answer
    """
    if given is not None:
        return given
    found = boards()
    if not found:
        raise UserError("no board is plugged in; if one is, name its port: sootline board COMMAND PORT")
    if len(found) == 1:
        return found[0].path
    lines = [f"  {i}  {port.path}  {port.what}" for i, port in enumerate(found, 1)]
    answer = ask("\n".join(["several boards are plugged in:", *lines, "which one (number)? "])).strip()
    if not answer.isdigit() or not 1 <= int(answer) <= len(found):
        raise UserError("no port was chosen; name it: sootline board COMMAND PORT")
    return found[int(answer) - 1].path


def _what(port: Any) -> str:
    number = f", serial number {port.serial_number}" if port.serial_number else ""
    return f"{VENDORS[port.vid]} ({port.vid:04x}:{port.pid:04x}{number})"


def trouble(path: str, error: OSError | None = None) -> str:
    """Why `path` cannot be used, and what to do, in one line."""
    code = error.errno if error else None
    if not Path(path).exists():
        return f"{path}: there is no such port; plug the board in, or look with: sootline board find"
    if code in (errno.EACCES, errno.EPERM) or not os.access(path, os.R_OK | os.W_OK):
        return f"{path}: no permission; run: sudo usermod -aG dialout $USER   then log out and in again"
    if code in _BUSY:
        return f"{path}: another program uses it; close that first (a serial monitor, sootline run --serial)"
    return f"{path}: cannot be opened as a serial port: {os.strerror(code) if code else error}"


def open_port(path: str, timeout_s: float | None = None) -> serial.Serial:
    """The port, for this process alone. Raises UserError with what to do."""
    end = time.monotonic() + BUSY_S
    while True:
        try:
            return serial.Serial(path, BAUD, timeout=timeout_s, write_timeout=2, exclusive=True)
        except (OSError, ValueError) as error:  # pyserial's own errors are OSErrors
            if getattr(error, "errno", None) not in _BUSY or time.monotonic() > end:
                raise UserError(trouble(path, error if isinstance(error, OSError) else None)) from None
        time.sleep(0.1)
