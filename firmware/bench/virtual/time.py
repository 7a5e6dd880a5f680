"""Virtual clock: stands still while the program runs and jumps while it sleeps."""

import utime

# Never behind the real counter: the task queue of the port stamps with that.
_now = utime.ticks_ms()
_looks_us = 0
ticks_diff = utime.ticks_diff
ticks_add = utime.ticks_add
gmtime = utime.gmtime
localtime = utime.localtime


def ticks_ms():
    return _now


def ticks_us():
    """Every look takes some time, or a program that waits for a moment would wait for ever."""
    global _looks_us
    _looks_us += 40
    return _now * 1000 + _looks_us


def advance(ms):
    global _now
    _now += ms


def sleep_ms(ms):
    advance(ms)


def sleep_us(us):
    pass


def sleep(s):
    advance(int(s * 1000))


def time():
    return _now // 1000


def tick_host():
    """Replaced by the fake machine: tells the bench what time it is here."""
