"""MAX31856 thermocouple converter, type K, SPI mode 1, converting by itself with four-fold averaging.

Every read takes the whole register file, so settings overwritten by a spark are seen at once.
"""

from micropython import const

from .spi_device import SpiDevice, bus_silent

_CR0_AUTO = const(0x80 | 0x10)  # automatic conversion, open-circuit test
_CR0_50_HZ = const(0x01)
_CR1 = const(0x20 | 0x03)  # four samples averaged, type K
_MASK = const(0xFF)  # the fault pin is not used
_SET = const((0x00, 0x01, 0x02))
_OPEN = const(0x01)
_VOLTAGE = const(0x02)
_RANGES = const(0xC0)


class MAX31856:
    def __init__(self, spi, select, mains_hz=50):
        self._device = SpiDevice(spi, select, phase=1)
        self._settings = bytes((_CR0_AUTO | (_CR0_50_HZ if mains_hz == 50 else 0), _CR1, _MASK))
        self.rewritten = 0
        self._configure()

    def _configure(self):
        # The mains filter may only be changed with conversion off.
        off = self._settings[0] & ~0x80
        self._device.transfer(bytes((0x80, off, self._settings[1], self._settings[2])))
        self._device.transfer(bytes((0x80, self._settings[0])))

    def prepare(self):
        """Nothing to prepare or start: it converts by itself."""

    start = prepare

    def read(self):
        registers = bytes(self._device.transfer(bytes(17))[1:])
        if bus_silent(registers):
            return None, "absent"
        if registers[:3] != self._settings:
            self.rewritten += 1
            self._configure()
            return None, "crc"
        return decode(registers)


def decode(registers):
    """`(Celsius, "")` or `(None, fault)` for registers 0x00..0x0F."""
    status = registers[15]
    if status & _OPEN:
        return None, "open"
    if status & _VOLTAGE:
        return None, "short"
    if status & _RANGES:
        return None, "range"
    raw = (registers[12] << 16 | registers[13] << 8 | registers[14]) >> 5
    if raw & 0x40000:
        raw -= 0x80000
    return raw / 128, ""
