"""1-Wire bus on the `_onewire` bit routines of the port, with checked ROM search."""

import _onewire

_SEARCH = 0xF0
_MATCH = 0x55
_SKIP = 0xCC


class OneWireBus:
    def __init__(self, pin):
        self._pin = pin

    def reset(self):
        """Start a transaction. True if some device answered."""
        return bool(_onewire.reset(self._pin))

    def select(self, rom):
        """Reset and address one device (`rom` 8 bytes) or all (None). True if some device answered."""
        if not self.reset():
            return False
        if rom is None:
            _onewire.writebyte(self._pin, _SKIP)
        else:
            _onewire.writebyte(self._pin, _MATCH)
            for b in rom:
                _onewire.writebyte(self._pin, b)
        return True

    def write(self, b):
        _onewire.writebyte(self._pin, b)

    def read(self, n):
        out = bytearray(n)
        for i in range(n):
            out[i] = _onewire.readbyte(self._pin)
        return out

    def scan(self):
        """ROM ids on the bus whose CRC is good."""
        found = []
        rom = None
        branch = 65
        while branch:
            rom, branch = self._search(rom, branch)
            if rom is None:
                break
            if crc8(rom) == 0 and rom[0]:
                found.append(bytes(rom))
        return found

    def _search(self, last, branch):
        if not self.reset():
            return None, 0
        _onewire.writebyte(self._pin, _SEARCH)
        rom = bytearray(8)
        next_branch = 0
        at = 64
        for i in range(8):
            value = 0
            for bit in range(8):
                b = _onewire.readbit(self._pin)
                if _onewire.readbit(self._pin):
                    if b:
                        return None, 0  # nobody answered
                elif not b and (branch > at or (last is not None and last[i] & (1 << bit) and branch != at)):
                    b = 1
                    next_branch = at
                _onewire.writebit(self._pin, b)
                if b:
                    value |= 1 << bit
                at -= 1
            rom[i] = value
        return rom, next_branch


def crc8(data):
    """Dallas CRC of `data`; 0 over data that ends in its own CRC."""
    crc = 0
    for byte in data:
        for _ in range(8):
            mix = (crc ^ byte) & 1
            crc >>= 1
            if mix:
                crc ^= 0x8C
            byte >>= 1
    return crc
