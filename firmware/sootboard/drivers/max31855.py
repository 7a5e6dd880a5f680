"""MAX31855K thermocouple converter: read-only, SPI mode 0, corrected from its straight line to ITS-90."""

from .. import thermocouple
from .spi_device import SpiDevice, bus_silent


def decode(word):
    """`(Celsius, "")` or `(None, fault)` for the 32-bit word."""
    if word in (0, 0xFFFFFFFF):
        return None, "absent"
    if word & 0x00020008:  # reserved bits that are always zero
        return None, "crc"
    if word & 0x00010000:
        if word & 1:
            return None, "open"
        return (None, "short") if word & 6 else (None, "crc")
    if word & 7:
        return None, "crc"
    hot = word >> 18
    if hot & 0x2000:
        hot -= 0x4000
    cold = word >> 4 & 0xFFF
    if cold & 0x800:
        cold -= 0x1000
    cold_C = cold / 16
    if not -20.0 <= cold_C <= 85.0:
        return None, "range"
    value = thermocouple.linearised(hot / 4, cold_C)
    return (None, "range") if value is None else (value, "")


class MAX31855:
    def __init__(self, spi, select):
        self._device = SpiDevice(spi, select, phase=0)

    def prepare(self):
        """Nothing to prepare or start: it converts by itself."""

    start = prepare

    def read(self):
        answer = self._device.transfer(b"\x00\x00\x00\x00")
        if bus_silent(answer):
            return None, "absent"
        return decode(answer[0] << 24 | answer[1] << 16 | answer[2] << 8 | answer[3])
