"""Messages on a serial line, one a line with a checksum, so that damage and anything else on the line is told apart.

    RS topic SP payload SP CRC-32 (8 hexadecimal digits, of topic SP payload) LF

As in JSON text sequences (RFC 7464) a record starts with RS (0x1E) and ends with LF; inside there is no byte below
0x20. CRC-32 is that of ITU-T V.42.
"""

import binascii
import re
from dataclasses import dataclass

from sootline.wire.pack import MAX_BYTES

START, END = b"\x1e", b"\n"
MAX_LINE = MAX_BYTES + 300
RUBBISH_BYTES = 1024  # what is no message is handed on in pieces of this size at most
HELLO, ACK = "hello", "ack"
_CONTROL = re.compile(rb"[\x00-\x1f]")


@dataclass(frozen=True, slots=True)
class Record:
    """One whole message. `check` is its CRC-32, by which it is acknowledged."""

    topic: str
    payload: bytes
    check: int


def encode(topic: str, payload: bytes) -> bytes:
    """The line for one message. Raises ValueError if it holds a control character or the topic a space."""
    body = topic.encode() + b" " + payload
    if _CONTROL.search(body) or " " in topic:
        raise ValueError("a message on a line holds no control characters, its topic no space")
    return START + body + b" %08x" % binascii.crc32(body) + END


def acknowledgement(record: Record) -> bytes:
    """The line that tells the sender that `record` is stored."""
    return encode(ACK, b"%08x" % record.check)


class Reader:
    """Finds the messages in what comes over a line, in whatever pieces it comes."""

    def __init__(self) -> None:
        self._held = bytearray()

    def feed(self, data: bytes) -> list[Record | bytes]:
        """Messages that are now whole, and between them, as bytes, what is none."""
        self._held += data
        found: list[Record | bytes] = []
        while self._held:
            size, record = self._first()
            if not size:
                break
            found += [record] if record else _pieces(self._held[:size])
            del self._held[:size]
        return found

    def rest(self) -> list[bytes]:
        """What came without an end, after the line has gone or fallen silent."""
        held, self._held = self._held, bytearray()
        return _pieces(held)

    def _first(self) -> tuple[int, Record | None]:
        """Bytes of what stands first, 0 while its end has not come; and the message it is, if it is one."""
        held = self._held
        if not held.startswith(START):
            start = held.find(START)
            end = held.find(END, 0, start if start >= 0 else None)
            if end >= 0:
                return end + 1, None
            return (start, None) if start >= 0 else (len(held) if len(held) >= RUBBISH_BYTES else 0, None)
        again, end = held.find(START, 1), held.find(END)
        if end < 0 <= again or 0 <= again < end:
            return again, None  # broken off
        if end < 0:
            return (len(held), None) if len(held) > MAX_LINE else (0, None)
        return end + 1, _parse(bytes(held[1:end]))


def _parse(text: bytes) -> Record | None:
    text = text.removesuffix(b"\r")
    body, check = text[:-9], text[-9:]
    topic, space, payload = body.partition(b" ")
    number = binascii.crc32(body)
    if check != b" %08x" % number or not space or _CONTROL.search(body):
        return None
    try:
        return Record(topic.decode(), payload, number)
    except UnicodeDecodeError:
        return None


def _pieces(data: bytes | bytearray) -> list[bytes]:
    """Rubbish to hand on: nothing for blank lines."""
    kept = bytes(data)
    return [kept[i : i + RUBBISH_BYTES] for i in range(0, len(kept), RUBBISH_BYTES)] if kept.strip() else []
