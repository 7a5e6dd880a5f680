"""MQTT 3.1.1 client for asyncio: clean session, QoS 1, each packet in one write, a deadline on every wait."""

import asyncio
import struct
import sys

from . import transport
from .waiting import Waiting

CONNECT_S = 20
ANSWER_S = 15
KEEPALIVE_S = 40
MAX_INCOMING = 2048

# What a broken link can raise; a refused certificate is a ValueError, a closed stream an EOFError.
ERRORS = (OSError, ValueError, EOFError, AssertionError, asyncio.TimeoutError)


def _text(s):
    b = s.encode() if isinstance(s, str) else s
    return struct.pack(">H", len(b)) + b


def packet(first, *parts):
    """One whole control packet."""
    length = 0
    for p in parts:
        length += len(p)
    head = bytearray((first,))
    n = length
    while True:
        b = n & 127
        n >>= 7
        head.append(b | 128 if n else b)
        if not n:
            break
    out = bytearray(len(head) + length)
    out[: len(head)] = head
    at = len(head)
    for p in parts:
        out[at : at + len(p)] = p
        at += len(p)
    return out


class Client:
    """One connection. After any error it is dead: `dead` is set, `error` says why, and a new one is made."""

    def __init__(self, settings, on_message, pid=0):
        self._settings = settings
        self._on_message = on_message
        self._stream = None
        self._reader_task = None
        self._answers = {}
        self._lock = asyncio.Lock()
        self._pid = pid
        self.dead = asyncio.Event()
        self.error = None
        self.acked = 0

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
        await self._request("connect", packet(0x10, head, *parts))

    async def subscribe(self, topic):
        pid = self._next_pid()
        await self._request(pid, packet(0x82, struct.pack(">H", pid), _text(topic), b"\x01"))

    async def publish(self, topic, payload, retain=False):
        """Publish at QoS 1; returns once the broker has acknowledged."""
        pid = self._next_pid()
        first = 0x33 if retain else 0x32
        await self._request(pid, packet(first, _text(topic), struct.pack(">H", pid), payload))
        self.acked += 1

    async def ping(self):
        await self._request("ping", b"\xc0\x00")

    @property
    def last_pid(self):
        return self._pid

    def _next_pid(self):
        while True:
            self._pid = self._pid % 65535 + 1
            if self._pid not in self._answers:
                return self._pid

    async def _request(self, key, data):
        answer = self._answers[key] = asyncio.Event()
        Waiting.count += 1
        try:
            async with self._lock:
                await transport.send(self._stream, data, ANSWER_S)
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
        if self._reader_task:
            self._reader_task.cancel()
            try:
                await self._reader_task
            except asyncio.CancelledError:
                pass
        if self._stream:
            await transport.close(self._stream)

    async def _read_packets(self):
        try:
            while True:
                # The pinger guarantees traffic, so silence this long means a dead link.
                first = (await self._read(1, KEEPALIVE_S + ANSWER_S))[0]
                await self._handle(first, await self._read_length())
        except ERRORS as e:
            self.fail(e)

    async def _read(self, n, deadline_s=ANSWER_S):
        return await asyncio.wait_for(self._stream[0].readexactly(n), deadline_s)

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
        keep = length <= MAX_INCOMING
        body = bytearray()
        while length:
            piece = await self._read(min(length, 256))
            length -= len(piece)
            if keep or len(body) < 512:
                body.extend(piece)
        size = body[0] << 8 | body[1]
        at = 2 + size
        if first & 0x06:
            async with self._lock:
                await transport.send(self._stream, b"\x40\x02" + bytes(body[at : at + 2]), ANSWER_S)
            at += 2
        if keep:
            self._on_message(bytes(body[2 : 2 + size]).decode(), bytes(body[at:]))


if sys.implementation.name != "micropython":
    # CPython reports a short stream by its own class of EOFError and a bad certificate as an OSError.
    assert issubclass(asyncio.IncompleteReadError, EOFError)
