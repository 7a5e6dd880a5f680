"""DS18B20 thermometer, externally powered, addressed by its ROM id."""

from micropython import const

from .onewire_bus import crc8

CONVERSION_MS = 750  # 12 bit

_CONVERT = const(0x44)
_READ_SCRATCHPAD = const(0xBE)
_CONFIGS = const((0x1F, 0x3F, 0x5F, 0x7F))
_NOT_CONVERTED = const(0x07FF)  # supply failed during the conversion
_POWER_ON = const(0x0550)  # 85 Celsius
_POWER_ON_RESERVED = const(0x0C)  # byte 6 only has this together with 85 C when nothing was converted yet
_NEAR_C = const(5.0)
_TRIES = const(3)


def decode(scratchpad, last_C):
    """`(Celsius, "")` or `(None, fault)` for nine bytes; `last_C` is the last good value or None."""
    if scratchpad == b"\x00" * 9:
        return None, "short"  # a shorted line even has a good CRC
    if scratchpad == b"\xff" * 9:
        return None, "absent"
    if crc8(scratchpad) or scratchpad[4] not in _CONFIGS:
        return None, "crc"
    raw = scratchpad[0] | scratchpad[1] << 8
    if raw == _NOT_CONVERTED:
        return None, "range"
    if raw & 0x8000:
        raw -= 0x10000
    value = raw / 16
    # Oil does pass 85 C, so the power-on value is only refused where it does not fit.
    unconverted = raw == _POWER_ON and scratchpad[6] == _POWER_ON_RESERVED
    if unconverted and (last_C is None or abs(value - last_C) > _NEAR_C):
        return None, "range"
    if not -55.0 <= value <= 125.0:
        return None, "range"
    return value, ""


def start_all(bus):
    """Start a conversion in every device of the bus."""
    if bus.select(None):
        bus.write(_CONVERT)


class DS18B20:
    def __init__(self, bus, rom):
        self._bus = bus
        self._rom = rom
        self._last_C = None
        self.crc_errors = 0

    def read(self):
        """Result of the last conversion."""
        value, fault = None, "absent"
        for _ in range(_TRIES):
            if not self._bus.select(self._rom):
                return None, "absent"
            self._bus.write(_READ_SCRATCHPAD)
            value, fault = decode(bytes(self._bus.read(9)), self._last_C)
            if fault != "crc":
                break
            self.crc_errors += 1
        if value is not None:
            self._last_C = value
        return value, fault
