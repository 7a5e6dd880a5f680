"""Reads the sensors and turns what they say into rows."""

import asyncio

from micropython import const

from . import channels
from .drivers import ds18b20
from .frame import Row, advance

_SPI_CONVERSION_MS = const(75)  # the slowest of the one-shot converters

_PUMP = 1 << channels.SWITCHED.index("pump")

# A value that moved this far within one idle interval makes the furnace "moving", by unit.
_MOVED = {"Cel": 0.5, "Pa": 500.0, "/": 0.02, "A": 0.3}


def _moved_by_index():
    out = []
    for i, (name, (unit, _)) in enumerate(channels.NUMERIC):
        out.append(channels.scaled(i, 10.0 if name.startswith("draft") else _MOVED[unit]))
    return out


class Sensors:
    """Every numeric input: chips that convert on command, and inputs that are simply read."""

    def __init__(self, buses, chips, inputs):
        self._buses = buses  # 1-Wire buses
        self._chips = chips  # [(position in channels.NUMERIC, driver)] on SPI
        self._inputs = inputs  # [(position, driver)] read at once, 1-Wire devices among them

    async def read(self):
        """`(values, faults)`, both keyed by position in channels.NUMERIC."""
        for bus in self._buses:
            ds18b20.start_all(bus)
        for _, chip in self._chips:
            chip.prepare()
        await asyncio.sleep_ms(2)
        for _, chip in self._chips:
            chip.start()
        if self._buses or self._chips:
            await asyncio.sleep_ms(ds18b20.CONVERSION_MS if self._buses else _SPI_CONVERSION_MS)
        values = {}
        faults = {}
        for group in (self._chips, self._inputs):
            for i, driver in group:
                value, fault = driver.read()
                if fault:
                    faults[i] = channels.FAULTS.index(fault)
                else:
                    values[i] = channels.scaled(i, value)
                await asyncio.sleep_ms(0)
        return values, faults


class Sampler:
    def __init__(self, clock, contacts, sensors, interval_s=5, idle_interval_s=60, poll_ms=20):
        self._clock = clock
        self._contacts = contacts
        self._sensors = sensors
        self.emit = None  # called with every row
        self.interval_s = interval_s
        self.idle_interval_s = idle_interval_s
        self._poll_ms = poll_ms
        self._wake = asyncio.Event()
        self._states = None
        self._sums = [0] * len(channels.SUMMED)
        self._last_ms = 0  # time of the last row
        self._last_full_ms = None
        self._last_faults = {}
        self._reference = {}
        self._reference_ms = 0
        self._moving_until_ms = 0
        self._thresholds = _moved_by_index()
        passive = 0
        for name in channels.PASSIVE:
            passive |= 1 << channels.SWITCHED.index(name)
        self._active_mask = ~passive
        self.values = {}  # last good numbers by position in channels.NUMERIC
        self.pump_since_ms = None  # uptime at which the pump came on
        self.missed = 0
        self.measured = False  # every sensor has been asked since boot

    @property
    def contact_mask(self):
        """Switched channels that are fitted, as bits by position in channels.SWITCHED."""
        return self._contacts.mask

    @property
    def states(self):
        """On/off states by position in channels.SWITCHED; None until the inputs have settled."""
        return self._states

    async def watch_contacts(self, beat):
        due = self._clock.uptime_ms()
        while True:
            now = self._clock.uptime_ms()
            beat()
            changes = self._contacts.poll(now)
            if self._states is None and self._contacts.known:
                self._states = self._contacts.states
                self._wake.set()
            elif changes:
                for edge_ms, bit, on in changes:
                    self._change(edge_ms, bit, on)
                self._wake.set()
            due += self._poll_ms
            now = self._clock.uptime_ms()
            if now > due:
                skipped = (now - due) // self._poll_ms
                self.missed += skipped
                due += skipped * self._poll_ms
            await asyncio.sleep_ms(max(0, due - now))

    def _change(self, edge_ms, bit, on):
        # Never before a row already made, whatever the filters' true delays were.
        at_ms = max(edge_ms, self._last_ms + 1)
        states = self._states | 1 << bit if on else self._states & ~(1 << bit)
        self._row(at_ms, states, False, {}, {})

    def _row(self, at_ms, states, full, values, faults):
        self._sums = advance(self._sums, self._states, at_ms - self._last_ms)
        self._states = states
        if not states & _PUMP:
            self.pump_since_ms = None
        elif self.pump_since_ms is None:
            self.pump_since_ms = at_ms
        self._last_ms = at_ms
        self.emit(Row(at_ms, self._clock.utc_ms(at_ms), full, states, self._sums, values, faults))

    async def measure(self, beat):
        due = self._clock.uptime_ms()
        while True:
            beat()
            values, faults = await self._sensors.read()
            self.measured = True
            if self._states is not None:
                self._judge(values, faults)
            now = self._clock.uptime_ms()
            period_ms = self.interval_s * 1000
            if now >= due:
                due += ((now - due) // period_ms + 1) * period_ms
            due = min(due, now + period_ms)  # the interval may have been made shorter
            await self._wait(due)

    async def _wait(self, due_ms):
        """Until `due_ms`, or until an input has changed."""
        try:
            left_ms = max(1, due_ms - self._clock.uptime_ms())
            await asyncio.wait_for(self._wake.wait(), left_ms / 1000)
        except asyncio.TimeoutError:
            pass

    def _judge(self, values, faults):
        now = self._clock.uptime_ms()
        self.values = values
        self._note_movement(values, now)
        changed = self._wake.is_set() or faults != self._last_faults
        self._wake.clear()
        active = self._states & self._active_mask or now < self._moving_until_ms
        period_ms = (self.interval_s if active else self.idle_interval_s) * 1000
        # Half an interval early is nearer than half an interval late.
        due = self._last_full_ms is None or now - self._last_full_ms >= period_ms - self.interval_s * 500
        if changed or due:
            self._last_full_ms = now
            self._last_faults = faults
            self._row(max(now, self._last_ms + 1), self._states, True, values, faults)

    def _note_movement(self, values, now):
        window_ms = self.idle_interval_s * 1000
        moved = False
        for i in values:
            if i in self._reference and abs(values[i] - self._reference[i]) > self._thresholds[i]:
                moved = True
        if moved:
            self._moving_until_ms = now + window_ms
        if moved or not self._reference or now - self._reference_ms >= window_ms:
            self._reference = values
            self._reference_ms = now
