"""Joins the owner's wireless network and tells whether it is up."""

import asyncio

import network

_JOIN_S = 20


class Wifi:
    def __init__(self, ssid, password):
        self._ssid = ssid
        self._password = password
        self._wlan = network.WLAN(network.STA_IF)

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
            return
        wlan.active(True)
        wlan.config(pm=getattr(network.WLAN, "PM_NONE", 0))
        wlan.disconnect()
        wlan.connect(self._ssid, self._password)
        for _ in range(_JOIN_S * 4):
            beat()
            if wlan.isconnected():
                return
            await asyncio.sleep_ms(250)
        raise OSError("no Wi-Fi")
