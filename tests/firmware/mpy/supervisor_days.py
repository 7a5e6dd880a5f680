"""The supervisor over simulated days: an outage is no fault; a frozen or dead task ends the feeding in time.

Argument: days of the long run.
"""

import asyncio
import sys

import pace  # noqa: F401  (virtual time, first)
from sootboard.clock import Clock
from sootboard.supervisor import Supervisor

DEADLINES = {"contacts": 5000, "measure": 150000, "link": 300000}
clock = Clock()
feeds = []
records = []
resets = []


class Done(BaseException):
    pass


def reset(intent):
    resets.append(intent)
    raise Done


def watchdog():
    def feed():
        now = clock.uptime_ms()
        if feeds:
            feeds[1] = max(feeds[1], now - feeds[0])
            feeds[0] = now
        else:
            feeds.extend((now, 0))

    return feed


def task(period_ms, freeze_at_ms=None, fail_each_ms=None):
    """A task that beats each `period_ms`; frozen from a moment on, or raising again and again."""

    async def job(beat):
        begun = clock.uptime_ms()
        while True:
            beat()
            await asyncio.sleep_ms(period_ms)
            now = clock.uptime_ms()
            if freeze_at_ms is not None and now >= freeze_at_ms:
                await asyncio.Event().wait()
            if fail_each_ms is not None and now - begun >= fail_each_ms:
                raise ValueError("broken")

    return job


async def run(jobs, for_s):
    feeds.clear()
    s = Supervisor(clock, watchdog, lambda name, error, text: records.append((name, text)), reset)
    for name, job in jobs:
        s.add(name, job, DEADLINES[name])
    runner = asyncio.create_task(s.run())
    for _ in range(for_s // 3600 + 1):
        await asyncio.sleep(min(3600, for_s))
    runner.cancel()
    for t in s._tasks:
        t.cancel()
    await asyncio.sleep_ms(0)
    return s


async def main(days):
    # The network task makes a legal step once a minute: days of outage, nothing but that.
    jobs = [("contacts", task(1000)), ("measure", task(5000)), ("link", task(60000))]
    await run(jobs, days * 86400)
    print("worst_gap_ms", feeds[1])
    print("records_in_outage", len(records))
    for name in sorted(DEADLINES):
        begun = clock.uptime_ms()
        jobs = [(n, task(1000, begun + 600000 if n == name else None)) for n in DEADLINES]
        s = await run(jobs, 1800)
        print("late_" + name + "_ms", feeds[0] - begun - 600000)
        assert s.late == name and records[-1] == (name, "no progress")
    records.clear()
    await run([("link", task(1000, None, 60000)), ("contacts", task(1000))], 7200)


try:
    asyncio.run(main(int(sys.argv[1])))
except Done:
    print("failures_recorded", len(records))
    print("reset_for_crash", resets.count("crash"))
