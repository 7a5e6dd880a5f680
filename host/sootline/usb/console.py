"""The console of a board: MicroPython's raw REPL over a serial port, by the transport of mpremote.

A board that runs its program listens to its console only in the first seconds after a start; open() sees to such a one.
"""

import ast
import contextlib
import hashlib
import io
import json
import struct
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import PurePosixPath
from typing import Any

from mpremote.transport import TransportError, TransportExecError
from mpremote.transport_serial import SerialTransport

from sootline.errors import UserError
from sootline.usb.ports import BAUD, open_port

PIECE_BYTES = 512  # of a file, in one go
ANSWER_S = 10.0
SLOTS = "slots.json"
HASH_S = 30.0
LISTENS_S = 2.0  # a board at its prompt answers long before
STARTS_S = 6.0  # from a reset until its program would listen no more
PATIENCE_S = 90.0
_HELP = """
import hashlib, os
def _sha256(path):
    h = hashlib.sha256()
    try:
        with open(path, "rb") as f:
            while True:
                piece = f.read(512)
                if not piece:
                    return h.digest()
                h.update(piece)
    except OSError:
        return None
def _folders(names):
    for name in names:
        try:
            os.mkdir(name)
        except OSError:
            pass
def _remove(path):
    try:
        os.remove(path)
    except OSError:
        pass
"""
_PRESS = (
    "the board does not listen: it does so only in the first seconds after a start. "
    "Press its reset button now, or pull its USB plug and put it back"
)
_LOST = "{}: the board no longer answers; put its plug back in and do this again: what is on the board is whole"


class BoardError(UserError):
    """What the board itself said was wrong: the last line of its traceback."""


class Console:
    """One board, stopped at its prompt. All raise UserError, and BoardError where the board found something wrong."""

    def __init__(self, path: str, transport: SerialTransport) -> None:
        self.path = path
        self.transport = transport
        self.parked: dict[str, Any] | None = None  # slots with a version on trial, put back by restart()

    def __enter__(self) -> "Console":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        _shut(self.transport)

    def run(self, code: str, timeout_s: float | None = None) -> str:
        """What the board prints when it runs `code`; at most timeout_s may pass between two characters."""
        with self._talking():
            printed, error = self.transport.exec_raw(code, timeout_s or ANSWER_S)
            if error:
                raise TransportExecError(printed, error.decode(errors="replace"))
            return bytes(printed).decode(errors="replace")

    def ask(self, expression: str, timeout_s: float | None = None) -> Any:
        """The value of an expression on the board, a plain one (numbers, text, lists, dicts)."""
        text = self.run(f"print(repr({expression}))", timeout_s).strip()
        try:
            return ast.literal_eval(text)
        except (ValueError, SyntaxError):
            raise UserError(f"{self.path}: the board answers what makes no sense; do this again") from None

    def read(self, path: str) -> bytes | None:
        """A file's content; None where there is none."""
        with self._talking():
            if not self.transport.fs_exists(path):
                return None
            return bytes(self.transport.fs_readfile(path, PIECE_BYTES))

    def hash(self, path: str) -> bytes | None:
        """SHA-256 of a file on the board; None where there is none."""
        found = self.ask(f"_sha256({path!r})", HASH_S)
        return found if isinstance(found, bytes) else None

    def put(self, path: str, data: bytes, check: Callable[[str], None] | None = None) -> None:
        """Write a file so that at any moment the old or the new one stands whole under its name.

        check: called with the temporary name before the file takes its place; may refuse it by an exception.
        """
        temporary = f"{path}.new"
        folders = [str(folder) for folder in reversed(PurePosixPath(path).parents[:-1])]
        if folders:
            self.run(f"_folders({folders!r})")
        with self._talking():
            self.transport.fs_writefile(temporary, data, PIECE_BYTES)
        if self.hash(temporary) != hashlib.sha256(data).digest():
            raise UserError(f"{path}: damaged on the way to the board; nothing was changed, do this again")
        if check is not None:
            try:
                check(temporary)
            except UserError:
                self.remove(temporary)
                raise
        self.run(f"os.rename({temporary!r}, {path!r})")

    def remove(self, path: str) -> None:
        """Remove a file, if it is there."""
        self.run(f"_remove({path!r})")

    def slots(self) -> dict[str, Any]:
        """Which version of the code is `active` and which on `trial` (firmware/README.md); empty where unknown."""
        try:
            found = json.loads(self.read(SLOTS) or b"{}")
        except ValueError:
            return {}
        return found if isinstance(found, dict) else {}

    def restart(self) -> None:
        """Start the board anew, as switching it on does; the console is gone then."""
        if self.parked:
            with contextlib.suppress(UserError):
                self.put(SLOTS, json.dumps(self.parked).encode())
        with contextlib.suppress(UserError), self._talking():
            self.transport.exec_raw_no_follow("import machine\nmachine.reset()")
            self.transport.read_until(1, b"\x04", timeout=0.5)

    @contextmanager
    def _talking(self) -> Iterator[None]:
        try:
            yield
        except TransportExecError as error:
            lines = str(error.error_output).strip().splitlines()
            raise BoardError(f"{self.path}: the board says: {lines[-1] if lines else 'nothing'}") from None
        except (OSError, TransportError, struct.error) as error:
            if isinstance(error, OSError) and error.errno == 28:  # of the board's file system
                raise BoardError(f"{self.path}: no room left on the board") from None
            raise UserError(_LOST.format(self.path)) from None


def open_console(path: str, say: Callable[[str], None], patience_s: float = PATIENCE_S) -> Console:
    """Stop the board on a port and take its console.

    say: called with a line for the person, at most once, when only he can make the board listen
    """
    console = _open(path, say, patience_s)
    slots = console.slots()
    if not slots.get("trial"):
        return console
    # The loader has armed the watchdog for the version on trial, and nobody feeds it now: start once without it.
    with console:
        console.put(SLOTS, json.dumps({**slots, "trial": None}).encode())
        console.restart()
    console = _open(path, say, patience_s)
    console.parked = slots
    return console


def _open(path: str, say: Callable[[str], None], patience_s: float) -> Console:
    open_port(path).close()  # says in plain words why not
    end = time.monotonic() + patience_s
    told = False
    while True:
        with contextlib.suppress(OSError, TransportError):
            transport = SerialTransport(path, BAUD, timeout=ANSWER_S)
            try:
                _enter(transport, pulse=not told)
                console = Console(path, transport)
                console.run(_HELP)
                return console
            except (OSError, TransportError, UserError):
                _shut(transport)
        if time.monotonic() > end:
            raise UserError(f"{path}: no MicroPython answers; is it on the board, and is this the board's port?")
        if not told:
            say(_PRESS)
            told = True
        time.sleep(0.2)


def _shut(transport: SerialTransport) -> None:
    """Close the port even where its control lines have gone already."""
    with contextlib.suppress(OSError):
        transport.close()
    with contextlib.suppress(OSError):
        transport.serial.close()


def _enter(transport: SerialTransport, *, pulse: bool) -> None:
    """Raises where the board does not listen."""
    with contextlib.redirect_stdout(io.StringIO()):  # it prints what it did not expect
        for _ in range(2):
            with contextlib.suppress(TransportError):
                transport.enter_raw_repl(soft_reset=True, timeout_overall=LISTENS_S)
                return
        if pulse:  # the line that resets most boards with a serial converter
            with contextlib.suppress(OSError):
                transport.serial.dtr, transport.serial.rts = False, True
                time.sleep(0.1)
                transport.serial.rts = False
        transport.enter_raw_repl(soft_reset=True, timeout_overall=STARTS_S if pulse else LISTENS_S)
