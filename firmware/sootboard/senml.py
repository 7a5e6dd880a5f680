"""A frame as a SenML pack (RFC 8428, JSON): fixed text, so that the bytes are the same on every interpreter."""

from . import channels
from .frame import Frame


def seconds(ms):
    """Milliseconds as decimal seconds."""
    return "%d.%03d" % (ms // 1000, ms % 1000)


def decimal(value, places):
    """The integer `value` x 10**-places as decimal text."""
    if not places:
        return str(value)
    scale = 10**places
    text = "%0*d" % (places, abs(value) % scale)
    return "%s%d.%s" % ("-" if value < 0 else "", abs(value) // scale, text)


def _row(row, dt_ms, state_mask):
    t = ',"t":' + seconds(dt_ms) if dt_ms else ""
    if row.full:
        for i, (name, (unit, places)) in enumerate(channels.NUMERIC):
            if i in row.faults:
                yield ',{"n":"%s/fault"%s,"vs":"%s"}' % (name, t, channels.FAULTS[row.faults[i]])
            elif i in row.values:
                yield ',{"n":"%s"%s,"u":"%s","v":%s}' % (name, t, unit, decimal(row.values[i], places))
    for i, name in enumerate(channels.SWITCHED):
        if state_mask >> i & 1:
            on = "true" if row.states >> i & 1 else "false"
            s = ""
            if name in channels.SUMMED:
                s = ',"s":' + seconds(row.sums[channels.SUMMED.index(name)])
            yield ',{"n":"%s"%s,"vb":%s%s}' % (name, t, on, s)


def _texts(furnace, frame):
    bt = ',"bt":' + seconds(frame.utc_ms) if frame.utc_ms else ""
    yield '[{"bn":"%s/"%s,"n":"boot","vs":"%08x"},{"n":"seq","v":%d}' % (furnace, bt, frame.boot, frame.seq)
    yield ',{"n":"uptime","u":"s","v":%s}' % seconds(frame.uptime_ms)
    for row in frame.rows():
        for text in _row(row, row.uptime_ms - frame.uptime_ms, frame.state_mask):
            yield text
    yield "]"


class Pack:
    """The pack of a frame, made while it is sent: a whole pack is more than memory holds.

    Base time is the first row's; `uptime` says when that was.
    """

    def __init__(self, furnace, data):
        self._furnace = furnace
        self._data = data
        self._size = 0
        for text in _texts(furnace, Frame(data)):
            self._size += len(text)

    def __len__(self):
        return self._size

    def pieces(self):
        """The pack's bytes, some tens at a time."""
        for text in _texts(self._furnace, Frame(self._data)):
            yield text.encode()


def pack(furnace, data):
    """Bytes of the pack for the frame `data`."""
    return b"".join(Pack(furnace, data).pieces())
