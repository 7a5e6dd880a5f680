"""Stand-in for the port's machine module: every pin and bus is answered by the host's chip bench."""

import binascii
import math
import os
import sys
import time

from _bench_link import VIRTUAL, ask

PWRON_RESET, WDT_RESET, SOFT_RESET = 1, 3, 5


class _Levels:
    """Levels of all inputs: as asked, or in virtual time as told in advance for a short while."""

    def __init__(self):
        self._until = -1
        self._at = -1
        self._plan = []
        self._now = 0

    def get(self):
        now = time.ticks_ms()
        if now == self._at:
            return self._now
        self._at = now
        if now >= self._until:
            # "levels until [at levels]..." with times in board milliseconds
            words = [int(w) for w in ask("pins").split()]
            self._now, self._until = words[0], words[1]
            self._plan = words[2:]
        while self._plan and now >= self._plan[0]:
            self._now = self._plan[1]
            del self._plan[:2]
        return self._now


_levels = _Levels()


class Pin:
    IN, OUT, OPEN_DRAIN = 1, 3, 7
    PULL_UP = 2

    selected = -1  # output that is low, i.e. the chip selected on the bus

    def __init__(self, pin, mode=-1, pull=-1, value=None):
        self.number = pin
        self._out = mode == Pin.OUT
        self._value = 1 if value is None else value
        self.lamp = self._out and value == 0

    def value(self, level=None):
        if level is None:
            return self._value if self._out else _levels.get() >> self.number & 1
        if self._out and level != self._value:
            self._value = level
            if self.lamp:
                ask("out", self.number, int(level))
            elif not level:
                Pin.selected = self.number
                SPI.first = 1
            elif Pin.selected == self.number:
                Pin.selected = -1
        return None

    __call__ = value


class SPI:
    first = 1

    def __init__(self, bus, baudrate=1000000, polarity=0, phase=0, sck=None, mosi=None, miso=None):
        self._mode = polarity << 1 | phase

    def init(self, baudrate=1000000, polarity=0, phase=0):
        self._mode = polarity << 1 | phase

    def write_readinto(self, out, into):
        answer = ask("spi", Pin.selected, self._mode, SPI.first, _hex(out))
        SPI.first = 0
        into[:] = binascii.unhexlify(answer)


class ADC:
    ATTN_11DB = 3

    def __init__(self, pin, atten=None):
        self._pin = pin.number
        self._at = -1
        self._uv = 0
        self._wave = ()

    def read_uv(self):
        now = time.ticks_ms()
        if now - self._at > (50 if self._wave else 0):
            # "uV", or "uV peak hertz" for a wave on top of it
            self._at = now
            self._uv, *self._wave = [int(w) for w in ask("adc", self._pin).split()]
        if not self._wave:
            return self._uv
        peak_uv, hertz = self._wave
        turn = time.ticks_us() * hertz % 1000000 / 1000000
        return min(3300000, max(0, self._uv + int(peak_uv * math.sin(2 * math.pi * turn))))


class WDT:
    def __init__(self, timeout=5000):
        self._timeout = timeout
        self.feed()

    def feed(self):
        ask("wdt", self._timeout)


class RTC:
    def datetime(self, parts):
        ask("clock", "%04d-%02d-%02dT%02d:%02d:%02d" % (parts[0], parts[1], parts[2], parts[4], parts[5], parts[6]))

    def memory(self, data=None):
        if data is not None:
            with open("rtc.tmp", "wb") as f:
                f.write(data)
            os.rename("rtc.tmp", "rtc.bin")  # the process may be killed at any moment
            return None
        try:
            with open("rtc.bin", "rb") as f:
                return f.read()
        except OSError:
            return b""


def unique_id():
    return binascii.unhexlify(ask("id"))


def reset_cause():
    return int(os.getenv("SOOTLINE_BENCH_RESET") or PWRON_RESET)


def reset():
    ask("reset")
    sys.exit(64)


def _hex(data):
    return binascii.hexlify(data).decode()


if VIRTUAL:
    time.tick_host = lambda: ask("now")
