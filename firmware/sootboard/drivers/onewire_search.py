"""Search for the ROM ids on a 1-Wire bus; needed while a board is set up, not afterwards."""

import _onewire
from micropython import const

from .onewire_bus import crc8

_SEARCH = const(0xF0)


def scan(bus):
    """ROM ids on the bus whose CRC is good."""
    found = []
    rom = None
    branch = 65
    while branch:
        rom, branch = _search(bus, rom, branch)
        if rom is None:
            break
        if crc8(rom) == 0 and rom[0]:
            found.append(bytes(rom))
    return found


def _search(bus, last, branch):
    """The next ROM after `last` and the branch to take then; `(None, 0)` when nobody answers."""
    if not bus.reset():
        return None, 0
    bus.write(_SEARCH)
    rom = bytearray(8)
    next_branch = 0
    at = 64
    for i in range(8):
        value = 0
        for bit in range(8):
            b = _onewire.readbit(bus.pin)
            if _onewire.readbit(bus.pin):
                if b:
                    return None, 0
            elif not b and (branch > at or (last is not None and last[i] & (1 << bit) and branch != at)):
                b = 1
                next_branch = at
            _onewire.writebit(bus.pin, b)
            if b:
                value |= 1 << bit
            at -= 1
        rom[i] = value
    return rom, next_branch
