"""Waiting for answers: how many are awaited, over all parts of the board code, and what can come in their place."""

import asyncio

# What a broken link can raise; a refused certificate is a ValueError, a closed stream an EOFError.
ERRORS = (OSError, ValueError, EOFError, AssertionError, asyncio.TimeoutError)


class Waiting:
    count = 0


async def stop(task):
    """End a task, if there is one, and wait until it has ended."""
    if task:
        task.cancel()
        try:
            await task
        except asyncio.CancelledError:
            pass
