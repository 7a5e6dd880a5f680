"""Rows as a keep-warm furnace in a cold week gives them: calls of 20 min in each 45, refills, idle nights."""

from sootboard import channels
from sootboard.frame import Row, Writer, advance

MASK = 0
for _name in ("pump", "float", "call", "burner", "tank_heater", "nozzle_heater"):
    MASK |= 1 << channels.SWITCHED.index(_name)
_BIT = {name: i for i, name in enumerate(channels.SWITCHED)}
_INDEX = {row[0]: i for i, row in enumerate(channels.NUMERIC)}
CYCLE_S = 2700
UTC_MS = 1795600000000


def encode(boot, seq, state_mask, rows):
    """The frame of `rows`."""
    writer = Writer(boot, seq, state_mask, rows[0])
    for row in rows:
        writer.add(row)
    return writer.data()


class Week:
    """`next()` gives rows: 5 s apart while a call or a heater is on, 60 s apart otherwise, and one at each change."""

    def __init__(self, start_ms=1000):
        self.now_ms = start_ms
        self.states = 0
        self.sums = [0] * len(channels.SUMMED)
        self.last_ms = 0
        self._seed = 12345
        self._tank, self._nozzle, self._stack = 6000, 8500, 2500

    def _noise(self, width):
        self._seed = (self._seed * 1103515245 + 12345) & 0x7FFFFFFF
        return (self._seed >> 8) % (2 * width + 1) - width

    def _wanted(self, t_s):
        at = t_s % CYCLE_S
        on = 0
        if t_s % 86400 > 21600 and at < 1200:
            on |= 1 << _BIT["call"]
            if at > 60:
                on |= 1 << _BIT["burner"]
            if at % 300 > 285:
                on |= 1 << _BIT["pump"] | 1 << _BIT["float"]
        if t_s % 900 < 240:
            on |= 1 << _BIT["tank_heater"]
        return on

    def next(self):
        t_s = self.now_ms // 1000
        wanted = self._wanted(t_s)
        changed = wanted != self.states
        self.sums = advance(self.sums, self.states, self.now_ms - self.last_ms)
        self.last_ms = self.now_ms
        self.states = wanted
        burning = wanted >> _BIT["burner"] & 1
        # Quantised as the chips do: 1/16, 1/128 and 0.034 K.
        self._stack += (28000 - self._stack) // 40 if burning else (2500 - self._stack) // 90
        swing = abs(t_s % 900 - 450) // 3
        values = {
            _INDEX["tank"]: (6000 + swing) * 16 // 100 * 100 // 16,
            _INDEX["nozzle"]: 8500 + swing // 3 * 3 + 3 * self._noise(1),
            _INDEX["stack"]: self._stack + self._noise(20),
            _INDEX["return_air"]: 1800 + (6 if self._noise(3) > 2 else 0),
        }
        row = Row(self.now_ms, UTC_MS + self.now_ms, not changed, wanted, self.sums, values if not changed else {}, {})
        busy = wanted or self._stack > 4000
        self.now_ms += (1001 if changed else 5003) if busy else 60011
        return row
