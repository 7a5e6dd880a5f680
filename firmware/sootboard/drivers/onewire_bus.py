"""1-Wire bus on the `_onewire` bit routines of the port."""

import _onewire
from micropython import const

_MATCH = const(0x55)
_SKIP = const(0xCC)


class OneWireBus:
    def __init__(self, pin):
        self.pin = pin

    def reset(self):
        """Start a transaction. True if some device answered."""
        return bool(_onewire.reset(self.pin))

    def select(self, rom):
        """Reset and address one device (`rom` 8 bytes) or all (None). True if some device answered."""
        if not self.reset():
            return False
        if rom is None:
            _onewire.writebyte(self.pin, _SKIP)
        else:
            _onewire.writebyte(self.pin, _MATCH)
            for b in rom:
                _onewire.writebyte(self.pin, b)
        return True

    def write(self, b):
        _onewire.writebyte(self.pin, b)

    def read(self, n):
        out = bytearray(n)
        for i in range(n):
            out[i] = _onewire.readbyte(self.pin)
        return out


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
