"""Stand-in for the port's network module: one station interface, up or down as the bench says."""

from _bench_link import ask

STA_IF = 0


class WLAN:
    PM_NONE = 0

    def __init__(self, interface):
        self._active = False

    def active(self, on=None):
        if on is None:
            return self._active
        self._active = bool(on)
        return None

    def config(self, **settings):
        pass

    def connect(self, ssid, password):
        ask("wlan", "connect")

    def disconnect(self):
        pass

    def isconnected(self):
        return ask("wlan", "up") == "1"

    def status(self, what=None):
        if what == "rssi":
            return int(ask("wlan", "rssi"))
        return 3 if self.isconnected() else 0

    def ifconfig(self):
        return ("127.0.0.1", "255.0.0.0", "127.0.0.1", "127.0.0.1")
