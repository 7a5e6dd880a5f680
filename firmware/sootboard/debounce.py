"""Debouncing of a filtered input that is polled at a steady pace."""

BOOT_MUTE_MS = 300  # the input filters charge


class Debounce:
    """A level counts once it was seen `samples` times running.

    `update(level, t_ms)` returns None, or `(state, t_first_edge_ms)` when the state changed. During the
    first `mute_ms` nothing counts; the first state after that is reported like a change.
    """

    def __init__(self, samples=3, mute_ms=BOOT_MUTE_MS):
        self.samples = samples
        self.mute_ms = mute_ms
        self.state = None
        self._start_ms = None
        self._candidate = None
        self._count = 0
        self._edge_ms = 0

    def pending(self):
        """True while a change is under way that does not count yet."""
        return self._count > 0

    def update(self, level, t_ms):
        level = bool(level)
        if self._start_ms is None:
            self._start_ms = t_ms
        if t_ms - self._start_ms < self.mute_ms:
            return None
        if level == self.state:
            self._count = 0
            return None
        if self._count == 0 or level != self._candidate:
            self._candidate = level
            self._edge_ms = t_ms
            self._count = 0
        self._count += 1
        if self._count < self.samples:
            return None
        self._count = 0
        self.state = level
        return level, self._edge_ms
