"""A task for a pool of processes, in a module that its workers can import."""

import os
import signal
import time
from pathlib import Path


def work(folder: str, furnace: str) -> bytes:
    """Notes that it was done; for furnace `b` it ends its own process instead."""
    if furnace == "b":
        os.kill(os.getpid(), signal.SIGKILL)
    Path(folder, f"{furnace}.{time.time_ns()}").touch()
    return furnace.encode()
