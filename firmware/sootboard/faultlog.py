"""The last exceptions, appended to a file so that they survive the reset that follows."""

import os
import sys

from micropython import const

FILE_BYTES = 8000  # then the file becomes the old one
_SHORT = const(3)


class FaultLog:
    """Nothing here raises: a file system that refuses, or a full heap, is counted in `refused`."""

    def __init__(self, path, clock):
        self._path = path
        self._clock = clock
        self.short = []  # the newest entries in a line each, for the announcement
        self.refused = 0
        try:
            with open(path) as f:
                for line in f:
                    if line.startswith("* "):
                        self._remember(line[2:-1])
        except (OSError, ValueError):
            pass

    def _remember(self, line):
        self.short.append(line[:120])
        del self.short[:-_SHORT]

    def record(self, task, error, text):
        """Keep what happened in `task`: an exception, or a text."""
        try:
            if error is not None:
                text = "%s %s" % (type(error).__name__, error)
            line = "%s at %d s: %s" % (task, self._clock.uptime_ms() // 1000, text)
            self._remember(line)
            with open(self._path, "a") as f:
                f.write("* " + line + "\n")
                if error is not None:
                    sys.print_exception(error, f)
            if os.stat(self._path)[6] > FILE_BYTES:
                os.rename(self._path, self._path + ".old")
        except Exception:
            self.refused += 1
