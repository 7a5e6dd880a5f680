"""A frame as a SenML pack (RFC 8428, JSON): fixed text, so that the bytes are the same on every interpreter."""

from . import channels


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


def _row(out, row, dt_ms, state_mask):
    t = ',"t":' + seconds(dt_ms) if dt_ms else ""
    if row.full:
        for i, (name, unit, places) in enumerate(channels.NUMERIC):
            if i in row.faults:
                out.append(',{"n":"%s/fault"%s,"vs":"%s"}' % (name, t, channels.FAULTS[row.faults[i]]))
            elif i in row.values:
                out.append(',{"n":"%s"%s,"u":"%s","v":%s}' % (name, t, unit, decimal(row.values[i], places)))
    for i, name in enumerate(channels.SWITCHED):
        if state_mask >> i & 1:
            on = "true" if row.states >> i & 1 else "false"
            s = ""
            if name in channels.SUMMED:
                s = ',"s":' + seconds(row.sums[channels.SUMMED.index(name)])
            out.append(',{"n":"%s"%s,"vb":%s%s}' % (name, t, on, s))


def pack(furnace, frame):
    """Bytes of the pack for one `frame.Frame`. Base time is the first row's; `uptime` says when that was."""
    out = ['[{"bn":"', furnace, '/"']
    if frame.utc_ms:
        out.append(',"bt":' + seconds(frame.utc_ms))
    out.append(',"n":"boot","vs":"%08x"},{"n":"seq","v":%d}' % (frame.boot, frame.seq))
    out.append(',{"n":"uptime","u":"s","v":%s}' % seconds(frame.uptime_ms))
    for row in frame.rows():
        _row(out, row, row.uptime_ms - frame.uptime_ms, frame.state_mask)
    out.append("]")
    return "".join(out).encode()
