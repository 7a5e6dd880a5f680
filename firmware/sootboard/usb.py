"""The link over the console's own line, for a board without a network: every message is one line with a checksum.

    RS topic SP payload SP CRC-32 (8 hexadecimal digits, of topic SP payload) LF

No byte below 0x20 is inside a line, so a damaged one ends at the next RS (0x1E), and nothing in it is a Ctrl-C. Each
second the host says `hello` with its time and a word it drew when it opened the line; `ack` names the CRC of a message
that it has stored.
"""

import asyncio
import binascii
import select
import sys

from micropython import const

from .waiting import ERRORS, Waiting, stop

_START = const(0x1E)
_END = const(0x0A)
_MAX_LINE = const(2200)
_ANSWER_S = const(5)
_TRIES = const(3)
_LOOK_MS = const(10)
_HOST_SILENT_MS = const(6000)
_SET_CLOCK_MS = const(3600000)
_EARLIEST_MS = const(1764028800 * 1000)  # this software is younger


class Line:
    """Standard input and output as a line to the host; `clock_set(step_ms)` hears when the host's time was taken."""

    def __init__(self, clock, clock_set, source=None, sink=None):
        self._clock = clock
        self._clock_set = clock_set
        self._in = source or sys.stdin.buffer
        self._out = sink or sys.stdout.buffer
        self._readable = select.poll()
        self._readable.register(self._in, select.POLLIN)
        self._writable = select.poll()
        self._writable.register(self._out, select.POLLOUT)
        self._text = bytearray()
        self._inside = False
        self._heard_ms = None
        self.host = b""  # which host, or which opening of the line
        self._looked_ms = 0
        self._prompt = False  # what is read now has not been waiting for long
        self._lock = asyncio.Lock()

    def host_there(self):
        """As host_heard(), after reading what has come."""
        self.pump(None)
        return self.host_heard()

    def host_heard(self):
        """Whether the host has said something lately."""
        return self._heard_ms is not None and self._clock.uptime_ms() - self._heard_ms < _HOST_SILENT_MS

    def pump(self, take):
        """Read what has come; `take(topic, payload)`, if any, gets each whole line that is not `hello`."""
        now = self._clock.uptime_ms()
        self._prompt = take and now - self._looked_ms < 10 * _LOOK_MS
        self._looked_ms = now
        for _ in range(_MAX_LINE):
            try:
                ready = self._readable.poll(0)
                byte = self._in.read(1) if ready and ready[0][1] & select.POLLIN else b""
            except OSError:
                return  # nobody at the other end
            if not byte:
                return
            self._put(byte[0], take)

    def _put(self, byte, take):
        if byte == _START:
            self._inside = True
            self._text = bytearray()
        elif self._inside and byte == _END:
            self._inside = False
            self._whole(bytes(self._text), take)
        elif self._inside:
            self._text.append(byte)
            self._inside = len(self._text) < _MAX_LINE

    def _whole(self, text, take):
        text = text.rstrip(b"\r")
        if len(text) < 11 or text[-9:] != b" %08x" % (binascii.crc32(text[:-9]) & 0xFFFFFFFF):
            return
        at = text.find(b" ")
        topic, payload = text[:at].decode(), text[at + 1 : -9]
        self._heard_ms = self._clock.uptime_ms()
        if topic == "hello":
            time_ms, _, self.host = payload.partition(b" ")
            if self._prompt:
                self._take_time(time_ms)
        elif take:
            take(topic, payload)

    def _take_time(self, payload):
        clock = self._clock
        try:
            utc_ms = int(payload)
        except ValueError:
            return
        now = clock.uptime_ms()
        if utc_ms >= _EARLIEST_MS and (not clock.synced or now - clock.set_at_ms > _SET_CLOCK_MS):
            self._clock_set(clock.set_utc(utc_ms, now))

    async def send(self, topic, payload):
        """Send one message; returns its CRC. Raises OSError when nobody reads."""
        async with self._lock:
            check = 0
            await self._write(b"\x1e")
            for piece in _pieces(topic, payload):
                check = binascii.crc32(piece, check)
                await self._write(piece)
            check &= 0xFFFFFFFF
            await self._write(b" %08x\n" % check)
        return check

    async def _write(self, data):
        for _ in range(_ANSWER_S * 1000 // _LOOK_MS):
            ready = self._writable.poll(0)
            if ready and ready[0][1] & select.POLLOUT:
                self._out.write(data)
                await asyncio.sleep_ms(0)
                return
            await asyncio.sleep_ms(_LOOK_MS)
        raise OSError("nobody reads the line")


def _pieces(topic, payload):
    yield topic.encode() + b" "
    if hasattr(payload, "pieces"):
        for piece in payload.pieces():
            yield piece
    else:
        yield payload


class Client:
    """One meeting with the host, used like mqtt.Client; over when the host falls silent or does not acknowledge."""

    def __init__(self, line, on_message, out, pid=0):
        self._line = line
        self._host = line.host
        self._on_message = on_message
        self._stored = []  # CRCs of the messages acknowledged last
        self._news = asyncio.Event()
        self._reader_task = None
        self.keepalive_s = 20
        self.last_pid = pid
        self.dead = asyncio.Event()
        self.error = None
        self.acked = 0

    async def open(self, client_id, will_topic, will_payload):
        """The host tells by itself when the line has gone."""
        self._reader_task = asyncio.create_task(self._read_lines())

    async def subscribe(self, topic):
        """Whatever the host says comes."""

    async def publish(self, topic, payload, retain=False):
        """Send at least once; returns when the host has stored it."""
        Waiting.count += 1
        try:
            for _ in range(_TRIES):
                check = await self._line.send(topic, payload)
                try:
                    await asyncio.wait_for(self._until_stored(check), _ANSWER_S)
                    self.acked += 1
                    return
                except asyncio.TimeoutError:
                    pass  # it was damaged on the way, or the answer was
        finally:
            Waiting.count -= 1
        raise OSError("the host does not acknowledge")

    async def _until_stored(self, check):
        while check not in self._stored:
            if self.dead.is_set():
                raise OSError("connection lost")
            self._news.clear()
            await self._news.wait()

    async def ping(self):
        if not self._line.host_heard():
            raise OSError("no host on the line")

    def fail(self, error):
        """Declare the meeting over and wake everyone who waits for an answer."""
        if self.dead.is_set():
            return
        self.error = error
        self.dead.set()
        self._news.set()

    async def close(self):
        self.fail(OSError("closed"))
        await stop(self._reader_task)

    async def _read_lines(self):
        try:
            while self._line.host_heard() and self._line.host == self._host:
                self._line.pump(self._take)
                await asyncio.sleep_ms(_LOOK_MS)
            self.fail(OSError("the host has gone, or is another"))
        except ERRORS as e:
            self.fail(e)

    def _take(self, topic, payload):
        if topic != "ack":
            self._on_message(topic, payload)
            return
        self._stored.append(int(payload, 16))
        del self._stored[:-8]
        self._news.set()
