"""A USB cable between a board's console and the host: two pseudo-terminals, and what happens to the bytes between."""

import contextlib
import errno
import os
import random
import select
import threading
import tty
from collections.abc import Callable
from pathlib import Path

_READ = 4096


class Cable:
    """`console` is the board's end (a file descriptor), `port` the path of the host's.

    The cable is plugged in at first. Without it the board's bytes go nowhere. `spoil` may change what comes from either
    side; `from_board` hears what the board says.
    """

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.port = folder / "ttyBoard"
        self._board, self.console = _pair()
        self._host = self._far = -1
        self._turn = threading.Lock()
        self.spoil: Callable[[bytes], bytes] = bytes
        self.from_board: Callable[[bytes], None] | None = None
        self._wake, self._woken = os.pipe()
        self._thread = threading.Thread(target=self._carry, daemon=True)
        self.plug()
        self._thread.start()

    def __enter__(self) -> "Cable":
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self._woken)
        self._thread.join(5)
        self.unplug()
        for fd in (self._board, self.console, self._wake):
            os.close(fd)

    def plug(self) -> None:
        """A new port appears under the same lasting name, as udev gives it."""
        with self._turn:
            self._host, self._far = _pair()
            self.port.symlink_to(os.ttyname(self._far))
        with contextlib.suppress(OSError):
            os.write(self._woken, b".")

    def unplug(self) -> None:
        """The port goes away under whoever has it open."""
        with self._turn:
            if self._host >= 0:
                self.port.unlink()
                os.close(self._host)
                os.close(self._far)
                self._host = self._far = -1

    def noise(self, data: bytes) -> None:
        """Bytes that reach the host as if the board had said them."""
        with self._turn:
            os.write(self._host, data)

    def tell(self, data: bytes) -> None:
        """Bytes that reach the board as if the host had said them. Only for `spoil` to call."""
        os.write(self._board, data)

    def _carry(self) -> None:
        while True:
            with self._turn:
                watched = [self._wake, self._board] + ([self._host] if self._host >= 0 else [])
            ready, _, _ = select.select(watched, [], [], 0.1)
            if self._wake in ready and not os.read(self._wake, _READ):
                return
            with self._turn:
                if self._board in ready:
                    data = self.spoil(_read(self._board))
                    if self.from_board:
                        self.from_board(data)
                    if self._host >= 0:
                        _write(self._host, data)
                if self._host in ready and self._host >= 0:
                    _write(self._board, self.spoil(_read(self._host)))


def _pair() -> tuple[int, int]:
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    return master, slave


def _read(fd: int) -> bytes:
    try:
        return os.read(fd, _READ)
    except OSError as error:
        if error.errno in (errno.EIO, errno.EBADF, errno.EAGAIN):
            return b""
        raise


def _write(fd: int, data: bytes) -> None:
    """A line nobody reads from loses bytes, as a real one does."""
    with contextlib.suppress(BlockingIOError):
        while data:
            data = data[os.write(fd, data) :]


def flips(rate: float, seed: int) -> Callable[[bytes], bytes]:
    """A disturbance that turns over one bit in a byte with probability `rate`."""
    dice = random.Random(seed)

    def spoil(data: bytes) -> bytes:
        return bytes(b ^ (1 << dice.randrange(8)) if dice.random() < rate else b for b in data)

    return spoil
