"""Joins the owner's wireless network; what does not come up is tried again harder, step by step."""

import asyncio

import network
from micropython import const

_JOIN_S = const(20)
_POWER_CYCLE_EVERY = const(3)  # failed joins
_RESET_AFTER_MS = const(30 * 60000)


class Wifi:
    """`reset(intent)` restarts the board, or None where that would lose readings."""

    def __init__(self, ssid, password, clock, reset=None):
        self._ssid = ssid
        self._password = password
        self._clock = clock
        self._reset = reset
        self._wlan = network.WLAN(network.STA_IF)
        self._failures = 0
        self._down_since_ms = None

    def rssi(self):
        """Signal strength [dBm], or None."""
        try:
            return self._wlan.status("rssi")
        except (OSError, ValueError):
            return None

    async def ensure(self, beat):
        """Return once the network is up; raises OSError if it did not come up."""
        wlan = self._wlan
        if wlan.active() and wlan.isconnected():
            self._up()
            return
        await self._climb()
        wlan.active(True)
        wlan.config(pm=getattr(network.WLAN, "PM_NONE", 0))  # power save makes the Pico W go deaf
        wlan.disconnect()
        wlan.connect(self._ssid, self._password)
        for _ in range(_JOIN_S * 4):
            beat()
            if wlan.isconnected():
                self._up()
                return
            await asyncio.sleep_ms(250)
        self._failures += 1
        raise OSError("no Wi-Fi")

    def _up(self):
        self._failures = 0
        self._down_since_ms = None

    async def _climb(self):
        now = self._clock.uptime_ms()
        if self._down_since_ms is None:
            self._down_since_ms = now
        if self._reset and now - self._down_since_ms > _RESET_AFTER_MS:
            self._reset("link")
        if self._failures and self._failures % _POWER_CYCLE_EVERY == 0:
            self._wlan.active(False)
            await asyncio.sleep_ms(1000)
