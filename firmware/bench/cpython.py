"""Runs main.py under CPython, where no MicroPython binary exists: the few names that differ are filled in."""

import asyncio
import gc
import sys
import time
import traceback

_start_ns = time.monotonic_ns()


async def _sleep_ms(ms):
    await asyncio.sleep(ms / 1000)


time.ticks_ms = lambda: (time.monotonic_ns() - _start_ns) // 1_000_000
time.ticks_us = lambda: (time.monotonic_ns() - _start_ns) // 1000
time.ticks_diff = lambda a, b: a - b
time.ticks_add = lambda a, b: a + b
time.sleep_ms = lambda ms: time.sleep(ms / 1000)
asyncio.sleep_ms = _sleep_ms
gc.mem_free = lambda: 0
gc.mem_alloc = lambda: 0
gc.threshold = lambda *n: None
sys.print_exception = lambda e, f=sys.stderr: traceback.print_exception(e, file=f)

import main  # noqa: E402

main.main()
