"""Importing this puts asyncio on virtual time, SOOTLINE_BENCH_SPEED times as fast as real (0: as it goes).

While an answer from the network is awaited the clock keeps real pace, so time-outs mean what they say. A pause in which
the computer does not let this process run at all is no time on the board.
"""

import asyncio.core
import os
import sys
import time

import utime

_LOOK_EVERY = 16  # waits without an awaited answer between looks at the sockets
_MOST_MS = 50  # a wait of 5 ms that took longer than this was held up

_speed = float(os.getenv("SOOTLINE_BENCH_SPEED") or 0)
_start_virtual = time.ticks_ms()
_start_real = utime.ticks_ms()
_poll = asyncio.core.IOQueue.wait_io_event
_waiting = False
_skipped = 0


def _awaited():
    """How many answers are awaited; the board code may not be loaded yet."""
    module = sys.modules.get("sootboard.waiting")
    return module.Waiting.count if module else 0


def _due(queue):
    task = asyncio.core._task_queue.peek()
    return task is not None and utime.ticks_diff(task.ph_key, time.ticks_ms()) <= 0


def _wait(queue, dt):
    global _waiting, _skipped
    if dt != 0 and _awaited():
        if not _waiting:
            _waiting = True
            time.tick_host()
        before = utime.ticks_ms()
        _poll(queue, 5 if dt < 0 else min(5, dt))
        now = utime.ticks_ms()
        # New tasks are stamped with the real counter: behind it, they would come late.
        taken = min(_MOST_MS, utime.ticks_diff(now, before))
        time.advance(max(taken, utime.ticks_diff(now, time.ticks_ms())))
        return
    _waiting = False
    _skipped += 1
    if _skipped == _LOOK_EVERY:
        _skipped = 0
        _poll(queue, 0)
    if dt <= 0 or _due(queue):
        return
    if _speed:
        ahead = (time.ticks_ms() + dt - _start_virtual) / _speed - (utime.ticks_ms() - _start_real)
        if ahead > 1:
            _poll(queue, int(min(ahead, dt)))
            if _due(queue):
                return
            elapsed = int((utime.ticks_ms() - _start_real) * _speed) - (time.ticks_ms() - _start_virtual)
            time.advance(max(0, min(dt, elapsed)))
            return
    time.advance(dt)


asyncio.core.IOQueue.wait_io_event = _wait
