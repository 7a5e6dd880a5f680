"""Rows of readings and their compact form: a frame, which becomes exactly one SenML pack.

A frame holds boot, seq, and up to some tens of rows as differences. Kept in memory, on flash and rebuilt
after a reset, it always turns into the same pack.
"""

import binascii
import struct

from micropython import const

from . import channels

MAGIC = b"\xb5\x7e"
HEAD_BYTES = 8
_MAX_BYTES = const(2048)

_ROW_FULL = const(1)
_ROW_STATES = const(2)
_ROW_FAULTS = const(4)
_ROW_PRESENT = const(8)  # other values are present than in the row before

_SUMMED_BITS = tuple([channels.SWITCHED.index(name) for name in channels.SUMMED])


class Row:
    """Readings of one moment. `values` and `faults` are keyed by position in channels.NUMERIC.

    A row with `full` False carries only the on/off states (the record of a change).
    """

    def __init__(self, uptime_ms, utc_ms, full, states, sums, values, faults):
        self.uptime_ms = uptime_ms
        self.utc_ms = utc_ms
        self.full = full
        self.states = states  # bits by position in channels.SWITCHED
        self.sums = sums  # ms on since boot, in the order of channels.SUMMED
        self.values = values
        self.faults = faults  # position -> position in channels.FAULTS


def advance(sums, states, dt_ms):
    """`sums` after `dt_ms` in `states`."""
    out = []
    for i, bit in enumerate(_SUMMED_BITS):
        out.append(sums[i] + (dt_ms if states >> bit & 1 else 0))
    return out


def _put(out, n):
    while n > 127:
        out.append(n & 127 | 128)
        n >>= 7
    out.append(n)


def _put_signed(out, n):
    _put(out, n * 2 if n >= 0 else -n * 2 - 1)


class _Reader:
    def __init__(self, data, at):
        self.data = data
        self.at = at

    def get(self):
        n = 0
        shift = 0
        while True:
            b = self.data[self.at]
            self.at += 1
            n |= (b & 127) << shift
            if b < 128:
                return n
            shift += 7

    def signed(self):
        n = self.get()
        return -(n + 1 >> 1) if n & 1 else n >> 1


class Writer:
    """A frame that grows by a row at a time (same boot, times rising, at most 127 rows): far smaller than the rows."""

    def __init__(self, boot, seq, state_mask, first):
        self.uptime_ms = first.uptime_ms
        self.utc_ms = first.utc_ms
        self.count = 0
        out = self._out = bytearray(HEAD_BYTES)
        _put(out, boot)
        _put(out, seq)
        _put(out, state_mask)
        _put(out, first.uptime_ms)
        _put(out, first.utc_ms)
        for s in first.sums:
            _put(out, s)
        self._count_at = len(out)
        out.append(0)
        self._last_ms = first.uptime_ms
        self._last_dt = 0
        self._states = None
        self._present = 0
        self._values: dict[int, int] = {}

    def add(self, row):
        """Take the next row, the first one included."""
        out = self._out
        self.count += 1
        # Rows come at a steady pace, so the change of the step is the smaller number.
        dt = row.uptime_ms - self._last_ms
        _put_signed(out, dt - self._last_dt)
        self._last_ms = row.uptime_ms
        self._last_dt = dt
        present = 0
        for i in row.values:
            present |= 1 << i
        flags = (_ROW_FULL if row.full else 0) | (_ROW_STATES if row.states != self._states else 0)
        if row.full:
            flags |= (_ROW_FAULTS if row.faults else 0) | (_ROW_PRESENT if present != self._present else 0)
        out.append(flags)
        if flags & _ROW_STATES:
            self._states = row.states
            _put(out, row.states)
        if flags & _ROW_PRESENT:
            self._present = present
            _put(out, present)
        if row.full:
            _put_values(out, row, self._values)
            if row.faults:
                _put_faults(out, row.faults)

    def data(self):
        """The frame so far: magic, length u16, CRC-32, body."""
        out = self._out
        out[:2] = MAGIC
        out[self._count_at] = self.count
        struct.pack_into("<H", out, 2, len(out))
        struct.pack_into("<I", out, 4, _crc(out))
        return bytes(out)


def _put_values(out, row, last_values):
    changed = 0
    for i in row.values:
        if row.values[i] != last_values.get(i, 0):
            changed |= 1 << i
    _put(out, changed)
    for i in range(len(channels.NUMERIC)):
        if changed >> i & 1:
            _put_signed(out, row.values[i] - last_values.get(i, 0))
            last_values[i] = row.values[i]


def _put_faults(out, faults):
    _put(out, len(faults))
    for i in sorted(faults):
        out.append(i)
        out.append(faults[i])


def _crc(data):
    # The length is covered too.
    return binascii.crc32(memoryview(data)[HEAD_BYTES:], binascii.crc32(memoryview(data)[2:4])) & 0xFFFFFFFF


def length(head):
    """Bytes of the whole frame that starts with `head` (8 bytes); 0 if no frame starts so."""
    if len(head) < HEAD_BYTES or head[:2] != MAGIC:
        return 0
    size = struct.unpack_from("<H", head, 2)[0]
    return size if HEAD_BYTES < size <= _MAX_BYTES else 0


def intact(data):
    """True if `data` is one whole frame with a good CRC."""
    if length(data[:HEAD_BYTES]) != len(data):
        return False
    return struct.unpack_from("<I", data, 4)[0] == _crc(data)


def split(data):
    """The intact frames that `data` holds one after the other, up to the first that is not."""
    out: list[bytes] = []
    at = 0
    while True:
        size = length(data[at : at + HEAD_BYTES])
        if not size or not intact(data[at : at + size]):
            return out
        out.append(data[at : at + size])
        at += size


class Frame:
    """A frame being read: header fields, then `rows()`."""

    def __init__(self, data):
        r = self._reader = _Reader(data, HEAD_BYTES)
        self.data = data
        self.boot = r.get()
        self.seq = r.get()
        self.state_mask = r.get()
        self.uptime_ms = r.get()
        self.utc_ms = r.get()
        self._sums = [r.get() for _ in channels.SUMMED]
        self.count = r.get()

    def rows(self):
        """The rows, one after the other. May be walked once."""
        r = self._reader
        at_ms = self.uptime_ms
        sums = self._sums
        states = 0
        dt = 0
        present = 0
        last: dict[int, int] = {}
        for n in range(self.count):
            dt += r.signed()
            at_ms += dt
            if n:
                sums = advance(sums, states, dt)
            flags = r.data[r.at]
            r.at += 1
            if flags & _ROW_STATES:
                states = r.get()
            values = {}
            faults = {}
            if flags & _ROW_PRESENT:
                present = r.get()
            if flags & _ROW_FULL:
                changed = r.get()
                for i in range(len(channels.NUMERIC)):
                    if changed >> i & 1:
                        last[i] = last.get(i, 0) + r.signed()
                    if present >> i & 1:
                        values[i] = last.get(i, 0)
            if flags & _ROW_FAULTS:
                for _ in range(r.get()):
                    faults[r.data[r.at]] = r.data[r.at + 1]
                    r.at += 2
            yield Row(at_ms, 0, bool(flags & _ROW_FULL), states, sums, values, faults)
