"""Rows waiting for the broker: live ones first, then the backlog, each frame repeated unchanged until acknowledged."""

from . import frame

BATCH = 20  # rows a frame while nobody listens
LIVE_FRAMES = 4  # more than these unacknowledged: rows are batched


class Outbox:
    """Backlog in memory, bounded: the oldest frames are dropped and counted."""

    def __init__(self, boot, state_mask, changed, limit_bytes=12000):
        self._boot = boot
        self._mask = state_mask
        self._changed = changed  # called when there is something to send
        self._limit = limit_bytes
        self._open = []
        self._live = []
        self._backlog = []
        self._bytes = 0
        self._online = False
        self.seq = 0
        self.dropped_rows = 0

    def put(self, row):
        """Take a row of this boot, in order of time."""
        if self._open and bool(self._open[0].utc_ms) != bool(row.utc_ms):
            self._close()  # a pack has either absolute or relative times
        self._open.append(row)
        if len(self._open) >= BATCH or (self._online and len(self._live) < LIVE_FRAMES):
            self._close()

    def _close(self):
        if not self._open:
            return
        data = frame.encode(self._boot, self.seq, self._mask, self._open)
        self.seq += 1
        self._open = []
        if self._online:
            self._live.append(data)
        else:
            self._store(data)
        self._changed()

    def _store(self, data):
        self._backlog.append(data)
        self._bytes += len(data)
        while self._bytes > self._limit:
            old = self._backlog.pop(0)
            self._bytes -= len(old)
            self.dropped_rows += frame.Frame(old).count

    def online(self):
        """The broker listens: what was gathered becomes backlog, new rows go out at once."""
        self._close()
        self._online = True

    def offline(self):
        """What was sent and not acknowledged joins the backlog as it is."""
        self._online = False
        live, self._live = self._live, []
        for data in live:
            self._store(data)

    def flush(self):
        self._close()

    def next(self):
        """The frame to send now, or None. It stays until `acked()`."""
        if self._live:
            return self._live[0]
        if self._open and self._online:
            self._close()
            return self._live[0]
        return self._backlog[0] if self._backlog else None

    def acked(self, data):
        if self._live and self._live[0] is data:
            self._live.pop(0)
        elif self._backlog and self._backlog[0] is data:
            self._backlog.pop(0)
            self._bytes -= len(data)

    def buffered(self):
        """Rows that wait."""
        n = len(self._open)
        for data in self._live + self._backlog:
            n += frame.Frame(data).count
        return n

    def oldest_ms(self):
        """Uptime of the oldest row of this boot that waits; None when nothing does."""
        for data in self._backlog + self._live:
            head = frame.Frame(data)
            if head.boot == self._boot:
                return head.uptime_ms
        return self._open[0].uptime_ms if self._open else None
