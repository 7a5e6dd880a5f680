"""The clock over the wrap of a 30-bit tick counter, read at uneven intervals."""

from sootboard.clock import Clock

PERIOD = 1 << 30
now = PERIOD - 5000
total = 0


def ticks_ms():
    return now % PERIOD


def ticks_diff(a, b):
    return ((a - b + PERIOD // 2) % PERIOD) - PERIOD // 2


clock = Clock(ticks_ms, ticks_diff)
wrong = 0
last = 0
step = 1
for _ in range(20000):
    step = (step * 1103515245 + 12345) % 7_200_000
    now += step
    total += step
    up = clock.uptime_ms()
    if up != total or up < last:
        wrong += 1
    last = up
print("wrong", wrong)
print("wraps", now // PERIOD)
