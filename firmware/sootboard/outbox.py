"""Rows waiting for the broker: live ones first, then the backlog, each frame repeated unchanged until acknowledged.

The backlog is on flash where there is a store, else in memory. The newest part of it, and rows that do not
fill a batch yet, are in memory, with a copy in memory that outlives a reset where the board has it.
"""

from micropython import const

from . import frame

_BATCH = const(24)  # rows a frame, and rows a flash write, while nobody listens
_RECORD_BYTES = const(40)  # of one channel in a pack
_LIVE_FRAMES = const(4)  # more than these unacknowledged: rows are batched
_PACK_BYTES = const(8192)  # about as much as one pack may have
_ROW_BYTES = const(10)  # usual size on flash, to tell how many rows wait there


def rows_a_pack(channels):
    """Rows of `channels` channels that one pack holds."""
    return max(1, min(_BATCH, (_PACK_BYTES - 300) // (_RECORD_BYTES * channels)))


class Outbox:
    """`store` is a store.Store or None; `keep(data)` copies bytes to memory that outlives a reset, or None."""

    def __init__(self, boot, state_mask, store=None, keep=None, limit_bytes=12000, batch=_BATCH):
        self._boot = boot
        self._mask = state_mask
        self.changed = None  # called when there is something to send
        self._backing = store
        self._keep = keep
        self._limit = limit_bytes  # of frames in memory
        self._batch = batch
        self._open = None  # the frame that takes rows now, a frame.Writer
        self._live = []
        self._waiting = []  # newest part of the backlog
        self._waiting_rows = 0
        self._waiting_bytes = 0
        self._online = False
        self.seq = 0
        self.dropped_rows = 0

    def restore(self, data):
        """Take over what an earlier boot left in the memory that outlives a reset."""
        for kept in frame.split(data):
            self._store(kept)

    def put(self, row):
        """Take a row of this boot, in order of time."""
        if self._open and bool(self._open.utc_ms) != bool(row.utc_ms):
            self._close()  # a pack has either absolute or relative times
        if self._open is None:
            self._open = frame.Writer(self._boot, self.seq, self._mask, row)
        self._open.add(row)
        if self._open.count >= self._batch or (self._online and len(self._live) < _LIVE_FRAMES):
            self._close()
        self._copy()

    def _close(self):
        if self._open is None:
            return
        data = self._open.data()
        self.seq += 1
        self._open = None
        if self._online:
            self._live.append(data)
        else:
            self._store(data)
        if self.changed:
            self.changed()

    def _copy(self):
        if self._keep:
            parts = self._waiting + self._live
            if self._open:
                parts.append(self._open.data())
            self._keep(parts)

    def _store(self, data):
        self._waiting.append(data)
        self._waiting_rows += frame.Frame(data).count
        self._waiting_bytes += len(data)
        if self._backing and self._waiting_rows >= self._batch and self._backing.append(self._waiting):
            self._waiting = []
            self._waiting_rows = self._waiting_bytes = 0
        while self._waiting_bytes > self._limit:
            self.dropped_rows += self._drop_waiting()

    def _drop_waiting(self):
        old = self._waiting.pop(0)
        rows = frame.Frame(old).count
        self._waiting_rows -= rows
        self._waiting_bytes -= len(old)
        return rows

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
        stored = self._backing.first() if self._backing else None
        if stored:
            return stored
        return self._waiting[0] if self._waiting else None

    def acked(self, data):
        """The broker has `data`, wherever it has moved meanwhile."""
        if self._live and self._live[0] == data:
            self._live.pop(0)
        elif self._backing and self._backing.first() == data:
            self._backing.pop()
        elif self._waiting and self._waiting[0] == data:
            self._drop_waiting()

    def buffered(self):
        """Rows that wait; those on flash are estimated from their size."""
        n = (self._open.count if self._open else 0) + self._waiting_rows
        for data in self._live:
            n += frame.Frame(data).count
        return n + (self._backing.waiting_bytes() // _ROW_BYTES if self._backing else 0)

    def oldest_ms(self):
        """`(utc_ms, uptime_ms)` of the oldest row that waits, the latter only within this boot; None when none."""
        data = (self._backing.first() if self._backing else None) or (self._waiting + self._live + [None])[0]
        if data:
            head = frame.Frame(data)
            return head.utc_ms, head.uptime_ms if head.boot == self._boot else None
        return (self._open.utc_ms, self._open.uptime_ms) if self._open else None
