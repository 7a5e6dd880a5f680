"""Feeds the watchdog only while every task makes progress; restarts a task that failed, or else the board."""

import asyncio

from micropython import const

_ARM_AFTER_MS = const(3000)  # time for a person at the console to stop the program
_CHECK_MS = const(1000)
_RESTARTS_AN_HOUR = const(3)
_HOUR_MS = const(3600000)


class Supervisor:
    """`watchdog()` makes and arms the watchdog and returns its feed function; `reset(intent)` does not return."""

    def __init__(self, clock, watchdog, record, reset):
        self._clock = clock
        self._watchdog = watchdog
        self._record = record
        self._reset = reset
        self._beats = {}
        self._deadlines = {}
        self._failures = {}
        self._jobs = []
        self._tasks = []
        self.late = ""  # task whose deadline has passed

    def add(self, name, job, deadline_ms):
        """Have `job(beat)` run for ever; it must call `beat()` at least each `deadline_ms`."""
        self._jobs.append((name, job))
        self._deadlines[name] = deadline_ms
        self._failures[name] = []

    async def run(self):
        now = self._clock.uptime_ms()
        for name, job in self._jobs:
            self._beats[name] = now
            self._tasks.append(asyncio.create_task(self._keep(name, job)))
        await asyncio.sleep_ms(_ARM_AFTER_MS)
        feed = self._watchdog()
        while True:
            if self._all_well():
                feed()
            await asyncio.sleep_ms(_CHECK_MS)

    def _all_well(self):
        now = self._clock.uptime_ms()
        for name in self._beats:
            if now - self._beats[name] > self._deadlines[name]:
                if self.late != name:
                    self.late = name
                    self._record(name, None, "no progress")
                return False
        self.late = ""
        return True

    async def _keep(self, name, job):
        def beat():
            self._beats[name] = self._clock.uptime_ms()

        while True:
            try:
                await job(beat)
            except Exception as e:
                self._record(name, e, "")
            now = self._clock.uptime_ms()
            recent = [t for t in self._failures[name] if now - t < _HOUR_MS]
            recent.append(now)
            self._failures[name] = recent
            if len(recent) > _RESTARTS_AN_HOUR:
                self._reset("crash")
            await asyncio.sleep_ms(1000)
