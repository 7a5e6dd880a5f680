"""Board code of sootline: reads the sensors of one furnace and publishes them. MicroPython 1.28 or later."""

import gc
import sys

VERSION = "0.1.0"


def forget(*names):
    """Let go of modules that are seldom needed: memory is short."""
    package = sys.modules[__name__]
    for name in names:
        sys.modules.pop(__name__ + "." + name, None)
        if hasattr(package, name):
            delattr(package, name)
    gc.collect()
