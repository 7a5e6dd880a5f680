"""What runs on the board after it was put together."""

import asyncio
import gc

import machine
import micropython
from micropython import const

from . import forget
from .clock import Clock, set_rtc
from .supervisor import Supervisor

_HEALTHY_MS = const(600000)  # after this a boot was a good one
_SAFE_MODE_MS = const(3600000)
_BETWEEN_SYNCS_MS = const(30000)
_SYNCS_AT = const(120)  # of these pauses the clock is set again
_GARBAGE_BYTES = const(4096)  # taken at most until it is collected; what stays lies that far apart, and no farther

# Deadlines within which each task must make progress.
_DEADLINES_MS = {"contacts": 5000, "measure": 150000, "link": 300000, "time": 300000, "warning": 30000, "trial": 60000}


# Parts of asyncio are loaded when they are first named: now, at the bottom of the memory, and not later among garbage.
_PARTS = (asyncio.Event, asyncio.Lock, asyncio.StreamReader, asyncio.wait_for)


class App:
    """The parts are attributes that assemble.py sets."""

    def __init__(self):
        self.clock = Clock()
        self.boot = 0
        self.channels = []
        self.reset_label = ""
        self.safe = False
        self.memos = {}  # what the next boot is told, by reason of the reset
        self.keep_memo = self.kept = self.data_directory = None
        self.watchdog_ms = 0
        self.ntp = None  # address of the time server
        self.update_key = None  # the owner's, which signs new versions
        self.update = None  # the one that is being taken
        self.sampler = self.outbox = self.link = self.wifi = self.warning = self.faults = None

    def announcement(self):
        if self.update and self.update.idle():
            self.update = None
            forget("update", "steps")
        from . import status

        text = status.announcement(self)
        del status
        forget("status", "slots")
        return text

    async def command(self, payload):
        """Carry out a command; returns the result's text, or None."""
        from .commands import carry_out

        text = await carry_out(self, payload)
        del carry_out
        forget("commands")
        return text

    def reset(self, intent):
        """Start again, and let the next boot know why."""
        try:
            self.keep_memo(self.memos[intent])
        except Exception:
            pass  # nothing may stand in the way, a full heap least of all
        machine.reset()

    def clock_known(self):
        return self.clock.synced

    def clock_set(self, step_ms):
        set_rtc(self.clock.utc_ms(self.clock.uptime_ms()))
        self.link.announce()

    def heard(self):
        """The broker has acknowledged something."""
        self.warning.host_heard_ms = self.clock.uptime_ms()

    def _watchdog(self):
        """Arm the watchdog; from now on noise on the console's line can stop nothing."""
        if hasattr(micropython, "kbd_intr"):
            micropython.kbd_intr(-1)
        return machine.WDT(timeout=self.watchdog_ms).feed

    async def _keep_time(self, beat):
        """Set the clock each hour, each half minute until it is set; what that takes is not kept meanwhile."""
        while True:
            beat()
            from . import ntp

            offset = await ntp.offset_ms(self.ntp, self.clock)
            del ntp
            forget("ntp")
            if offset is not None:
                now = self.clock.uptime_ms()
                self.clock_set(self.clock.set_utc(now + offset, now))
            for _ in range(1 if offset is None else _SYNCS_AT):
                beat()
                await asyncio.sleep_ms(_BETWEEN_SYNCS_MS)

    async def _age(self):
        """What depends on how long this boot has lasted."""
        await asyncio.sleep_ms(_HEALTHY_MS)
        if not self.safe:
            self.memos[""] = self.memos["crash"] = self.memos["good"]
            self.keep_memo(self.memos["good"])
            return
        await asyncio.sleep_ms(_SAFE_MODE_MS - _HEALTHY_MS)
        self.reset("safe")

    async def run(self):
        supervisor = Supervisor(self.clock, self._watchdog, self.faults.record, self.reset)
        jobs = [("link", self.link.run), ("warning", self.warning.run)]
        if not self.safe:
            jobs += [("contacts", self.sampler.watch_contacts), ("measure", self.sampler.measure)]
        from . import slots

        if slots.on_trial():
            from . import trial

            jobs.append(("trial", lambda beat: trial.run(self, beat)))
        else:
            del slots
            forget("slots")
        if self.ntp:
            jobs.append(("time", self._keep_time))
        for name, job in jobs:
            supervisor.add(name, job, _DEADLINES_MS[name])
        age = asyncio.create_task(self._age())
        await supervisor.run()
        age.cancel()


def main(path="config.json"):
    """Never returns: whatever goes wrong is recorded, then the board starts again."""
    from . import assemble

    app = assemble.assemble(path)
    del assemble
    gc.collect()
    gc.threshold(_GARBAGE_BYTES)
    try:
        asyncio.run(app.run())
    except (KeyboardInterrupt, SystemExit):
        raise  # a person at the console, or our own reset on the test bench
    except BaseException as e:
        app.faults.record("main", e, "")
        app.reset("crash")
