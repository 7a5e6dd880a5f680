"""Stand-in for the port's 1-Wire bit routines. Bytes written travel with the next reset or read."""

from _bench_link import ask

_written = []
_ahead = []


def reset(pin):
    _flush(pin)
    del _ahead[:]
    return ask("ow", pin.number, "reset") == "1"


def writebyte(pin, value):
    del _ahead[:]
    _written.append("%02x" % value)


def readbyte(pin):
    if not _ahead:
        answer = ask("ow", pin.number, "read", "".join(_written) or "-", 9)
        del _written[:]
        for i in range(0, 18, 2):
            _ahead.append(int(answer[i : i + 2], 16))
    return _ahead.pop(0)


def readbit(pin):
    _flush(pin)
    return int(ask("ow", pin.number, "bit"))


def writebit(pin, value):
    _flush(pin)
    ask("ow", pin.number, "put", value)


def _flush(pin):
    if _written:
        ask("ow", pin.number, "write", "".join(_written))
        del _written[:]
