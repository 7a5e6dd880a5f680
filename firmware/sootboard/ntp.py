"""Time from the host by SNTP (RFC 4330): asked without blocking, believed only after checks, median of three."""

import asyncio
import os
import socket
import struct

from micropython import const

from .waiting import Waiting

_TO_UNIX_S = const(2208988800)  # 1900 to 1970
_ERA_S = const(1 << 32)
_EARLIEST_MS = const(1764028800 * 1000)  # this software is younger
_LATEST_MS = const(_EARLIEST_MS + 20 * 31557600 * 1000)
_ANSWER_MS = const(1000)


def request(nonce):
    """Client packet, version 4; the eight bytes `nonce` come back as originate time."""
    return b"\x23" + b"\x00" * 39 + nonce


def parse(answer, nonce):
    """Server's transmit time as Unix milliseconds, or None for an answer that may not be believed."""
    if len(answer) < 48 or answer[24:32] != nonce:
        return None
    leap, mode, stratum = answer[0] >> 6, answer[0] & 7, answer[1]
    if leap == 3 or mode != 4 or not 1 <= stratum <= 15:
        return None
    seconds, fraction = struct.unpack(">II", answer[40:48])
    if seconds < _TO_UNIX_S:
        seconds += _ERA_S  # the era that begins in 2036
    utc_ms = (seconds - _TO_UNIX_S) * 1000 + (fraction * 1000 >> 32)
    return utc_ms if _EARLIEST_MS <= utc_ms <= _LATEST_MS else None


def address(host, port):
    """Where the server is; a name is looked up, which blocks, so this is done once."""
    return socket.getaddrinfo(host, port, 0, socket.SOCK_DGRAM)[0][-1]


async def offset_ms(server, clock):
    """UTC minus `clock`'s uptime [ms] as the server at the address `server` sees it, median of three; or None."""
    offsets = []
    for _ in range(3):
        offset = await _ask(server, clock)
        if offset is not None:
            offsets.append(offset)
    return sorted(offsets)[len(offsets) // 2] if offsets else None


async def _ask(server, clock):
    s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    nonce = os.urandom(8)
    Waiting.count += 1
    try:
        s.setblocking(False)
        sent_ms = clock.uptime_ms()
        s.sendto(request(nonce), server)
        while True:
            await asyncio.sleep_ms(5)
            now = clock.uptime_ms()
            try:
                answer, _ = s.recvfrom(64)
            except OSError:
                if now - sent_ms > _ANSWER_MS:
                    return None
                continue
            utc_ms = parse(answer, nonce)
            if utc_ms is not None:
                return utc_ms - (sent_ms + now) // 2
    except OSError:
        return None
    finally:
        Waiting.count -= 1
        s.close()
