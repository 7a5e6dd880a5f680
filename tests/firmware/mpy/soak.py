"""The whole application in virtual time, with a look at the heap now and then."""

import pace  # noqa: F401

# isort: split
import asyncio
import gc

gc.threshold(8192)

from sootboard import app as application  # noqa: E402

LOOK_S = 300
NEEDED = 17000  # what a TLS session takes in one piece on boards whose TLS lives in this heap


def can_have(size):
    return len(bytearray(size))


async def look():
    n = 0
    while True:
        await asyncio.sleep(LOOK_S)
        n += 1
        gc.collect()
        print("look_" + str(n), gc.mem_alloc(), can_have(NEEDED))


_run = application.App.run


async def run(self):
    task = asyncio.create_task(look())
    await _run(self)
    task.cancel()


application.App.run = run
application.main()
