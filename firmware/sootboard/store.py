"""Frames on flash: append-only segment files of one erase block, oldest deleted first, nothing rewritten.

Every append is one flush, which costs littlefs about one block erase; callers hand over some tens of rows
at a time. A segment is deleted when all its frames are acknowledged, so a reset repeats at most one segment.
"""

import os

from micropython import const

from . import frame

_SEGMENT_BYTES = const(4096)
_KEEP_FREE = const(10)  # percent of the file system that littlefs needs for its own copies


def _numbers(directory):
    """The numbers of the segments there, in no order."""
    for entry in getattr(os, "ilistdir", os.listdir)(directory):
        name = entry if isinstance(entry, str) else entry[0]
        if name.endswith(".seg"):
            yield int(name[:-4])


class Store:
    def __init__(self, directory):
        self._directory = directory
        # Numbers of the oldest and the newest segment; a list of all would be long after a long outage.
        self._first = 1
        self._last = 0
        for number in _numbers(directory):
            self._first = min(number, self._first) if self._last else number
            self._last = max(number, self._last)
        # What was torn off at the end of the last segment stays there; new frames get a new one.
        self._tail_bytes = _SEGMENT_BYTES if self._last else 0
        self._at = 0  # in the first segment
        self._head = None
        self.bad_frames = 0
        self.dropped_segments = 0
        self.failures = 0

    def _count(self):
        return self._last - self._first + 1

    def _path(self, number):
        return "%s/%08d.seg" % (self._directory, number)

    def append(self, frames):
        """Keep `frames`, flushed. False if the file system refuses even after making room."""
        size = 0
        for data in frames:
            size += len(data)
        self._make_room()
        for _ in range(2):
            try:
                self._write(frames, size)
                return True
            except OSError:
                self.failures += 1
                if not self._drop_oldest():
                    return False
        return False

    def _write(self, frames, size):
        if not self._count() or self._tail_bytes + size > _SEGMENT_BYTES:
            self._last += 1
            self._tail_bytes = 0
        # Counted before writing: after a failure the rest goes to a new segment.
        before, self._tail_bytes = self._tail_bytes, _SEGMENT_BYTES
        with open(self._path(self._last), "ab") as f:
            for data in frames:
                f.write(data)
        self._tail_bytes = before + size

    def _make_room(self):
        while self._count() > 1:
            status = os.statvfs(self._directory)
            if status[3] * 100 >= status[2] * _KEEP_FREE:
                return
            self._drop_oldest()

    def _drop_oldest(self):
        if self._count() < 2:
            return False
        self.dropped_segments += 1
        self._remove_first()
        return True

    def _remove_first(self):
        number = self._first
        self._first += 1
        self._at = 0
        self._head = None
        try:
            os.remove(self._path(number))
        except OSError:
            self.failures += 1

    def first(self):
        """The oldest frame, or None."""
        while self._head is None and self._count():
            data, self._at = self._read(self._first, self._at)
            if data is None:
                self._remove_first()
            else:
                self._head = data
        return self._head

    def pop(self):
        """Forget the oldest frame."""
        if self._head is not None:
            self._at += len(self._head)
            self._head = None
            if self._count() == 1 and self._at >= self._tail_bytes:
                self._remove_first()

    def _read(self, number, at):
        """The next intact frame at or after `at`: `(frame, where)`, or `(None, at)` at the end."""
        try:
            with open(self._path(number), "rb") as f:
                f.seek(at)
                rest = f.read(frame.HEAD_BYTES)
                if len(rest) < frame.HEAD_BYTES:
                    return None, at
                size = frame.length(rest)
                if size:
                    data = rest + f.read(size - frame.HEAD_BYTES)
                    if frame.intact(data):
                        return data, at
                self.bad_frames += 1
                f.seek(at + 1)
                rest = f.read(_SEGMENT_BYTES)
        except OSError:
            self.failures += 1
            return None, at
        skip = rest.find(frame.MAGIC)
        while skip >= 0:
            size = frame.length(rest[skip : skip + frame.HEAD_BYTES])
            if size and frame.intact(rest[skip : skip + size]):
                return rest[skip : skip + size], at + 1 + skip
            skip = rest.find(frame.MAGIC, skip + 1)
        return None, at

    def waiting_bytes(self):
        """Bytes not yet acknowledged, earlier segments taken as full."""
        if not self._count():
            return 0
        return (self._count() - 1) * _SEGMENT_BYTES + self._tail_bytes - self._at
