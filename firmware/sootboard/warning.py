"""Warning at the board itself, without any network: one lamp, and a sounder where one is fitted.

Only what harms soon is shown. Nothing here can act on the burner.
"""

import asyncio

from micropython import const

_HOST_SILENT_MS = const(30 * 60000)
_IDENTIFY_MS = const(15000)

# State -> milliseconds on, off, on, off...
PATTERNS = {
    "identify": (80, 80),
    "over-temperature": (150, 150),
    "pump-overrun": (150, 150, 150, 750),
    "host-silent": (1000, 4000),
    "safe-mode": (1000, 1000),
    "well": (40, 4960),
}
_SOUNDED = const(("over-temperature", "pump-overrun"))


class Warning:
    """`limits`: pump_s, tank_C, nozzle_C, each optional. `lamp(on)` and `sounder(on)` drive the outputs."""

    def __init__(self, clock, sampler, limits, lamp, sounder=None, safe=False):
        self._clock = clock
        self._sampler = sampler
        self._limits = limits
        self._lamp = lamp
        self._sounder = sounder
        self._safe = safe
        self._identify_until_ms = 0
        self.host_heard_ms = 0  # uptime of the last acknowledged message

    def identify(self):
        self._identify_until_ms = self._clock.uptime_ms() + _IDENTIFY_MS

    def state(self):
        now = self._clock.uptime_ms()
        if now < self._identify_until_ms:
            return "identify"
        if self._too_hot():
            return "over-temperature"
        if self._pump_too_long(now):
            return "pump-overrun"
        if self._safe:
            return "safe-mode"
        return "host-silent" if now - self.host_heard_ms > _HOST_SILENT_MS else "well"

    def _too_hot(self):
        for i, key in ((0, "tank_C"), (1, "nozzle_C")):
            if key in self._limits and self._sampler.values.get(i, -100000) > self._limits[key] * 100:
                return True
        return False

    def _pump_too_long(self, now):
        since = self._sampler.pump_since_ms
        limit_s = self._limits.get("pump_s")
        # The same slack as the host: the larger of 2 s and a tenth.
        return since is not None and bool(limit_s) and now - since > 1000 * (limit_s + max(2, limit_s / 10))

    async def run(self, beat):
        while True:
            state = self.state()
            on = True
            for ms in PATTERNS[state]:
                beat()
                self._lamp(on)
                if self._sounder:
                    self._sounder(on and state in _SOUNDED)
                await asyncio.sleep_ms(ms)
                on = not on
