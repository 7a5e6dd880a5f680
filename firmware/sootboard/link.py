"""Keeps the board connected to its broker, or to the host on its USB line, and sends what the outbox holds."""

import asyncio
import gc
import random

from micropython import const

from . import senml
from .waiting import ERRORS, stop

BACKOFF_MIN_MS, BACKOFF_MAX_MS = 1000, 60000
_ANNOUNCE_S = const(300)
_SEND_BYTES = const(1400)  # one segment of the network
_WILL = b'{"online": false}'


class Link:
    """`app` gives the outbox, the Wi-Fi, if any, and the announcement, hears of progress and carries out commands.

    `client` makes a connection to `peer`: mqtt.Client to a transport.Broker, or usb.Client over a usb.Line; `ready()`
    tells whether one may be tried yet.
    """

    def __init__(self, client, peer, prefix, client_id, furnace, app, ready=None):
        self._client = client
        self._peer = peer
        self._prefix = prefix
        self._client_id = client_id
        self._furnace = furnace
        self._app = app
        self._outbox = app.outbox
        self._ready = ready
        self._out = bytearray(_SEND_BYTES)
        self._pid = 0
        self._work = asyncio.Event()
        self._announce_now = asyncio.Event()
        self._received = []
        self._beat = None
        self.connected = False
        self.connects = 0
        self.packs = 0  # of readings, acknowledged since boot
        self.last_error = ""

    def work(self):
        """There is something to send."""
        self._work.set()

    def announce(self):
        """Publish the announcement soon."""
        self._announce_now.set()

    async def run(self, beat):
        self._beat = beat
        tries = 0
        while True:
            beat()
            acked = 0
            try:
                if self._app.wifi:
                    await self._app.wifi.ensure(beat)
                await self._until_ready(beat)
                acked = await self._session()
            except ERRORS as e:
                self.last_error = "%s %s" % (type(e).__name__, e)
            tries = 0 if acked else tries + 1
            delay_ms = min(BACKOFF_MAX_MS, BACKOFF_MIN_MS << min(tries, 6))
            await asyncio.sleep_ms(delay_ms // 2 + random.getrandbits(16) % (delay_ms // 2))

    async def _until_ready(self, beat):
        while self._ready and not self._ready():
            beat()
            await asyncio.sleep_ms(500)

    async def _session(self):
        """One connection from start to end. Returns the number of acknowledged messages."""
        gc.collect()  # what lives as long as the connection shall not end up between garbage
        client = self._client(self._peer, self._take, self._out, self._pid)
        tasks = []
        try:
            await client.open(self._client_id, self._prefix + "board", _WILL)
            await client.subscribe(self._prefix + "command")
            await self._tell(client)
            self.connects += 1
            self.connected = True
            self._outbox.online()
            self._work.set()
            gc.collect()
            for job in (self._send_rows, self._send_notes, self._ping):
                tasks.append(asyncio.create_task(self._guard(client, job)))
            await client.dead.wait()
            self.last_error = "%s %s" % (type(client.error).__name__, client.error)
        finally:
            self.connected = False
            self._outbox.offline()
            self._pid = client.last_pid
            for task in tasks:
                await stop(task)
            await client.close()
        return client.acked

    async def _guard(self, client, job):
        try:
            await job(client)
        except ERRORS as e:
            client.fail(e)
        except Exception as e:
            # A fault of ours, or a full heap: a new connection starts afresh.
            client.fail(e)
            self._app.faults.record("link", e, "")

    async def _send_rows(self, client):
        topic = self._prefix + "measurements"
        while True:
            data = self._outbox.next()
            if data is None:
                self._work.clear()
                await self._work.wait()
                continue
            await client.publish(topic, senml.Pack(self._furnace, data))
            self._outbox.acked(data)
            self.packs += 1
            self._note_progress()

    async def _send_notes(self, client):
        """The announcement from time to time, and answers to commands."""
        while True:
            await self._announce_now.wait()
            self._announce_now.clear()
            while self._received:
                result = await self._app.command(self._received.pop(0))
                if result:
                    await client.publish(self._prefix + "command-result", result.encode())
            await self._tell(client)

    async def _tell(self, client):
        """The announcement. By itself, since a coroutine that waits holds on to all it has handed over last."""
        await client.publish(self._prefix + "board", self._app.announcement().encode(), True)

    async def _ping(self, client):
        announced_ms = 0
        while True:
            await asyncio.sleep_ms(int(client.keepalive_s * 500))
            announced_ms += client.keepalive_s * 500
            if announced_ms >= _ANNOUNCE_S * 1000:
                announced_ms = 0
                self._announce_now.set()
            await client.ping()
            self._note_progress()

    def _note_progress(self):
        self._beat()
        self._app.heard()

    def _take(self, topic, payload):
        if topic == self._prefix + "command" and len(self._received) < 8:
            self._received.append(payload)
            self._announce_now.set()
