"""Board time as integers of milliseconds: uptime that never steps back, and UTC once it is known."""

import time

EPOCH_2000_S = 946684800


class Clock:
    """Uptime is gathered from the wrapping tick counter, so it must be read at least once in six days."""

    def __init__(self, ticks_ms=None, ticks_diff=None):
        self._ticks_ms = ticks_ms or time.ticks_ms
        self._ticks_diff = ticks_diff or time.ticks_diff
        self._last = self._ticks_ms()
        self._uptime_ms = 0
        self._offset_ms = None
        self.set_at_ms = None  # uptime of the last setting

    def uptime_ms(self):
        now = self._ticks_ms()
        step = self._ticks_diff(now, self._last)
        if step > 0:
            self._uptime_ms += step
            self._last = now
        return self._uptime_ms

    @property
    def synced(self):
        return self._offset_ms is not None

    def utc_ms(self, uptime_ms):
        """Unix time [ms] of a moment of this boot; 0 while the time is not known."""
        return 0 if self._offset_ms is None else uptime_ms + self._offset_ms

    def set_utc(self, utc_ms, uptime_ms):
        """Declare that `uptime_ms` was `utc_ms`. Returns the step [ms] against what was believed before."""
        offset = utc_ms - uptime_ms
        step = 0 if self._offset_ms is None else offset - self._offset_ms
        self._offset_ms = offset
        self.set_at_ms = uptime_ms
        return step


def epoch_s(gmtime=time.gmtime):
    """Unix time of the port's own epoch: ports count from 1970 or from 2000."""
    return EPOCH_2000_S if gmtime(0)[0] == 2000 else 0


def set_rtc(utc_ms):
    """Set the chip's clock too: certificates are checked against it."""
    import machine

    rtc = machine.RTC()
    if hasattr(rtc, "datetime"):
        year, month, day, hour, minute, second, weekday = time.gmtime(utc_ms // 1000 - epoch_s())[:7]
        rtc.datetime((year, month, day, weekday, hour, minute, second, utc_ms % 1000 * 1000))


def paced(read, step_us, into, ticks_us=None, ticks_diff=None):
    """Fill `into` with `read()` at an even pace. False if one of them came a step late or more.

    This holds everything else up, so it is for some tens of milliseconds at most.
    """
    ticks_us = ticks_us or time.ticks_us
    ticks_diff = ticks_diff or time.ticks_diff
    even = True
    start = ticks_us()
    for i in range(len(into)):
        late_us = -1
        while late_us < 0:
            late_us = ticks_diff(ticks_us(), start) - i * step_us
        even = even and late_us < step_us
        into[i] = read()
    return even
