"""Puts the parts together and runs them."""

import asyncio
import binascii
import gc
import json
import os

import machine

from . import VERSION, channels, commands, config, inputs, senml, storage
from .clock import Clock
from .link import Link
from .ntp import Ntp
from .outbox import Outbox
from .sampler import Sampler
from .store import Store
from .transport import Broker
from .wifi import Wifi

CONTRACT = 1


class App:
    def __init__(self, settings):
        self.settings = settings
        self.clock = Clock()
        board = inputs.board_pins(settings["board"])
        self.boot = int(binascii.hexlify(os.urandom(4)).decode(), 16)
        contacts = inputs.contacts(settings, board)
        kept = storage.Kept(machine.RTC())
        left = kept.read()
        where = storage.directory(settings["data"])
        self.store = Store(where) if where else None
        self.outbox = Outbox(self.boot, contacts.mask, self._work, self.store, kept.write)
        self.outbox.restore(left)
        self.sampler = Sampler(
            self.clock,
            contacts,
            inputs.sensors(settings, board),
            self.outbox.put,
            settings["interval"],
            settings["idle_interval"],
            settings["poll_ms"],
        )
        self.wifi = Wifi(settings["wifi"].get("ssid", ""), settings["wifi"].get("password", ""))
        b = settings["broker"]
        self.link = Link(
            Broker(b["host"], b["port"], b.get("user"), b.get("password")),
            "%s/%s/" % (settings["root"], settings["furnace"]),
            "%s-%s" % (settings["furnace"], binascii.hexlify(machine.unique_id()).decode()),
            settings["furnace"],
            self.wifi,
            self.outbox,
            self.announcement,
            commands.Commands(
                {
                    "identify": self._identify,
                    "report-interval": self._interval,
                    "send-buffer": self._send_buffer,
                }
            ),
        )

    def _work(self):
        self.link.work()

    def announcement(self):
        """The board topic's JSON text."""
        uptime_ms = self.clock.uptime_ms()
        rssi = self.wifi.rssi()
        return (
            '{"online": true, "version": %d, "firmware": "%s", "boot": "%08x", "reset": "%s", "channels": %s, '
            '"interval": %d, "idle_interval": %d, "uptime": %s, "buffered": %d, "buffered_oldest_s": %s, '
            '"heap_free": %d, "rssi": %s, "clock": "%s"}'
        ) % (
            CONTRACT,
            VERSION,
            self.boot,
            "power",
            json.dumps(self.channels()),
            self.sampler.interval_s,
            self.sampler.idle_interval_s,
            senml.seconds(uptime_ms),
            self.outbox.buffered(),
            self._oldest_s(uptime_ms),
            gc.mem_free(),
            "null" if rssi is None else rssi,
            "synced" if self.clock.synced else "unsynced",
        )

    def _oldest_s(self, uptime_ms):
        oldest = self.outbox.oldest_ms()
        if oldest is None:
            return "0"
        utc_ms, at_ms = oldest
        if at_ms is not None:
            return senml.seconds(uptime_ms - at_ms)
        now_ms = self.clock.utc_ms(uptime_ms)
        return senml.seconds(now_ms - utc_ms) if now_ms and utc_ms and now_ms > utc_ms else "null"

    def channels(self):
        """Names of the channels fitted, in the order of the contract."""
        s = self.settings
        fitted = list(s["onewire"].values()) + list(s["contacts"].values())
        fitted += [part["channel"] for part in list(s["spi"].values()) + list(s["analog"].values())]
        return [row[0] for row in channels.NUMERIC if row[0] in fitted] + [n for n in channels.SWITCHED if n in fitted]

    def _identify(self, command):
        return None

    def _interval(self, command):
        sampler = self.sampler
        fast, error = commands.interval(command, "interval", 1, 60, sampler.interval_s)
        slow, slow_error = commands.interval(command, "idle_interval", 5, 600, sampler.idle_interval_s)
        if error or slow_error:
            return error or slow_error
        sampler.interval_s, sampler.idle_interval_s = fast, slow
        return None

    def _send_buffer(self, command):
        self.outbox.flush()
        self.link.work()
        return None

    def _clock_set(self, step_ms):
        self.link.announce()

    async def run(self):
        jobs = [self.sampler.watch_contacts, self.sampler.measure, self.link.run]
        if self.settings["ntp"]:
            ntp = self.settings["ntp"]
            jobs.append(Ntp(ntp["host"], ntp.get("port", 123), self.clock, self._clock_set).run)
        tasks = [asyncio.create_task(job(_no_beat)) for job in jobs]
        await asyncio.gather(*tasks)


def _no_beat():
    pass


def main(path="config.json"):
    asyncio.run(App(config.load(path)).run())
