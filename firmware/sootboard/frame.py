"""Rows of readings and their compact form: a frame, which becomes exactly one SenML pack.

A frame holds boot, seq, and up to some tens of rows as differences. Kept in memory, on flash and rebuilt
after a reset, it always turns into the same pack.
"""

import binascii
import struct

from . import channels

ROW_FULL = 1
ROW_STATES = 2
ROW_FAULTS = 4

_SUMMED_BITS = tuple(channels.SWITCHED_INDEX[name] for name in channels.SUMMED)


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


def encode(boot, seq, state_mask, rows):
    """The frame of `rows` (same boot, times rising): length u16, CRC-32, body."""
    out = bytearray(6)
    _put(out, boot)
    _put(out, seq)
    _put(out, state_mask)
    first = rows[0]
    _put(out, first.uptime_ms)
    _put(out, first.utc_ms)
    for s in first.sums:
        _put(out, s)
    _put(out, len(rows))
    last_ms = first.uptime_ms
    states = None
    last_values = {}
    for row in rows:
        _put(out, row.uptime_ms - last_ms)
        last_ms = row.uptime_ms
        flags = (ROW_FULL if row.full else 0) | (ROW_STATES if row.states != states else 0)
        if row.full and row.faults:
            flags |= ROW_FAULTS
        out.append(flags)
        if row.states != states:
            states = row.states
            _put(out, states)
        if row.full:
            _put_values(out, row, last_values)
            if row.faults:
                _put_faults(out, row.faults)
    struct.pack_into("<H", out, 0, len(out) - 6)
    struct.pack_into("<I", out, 2, binascii.crc32(memoryview(out)[6:]) & 0xFFFFFFFF)
    return bytes(out)


def _put_values(out, row, last_values):
    present = 0
    changed = 0
    for i in row.values:
        present |= 1 << i
        if row.values[i] != last_values.get(i, 0):
            changed |= 1 << i
    _put(out, present)
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


def length(head):
    """Bytes of the whole frame that starts with `head` (6 bytes)."""
    return struct.unpack_from("<H", head, 0)[0] + 6


def intact(data):
    """True if `data` is one whole frame with a good CRC."""
    if len(data) < 12 or length(data) != len(data):
        return False
    return struct.unpack_from("<I", data, 2)[0] == binascii.crc32(memoryview(data)[6:]) & 0xFFFFFFFF


class Frame:
    """A frame being read: header fields, then `rows()`."""

    def __init__(self, data):
        r = self._reader = _Reader(data, 6)
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
        last = {}
        for n in range(self.count):
            dt = r.get()
            at_ms += dt
            if n:
                sums = advance(sums, states, dt)
            flags = r.data[r.at]
            r.at += 1
            if flags & ROW_STATES:
                states = r.get()
            values = {}
            faults = {}
            if flags & ROW_FULL:
                present = r.get()
                changed = r.get()
                for i in range(len(channels.NUMERIC)):
                    if changed >> i & 1:
                        last[i] = last.get(i, 0) + r.signed()
                    if present >> i & 1:
                        values[i] = last.get(i, 0)
            if flags & ROW_FAULTS:
                for _ in range(r.get()):
                    faults[r.data[r.at]] = r.data[r.at + 1]
                    r.at += 2
            yield Row(at_ms, 0, bool(flags & ROW_FULL), states, sums, values, faults)
