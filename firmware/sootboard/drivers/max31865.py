"""MAX31865 RTD converter, SPI mode 1: fault cycle and one conversion for each reading."""

from micropython import const

from .. import rtd
from .spi_device import SpiDevice, bus_silent

_BIAS = const(0x80)
_ONE_SHOT = const(0x20)
_THREE_WIRE = const(0x10)
_FAULT_CYCLE = const(0x04)
_CLEAR = const(0x02)
_50_HZ = const(0x01)
_LOW_C = -60.0  # outside: the line is broken or shorted
_HIGH_C = 400.0
_HIGH = const(0x80)
_LOW = const(0x40)
_REF = const(0x20)
_FORCE = const(0x10)
_INPUT = const(0x08)
_VOLTAGE = const(0x04)


class MAX31865:
    """`r0_ohm` of the sensor at 0 Celsius, `r_ref_ohm` of the board; `wires` 2, 3 or 4 as the jumpers are set."""

    def __init__(self, spi, select, r0_ohm=1000.0, r_ref_ohm=4300.0, wires=2, mains_hz=50):
        self._device = SpiDevice(spi, select, phase=1)
        self._scale = r_ref_ohm / r0_ohm
        self._base = _BIAS | (_THREE_WIRE if wires == 3 else 0) | (_50_HZ if mains_hz == 50 else 0)
        high = int(rtd.ratio(_HIGH_C) / self._scale * 32768) << 1
        low = int(rtd.ratio(_LOW_C) / self._scale * 32768) << 1
        self._thresholds = bytes((high >> 8, high & 0xFF, low >> 8, low & 0xFF))
        self.rewritten = 0
        self._configure()

    def _configure(self):
        self._device.transfer(bytes((0x80, self._base)))
        self._device.transfer(b"\x83" + self._thresholds)

    def prepare(self):
        """Clear old faults and run the fault cycle; `start()` may follow after 1 ms."""
        self._device.transfer(bytes((0x80, self._base | _CLEAR)))
        self._device.transfer(bytes((0x80, self._base | _FAULT_CYCLE)))

    def start(self):
        """Start one conversion."""
        self._device.transfer(bytes((0x80, self._base | _ONE_SHOT)))

    def read(self):
        registers = bytes(self._device.transfer(bytes(9))[1:])
        if bus_silent(registers):
            return None, "absent"
        if registers[0] & ~_ONE_SHOT != self._base or registers[3:7] != self._thresholds:
            self.rewritten += 1
            self._configure()
            return None, "crc"
        return decode(registers, self._scale)


def decode(registers, r_ref_over_r0):
    """`(Celsius, "")` or `(None, fault)` for registers 0x00..0x07."""
    status = registers[7]
    if registers[2] & 1 or status:
        if status & (_HIGH | _REF | _FORCE | _INPUT):
            return None, "open"
        return (None, "short") if status & (_LOW | _VOLTAGE) else (None, "crc")
    code = (registers[1] << 8 | registers[2]) >> 1
    if code >= 32767:
        return None, "open"
    value = rtd.celsius(code / 32768 * r_ref_over_r0)
    return (None, "short" if code < 1000 else "range") if value is None else (value, "")
