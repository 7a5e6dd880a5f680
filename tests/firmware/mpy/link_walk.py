"""A link that gets a row each 40 ms for as long as standard input is open; prints the longest stall of the loop."""

import asyncio
import json
import select
import sys
import time

from sootboard import channels, link, mqtt, outbox, tls_context, transport
from sootboard.clock import Clock
from sootboard.frame import Row

mqtt.CONNECT_S = 1
mqtt.ANSWER_S = 0.4
mqtt.KEEPALIVE_S = 1
link.BACKOFF_MIN_MS, link.BACKOFF_MAX_MS = 20, 100

settings = json.loads(sys.argv[1])
clock = Clock()
clock.set_utc(1795600000000, clock.uptime_ms())
worst_ms = 0
stop = asyncio.Event()


class Wifi:
    async def ensure(self, beat):
        pass


def nothing():
    pass


tls = settings.get("tls")
broker = transport.Broker(
    "127.0.0.1",
    settings["port"],
    None,
    None,
    tls_context.make(tls) if tls else None,
    (tls or {}).get("server_name"),
)
out = outbox.Outbox(1, 1, None, None, 1 << 20)
prefix = "sootline/" + settings["furnace"] + "/"


class App:
    outbox = out
    wifi = Wifi()

    def announcement(self):
        return '{"online": true}'

    def command(self, payload):
        return None

    class faults:
        @staticmethod
        def record(task, error, text):
            print("fault", task, error)

    def heard(self):
        pass


the_link = link.Link(mqtt.Client, broker, prefix, settings["furnace"], settings["furnace"], App())
out.changed = the_link.work


async def feed():
    while True:
        now = clock.uptime_ms()
        out.put(Row(now, clock.utc_ms(now), True, 0, [0] * len(channels.SUMMED), {0: 6000}, {}))
        await asyncio.sleep_ms(40)


def _queued_ms():
    """Time this process was ready to run and had no processor (a busy test machine, not the code's doing)."""
    with open("/proc/self/schedstat") as f:
        return int(f.read().split()[1]) // 1000000


async def watch():
    global worst_ms
    last, queued = time.ticks_ms(), _queued_ms()
    while True:
        await asyncio.sleep_ms(5)
        now, now_queued = time.ticks_ms(), _queued_ms()
        worst_ms = max(worst_ms, time.ticks_diff(now, last) - 5 - (now_queued - queued))
        last, queued = now, now_queued


async def until_told():
    poll = select.poll()
    poll.register(sys.stdin, select.POLLIN)
    while not poll.poll(0):
        await asyncio.sleep_ms(20)


async def main():
    tasks = [asyncio.create_task(job) for job in (feed(), watch(), the_link.run(nothing))]
    await until_told()
    tasks[0].cancel()
    for _ in range(500):
        await asyncio.sleep_ms(20)
        if not out.buffered():
            break
    print("connects", the_link.connects)
    print("left", out.buffered())
    print("worst_stall_ms", worst_ms)


asyncio.run(main())
