"""What a boot leaves to the next: why it reset, and how many boots ended badly in a row."""

import os

from micropython import const

# Intents; a reset without one was not ours.
INTENTS = ("", "crash", "link", "safe", "update")
BAD_BOOTS = 5  # then safe mode
_MAGIC = const(0xA6)


def pack(intent, bad_boots):
    body = bytes((_MAGIC, INTENTS.index(intent), min(bad_boots, 255)))
    return body + bytes((body[0] ^ body[1] ^ body[2] ^ 0x5A,))


def unpack(data):
    """`(intent, bad_boots)`, or None if `data` does not begin with a memo."""
    if len(data) < 4 or data[0] != _MAGIC or data[0] ^ data[1] ^ data[2] ^ 0x5A != data[3] or data[1] >= len(INTENTS):
        return None
    return INTENTS[data[1]], data[2]


def label(cause, causes, memo):
    """Why the board started, in a word. `causes` is the port's machine module, `memo` what `unpack` gave.

    The ESP32 calls a brown-out a power-on and a panic a hard reset; the RP2 resets itself through the
    watchdog: so what was intended decides where something was.
    """
    intent = memo[0] if memo else ""
    if intent:
        return intent
    if cause == causes.WDT_RESET:
        return "watchdog"
    if cause == causes.PWRON_RESET:
        return "brownout" if memo else "power"
    if cause == getattr(causes, "SOFT_RESET", -1):
        return "console"
    return "crash" if memo else "power"


def bad_boots(reset, memo):
    """Bad boots in a row, this one's beginning included."""
    if reset not in ("watchdog", "crash", "brownout"):
        return 0
    return (memo[1] if memo else 0) + 1


class FileMemo:
    """A memo in a small file, for boards without memory that outlives a reset."""

    def __init__(self, path):
        self._path = path

    def read(self):
        try:
            with open(self._path, "rb") as f:
                return f.read(4)
        except OSError:
            return b""

    def write(self, data):
        try:
            with open(self._path + ".tmp", "wb") as f:
                f.write(data)
            os.rename(self._path + ".tmp", self._path)
        except OSError:
            pass  # then the next boot cannot tell why
