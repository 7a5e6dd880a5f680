"""The sensor chips as the board sees them on its wires: values in, register and scratchpad bytes out.

Faults that can be set on a channel: `open`, `short`, `crc` (bits lost on the way), `power-on` (value or
registers as after switching on), `frozen` (last value held), `absent` (nobody answers).
Register layouts are those of the chips' data sheets.
"""

import math
from typing import Literal, Protocol

Fault = Literal["open", "short", "crc", "power-on", "frozen", "absent"]
FAULTS: tuple[Fault, ...] = ("open", "short", "crc", "power-on", "frozen", "absent")

ON_DELAY_MS = 30
OFF_DELAY_MS = 110


class Held:
    """The value a chip works from: the present one, or the last one while it is frozen."""

    def __init__(self) -> None:
        self._last = math.nan

    def __call__(self, value: float, fault: Fault | None) -> float:
        if fault != "frozen" or math.isnan(self._last):
            self._last = value
        return self._last


# ---------------------------------------------------------------- 1-Wire


def crc8(data: bytes) -> int:
    """Dallas/Maxim CRC-8 (x^8 + x^5 + x^4 + 1, reflected) of `data`."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ 0x8C if crc & 1 else crc >> 1
    return crc


def rom_id(serial: int) -> bytes:
    """ROM id of a DS18B20 with this serial number."""
    body = bytes((0x28,)) + serial.to_bytes(6, "little")
    return body + bytes((crc8(body),))


def _scratchpad(raw: int, reserved: int) -> bytes:
    body = (raw & 0xFFFF).to_bytes(2, "little") + bytes((0x4B, 0x46, 0x7F, 0xFF, reserved, 0x10))
    return body + bytes((crc8(body),))


def ds18b20_scratchpad(t_C: float, fault: Fault | None = None) -> bytes:
    """Nine bytes of a 12-bit DS18B20 at `t_C`."""
    if fault == "short":
        return bytes(9)
    if fault in ("open", "absent"):
        return b"\xff" * 9
    if fault == "power-on":
        return _scratchpad(0x0550, 0x0C)
    raw = round(max(-55.0, min(125.0, t_C)) * 16)
    pad = _scratchpad(raw, 0x10 - (raw & 0x0F))
    if fault == "crc":
        return bytes((pad[0] ^ 0x10,)) + pad[1:]
    return pad


class Ds18b20:
    """One thermometer: latches the temperature when told to convert."""

    def __init__(self, rom: bytes) -> None:
        self.rom = rom
        self._held = Held()
        self._converted: float | None = None

    def convert(self, t_C: float, fault: Fault | None) -> None:
        self._converted = self._held(t_C, fault)

    def scratchpad(self, fault: Fault | None) -> bytes:
        if self._converted is None or math.isnan(self._converted):
            return ds18b20_scratchpad(85.0, "power-on" if self._converted is None else "absent")
        return ds18b20_scratchpad(self._converted, fault)


# ---------------------------------------------------------------- SPI


class SpiChip(Protocol):
    """A chip on the SPI bus. `mode` is the SPI mode it needs, -1 for either clock phase."""

    mode: int

    def transfer(self, out: bytes, first: bool, value: float, fault: Fault | None) -> bytes:
        """Bytes answered to `out`; `first` starts a transaction; `value` is what is measured [Celsius]."""
        ...


_TYPE_K_ABOVE_0 = (
    -1.7600413686e-2,
    3.8921204975e-2,
    1.8558770032e-5,
    -9.9457592874e-8,
    3.1840945719e-10,
    -5.6072844889e-13,
    5.6075059059e-16,
    -3.2020720003e-19,
    9.7151147152e-23,
    -1.2104721275e-26,
)


def type_k_mV(t_C: float) -> float:
    """Type K thermo-voltage [mV] above 0 Celsius, ITS-90 (NIST Monograph 175); a straight line below."""
    if t_C < 0.0:
        return 0.039450 * t_C
    bump = 1.185976e-1 * math.exp(-1.183432e-4 * (t_C - 126.9686) ** 2)
    return sum(c * t_C**i for i, c in enumerate(_TYPE_K_ABOVE_0)) + bump


def max31855_word(hot_C: float, cold_C: float, fault: Fault | None = None) -> bytes:
    """The 32-bit word of a MAX31855K, which takes type K for a straight line of 41.276 uV/K."""
    if fault == "absent":
        return b"\xff" * 4
    line_C = (type_k_mV(hot_C) - type_k_mV(cold_C)) / 0.041276 + cold_C
    word = (round(line_C * 4) & 0x3FFF) << 18 | (round(cold_C * 16) & 0xFFF) << 4
    if fault == "open":
        word |= 0x00010001
    elif fault == "short":
        word |= 0x00010002
    elif fault == "crc":
        word |= 0x00020000
    elif fault == "power-on":
        word = 0
    return word.to_bytes(4, "big")


class Max31855:
    """Thermocouple converter, read-only."""

    mode = 0

    def __init__(self, cold_C: float = 30.0) -> None:
        self.cold_C = cold_C
        self._held = Held()

    def transfer(self, out: bytes, first: bool, value: float, fault: Fault | None) -> bytes:
        return max31855_word(self._held(value, fault), self.cold_C, fault)[: len(out)]


class _Registers:
    """A register file with address byte: top bit set writes."""

    mode = -1
    size = 0
    writable = 0

    def __init__(self) -> None:
        self._address = 0
        self._writing = False
        self._held = Held()
        self.registers = bytearray(self._power_on())

    def _power_on(self) -> bytes:
        raise NotImplementedError

    def _measure(self, t_C: float, fault: Fault | None) -> None:
        raise NotImplementedError

    def _written(self, address: int) -> None:
        """Called after a register was written."""

    def transfer(self, out: bytes, first: bool, value: float, fault: Fault | None) -> bytes:
        if fault == "absent":
            return b"\xff" * len(out)
        if fault == "power-on":
            self.registers[:] = self._power_on()
        answer = bytearray()
        for i, byte in enumerate(out):
            if first and i == 0:
                self._writing = bool(byte & 0x80)
                self._address = byte & 0x7F
                if not self._writing and fault != "power-on":
                    self._measure(self._held(value, fault), fault)
                answer.append(0)
                continue
            at = self._address % self.size
            answer.append(0 if self._writing else self.registers[at])
            if self._writing and at < self.writable:
                self.registers[at] = byte
                self._written(at)
            self._address += 1
        if fault == "crc" and not self._writing and len(answer) > 1:
            answer[1] ^= 0x08
        return bytes(answer)


class Max31856(_Registers):
    """Thermocouple converter that linearises by itself."""

    mode = 1
    size = 16
    writable = 12

    def __init__(self, cold_C: float = 30.0) -> None:
        self.cold_C = cold_C
        super().__init__()

    def _power_on(self) -> bytes:
        return bytes((0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0x00, 0x00, 0x00, 0x00, 0, 0, 0, 0))

    def _measure(self, t_C: float, fault: Fault | None) -> None:
        if not self.registers[0] & 0x80 or math.isnan(t_C):
            return
        raw = (round(t_C * 128) & 0x7FFFF) << 5
        self.registers[12:15] = raw.to_bytes(3, "big")
        self.registers[10:12] = (round(self.cold_C * 64) << 2 & 0xFFFF).to_bytes(2, "big")
        self.registers[15] = {"open": 0x01, "short": 0x02}.get(fault or "", 0)


class Max31865(_Registers):
    """RTD converter; converts when the one-shot or automatic bit is set."""

    mode = 1
    size = 8
    writable = 7

    def __init__(self, r0_ohm: float = 1000.0, r_ref_ohm: float = 4300.0) -> None:
        self.r0_ohm = r0_ohm
        self.r_ref_ohm = r_ref_ohm
        self._converting = False
        super().__init__()

    def _power_on(self) -> bytes:
        return bytes((0, 0, 0, 0xFF, 0xFF, 0, 0, 0))

    def _written(self, address: int) -> None:
        if address == 0:
            config = self.registers[0]
            if config & 0x02:
                self.registers[7] = 0
            self._converting = self._converting or bool(config & 0x60)
            # One-shot, fault cycle and clear bits reset themselves.
            self.registers[0] = config & 0xD1

    def _measure(self, t_C: float, fault: Fault | None) -> None:
        if fault == "open":
            code = 0x7FFF
        elif fault == "short":
            code = 0
        elif self._converting and not math.isnan(t_C):
            code = round(pt_ratio(t_C) * self.r0_ohm / self.r_ref_ohm * 32768)
        else:
            return
        code = max(0, min(0x7FFF, code))
        high = int.from_bytes(self.registers[3:5], "big") >> 1
        low = int.from_bytes(self.registers[5:7], "big") >> 1
        if code >= high:
            self.registers[7] |= 0x80
        if code <= low:
            self.registers[7] |= 0x40
        word = code << 1 | bool(self.registers[7])
        self.registers[1:3] = word.to_bytes(2, "big")


def pt_ratio(t_C: float) -> float:
    """R(t)/R(0) of platinum, IEC 60751."""
    r = 1 + 3.9083e-3 * t_C - 5.775e-7 * t_C**2
    return r if t_C >= 0 else r - 4.183e-12 * (t_C - 100) * t_C**3


# ---------------------------------------------------------------- analog and contacts


def transducer_uv(share: float, fault: Fault | None, rail_uv: float, divider: float, zero: float, span: float) -> int:
    """Input voltage [uV] of a ratiometric transducer at `share` of its range, behind a divider."""
    if fault in ("open", "absent"):
        return 0
    if fault == "short":
        return round(rail_uv / divider)
    return round(rail_uv * (zero + span * share) / divider)


def loop_uv(share: float, fault: Fault | None, burden_ohm: float) -> int:
    """Input voltage [uV] of a 4-20 mA sender at `share` of its range."""
    if fault in ("open", "absent"):
        return 0
    current_ma = 24.0 if fault == "short" else 4.0 + 16.0 * share
    return round(current_ma * burden_ohm * 1000)


def current_uv(rms_A: float, fault: Fault | None, rail_uv: float, divider: float, a_per_v: float) -> tuple[int, int]:
    """Middle and peak [uV] of a current transformer's wave on half of its supply, behind a divider."""
    if fault in ("open", "absent"):
        return 0, 0
    if fault == "short":
        return round(rail_uv / divider), 0
    return round(rail_uv / 2 / divider), round(rms_A / a_per_v * math.sqrt(2) * 1e6 / divider)


class Contact:
    """A filtered, active-low input: the pin follows the contact after the filter's delay."""

    def __init__(self) -> None:
        self._on = False
        self._due_ms: int | None = None
        self.level = 1

    def update(self, on: bool, t_ms: int, fault: Fault | None = None) -> list[tuple[int, int]]:
        """State of the contact at `t_ms`; returns the pin changes up to then as `(t_ms, level)`."""
        if fault == "frozen":
            on = self._on
        elif fault in ("open", "absent"):
            on = False
        elif fault == "short":
            on = True
        changes = []
        if self._due_ms is not None and t_ms >= self._due_ms:
            self.level = 0 if self._on else 1
            changes.append((self._due_ms, self.level))
            self._due_ms = None
        if on != self._on:
            self._on = on
            settled = self.level == (0 if on else 1)
            self._due_ms = None if settled else t_ms + (ON_DELAY_MS if on else OFF_DELAY_MS)
        return changes
