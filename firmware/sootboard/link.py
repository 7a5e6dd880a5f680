"""Keeps the board connected to its broker and sends what the outbox holds."""

import asyncio
import random

from . import frame, mqtt, senml

BACKOFF_MIN_S, BACKOFF_MAX_S = 1, 60
ANNOUNCE_S = 300
WILL = b'{"online": false}'


class Link:
    """`announcement()` gives the text for the board topic, `on_command(payload)` a result text or None."""

    def __init__(self, broker, prefix, client_id, furnace, wifi, outbox, announcement, on_command):
        self._broker = broker
        self._prefix = prefix
        self._client_id = client_id
        self._furnace = furnace
        self._wifi = wifi
        self._outbox = outbox
        self._announcement = announcement
        self._on_command = on_command
        self._pid = 0
        self._work = asyncio.Event()
        self._announce_now = asyncio.Event()
        self._commands = []
        self._beat = None
        self.connected = False
        self.connects = 0
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
                await self._wifi.ensure(beat)
                acked = await self._session()
            except mqtt.ERRORS as e:
                self.last_error = "%s %s" % (type(e).__name__, e)
            tries = 0 if acked else tries + 1
            delay_s = min(BACKOFF_MAX_S, BACKOFF_MIN_S << min(tries, 6))
            await asyncio.sleep_ms(delay_s * 500 + random.getrandbits(16) % (delay_s * 500))

    async def _session(self):
        """One connection from start to end. Returns the number of acknowledged messages."""
        client = mqtt.Client(self._broker, self._take, self._pid)
        tasks = []
        try:
            await client.open(self._client_id, self._prefix + "board", WILL)
            await client.subscribe(self._prefix + "command")
            await client.publish(self._prefix + "board", self._announcement().encode(), True)
            self.connects += 1
            self.connected = True
            self._outbox.online()
            self._work.set()
            for job in (self._send_rows, self._send_notes, self._ping):
                tasks.append(asyncio.create_task(self._guard(client, job)))
            await client.dead.wait()
            self.last_error = "%s %s" % (type(client.error).__name__, client.error)
        finally:
            self.connected = False
            self._outbox.offline()
            self._pid = client.last_pid
            for task in tasks:
                task.cancel()
            for task in tasks:
                try:
                    await task
                except asyncio.CancelledError:
                    pass
            await client.close()
        return client.acked

    async def _guard(self, client, job):
        try:
            await job(client)
        except mqtt.ERRORS as e:
            client.fail(e)

    async def _send_rows(self, client):
        topic = self._prefix + "measurements"
        while True:
            data = self._outbox.next()
            if data is None:
                self._work.clear()
                await self._work.wait()
                continue
            await client.publish(topic, senml.pack(self._furnace, frame.Frame(data)))
            self._outbox.acked(data)
            self._beat()

    async def _send_notes(self, client):
        """The announcement from time to time, and answers to commands."""
        while True:
            try:
                await asyncio.wait_for(self._announce_now.wait(), ANNOUNCE_S)
            except asyncio.TimeoutError:
                pass
            self._announce_now.clear()
            while self._commands:
                result = self._on_command(self._commands.pop(0))
                if result:
                    await client.publish(self._prefix + "command-result", result.encode())
            await client.publish(self._prefix + "board", self._announcement().encode(), True)

    async def _ping(self, client):
        while True:
            await asyncio.sleep_ms(mqtt.KEEPALIVE_S * 500)
            await client.ping()
            self._beat()

    def _take(self, topic, payload):
        if topic == self._prefix + "command" and len(self._commands) < 8:
            self._commands.append(payload)
            self._announce_now.set()
