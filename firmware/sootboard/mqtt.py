"""MQTT 3.1.1 client for asyncio: clean session, QoS 1, few writes, a deadline on every wait."""

import asyncio
import struct
import sys

from micropython import const

from . import transport
from .waiting import ERRORS, Waiting, stop

CONNECT_S = 20
ANSWER_S = 15
KEEPALIVE_S = 40
_MAX_INCOMING = const(2048)


def _text(s):
    b = s.encode() if isinstance(s, str) else s
    return struct.pack(">H", len(b)) + b


def _head(out, first, parts):
    """Write the fixed header of a control packet of `parts` into `out`; returns its length."""
    length = 0
    for part in parts:
        length += len(part)
    out[0] = first
    at = 1
    while True:
        b = length & 127
        length >>= 7
        out[at] = b | 128 if length else b
        at += 1
        if not length:
            return at


class Client:
    """One connection. After any error it is dead: `dead` is set, `error` says why, and a new one is made.

    Packets are gathered in `out`, a bytearray made early, when memory was still in one piece; larger ones than
    that leave in several writes.
    """

    def __init__(self, settings, on_message, out, pid=0):
        self._settings = settings
        self._out = out
        self._on_message = on_message
        self._stream = None
        self._reader_task = None
        self._answers = {}
        self._lock = asyncio.Lock()
        self._pid = pid
        self.dead = asyncio.Event()
        self.error = None
        self.acked = 0
        self.keepalive_s = KEEPALIVE_S

    async def open(self, client_id, will_topic, will_payload):
        """Connect and log in; the will is retained. Raises one of ERRORS."""
        s = self._settings
        self._stream = await transport.connect(s, CONNECT_S)
        self._reader_task = asyncio.create_task(self._read_packets())
        flags = 0x02 | 0x04 | 1 << 3 | 0x20  # clean session, will of QoS 1, retained
        parts = [_text(client_id), _text(will_topic), _text(will_payload)]
        if s.user:
            flags |= 0x80
            parts.append(_text(s.user))
            if s.password:
                flags |= 0x40
                parts.append(_text(s.password))
        head = _text("MQTT") + bytes((4, flags)) + struct.pack(">H", KEEPALIVE_S)
        await self._request("connect", 0x10, head, *parts)

    async def subscribe(self, topic):
        pid = self._next_pid()
        await self._request(pid, 0x82, struct.pack(">H", pid), _text(topic), b"\x01")

    async def publish(self, topic, payload, retain=False):
        """Publish at QoS 1; returns once the broker has acknowledged."""
        pid = self._next_pid()
        first = 0x33 if retain else 0x32
        await self._request(pid, first, _text(topic), struct.pack(">H", pid), payload)
        self.acked += 1

    async def ping(self):
        await self._request("ping", 0xC0)

    @property
    def last_pid(self):
        return self._pid

    def _next_pid(self):
        while True:
            self._pid = self._pid % 65535 + 1
            if self._pid not in self._answers:
                return self._pid

    async def _send(self, first, *parts):
        """Send one control packet. A part is bytes, or something with a length and `pieces()` that are bytes."""
        out = self._out
        async with self._lock:
            at = _head(out, first, parts)
            for part in parts:
                for piece in part.pieces() if hasattr(part, "pieces") else (part,):
                    if at + len(piece) > len(out):
                        await self._write(memoryview(out)[:at])
                        at = 0
                    if len(piece) > len(out):
                        await self._write(piece)
                        continue
                    out[at : at + len(piece)] = piece
                    at += len(piece)
            await self._write(memoryview(out)[:at])

    async def _write(self, data):
        if len(data):
            await transport.send(self._stream, data, ANSWER_S)

    async def _request(self, key, first, *parts):
        answer = self._answers[key] = asyncio.Event()
        Waiting.count += 1
        try:
            await self._send(first, *parts)
            await asyncio.wait_for(answer.wait(), ANSWER_S)
        finally:
            Waiting.count -= 1
            del self._answers[key]
        if self.dead.is_set():
            raise OSError("connection lost")

    def fail(self, error):
        """Declare the connection dead and wake everyone who waits for an answer."""
        if self.dead.is_set():
            return
        self.error = error
        self.dead.set()
        for key in self._answers:
            self._answers[key].set()

    async def close(self):
        self.fail(OSError("closed"))
        await stop(self._reader_task)
        if self._stream:
            await transport.close(self._stream)

    async def _read_packets(self):
        try:
            while True:
                # No deadline of its own: every request has one, pings go out all the time, and any of
                # them that stays without an answer ends this connection.
                first = (await self._read(1))[0]
                await self._handle(first, await self._read_length())
        except ERRORS as e:
            self.fail(e)

    def _read(self, n):
        return self._stream[0].readexactly(n)

    async def _read_length(self):
        n = 0
        for shift in (0, 7, 14, 21):
            b = (await self._read(1))[0]
            n |= (b & 127) << shift
            if b < 128:
                return n
        raise ValueError("bad packet length")

    async def _handle(self, first, length):
        kind = first & 0xF0
        if kind == 0x30:
            await self._handle_publish(first, length)
            return
        if length > 8:
            raise ValueError("unexpected packet")
        body = await self._read(length) if length else b""
        if kind == 0x20:
            if body[1]:
                raise ValueError("broker refused the connection, code %d" % body[1])
            self._answered("connect")
        elif kind in (0x40, 0x90):
            if kind == 0x90 and body[2] == 0x80:
                raise ValueError("broker refused the subscription")
            self._answered(body[0] << 8 | body[1])
        elif kind == 0xD0:
            self._answered("ping")

    def _answered(self, key):
        if key in self._answers:
            self._answers[key].set()

    async def _handle_publish(self, first, length):
        keep = length <= _MAX_INCOMING
        body = bytearray()
        while length:
            piece = await self._read(min(length, 256))
            length -= len(piece)
            if keep or len(body) < 512:
                body.extend(piece)
        size = body[0] << 8 | body[1]
        at = 2 + size
        if first & 0x06:
            await self._send(0x40, bytes(body[at : at + 2]))
            at += 2
        if keep:
            self._on_message(bytes(body[2 : 2 + size]).decode(), bytes(body[at:]))


if sys.implementation.name != "micropython":
    # CPython reports a short stream by its own class of EOFError and a bad certificate as an OSError.
    assert issubclass(asyncio.IncompleteReadError, EOFError)
