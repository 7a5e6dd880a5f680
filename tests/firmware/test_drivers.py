"""Each driver against the frames of its chip, good and bad."""

import sys
import types
from itertools import combinations
from typing import Any

import pytest

from sootline.bench.wiring import OneWire
from sootline.sim import chips

ROMS = {chips.rom_id(7).hex(): "tank", chips.rom_id(8).hex(): "room", chips.rom_id(0x123456).hex(): "supply"}


class Pin:
    """A pin that only remembers."""

    def __init__(self) -> None:
        self.level = 1

    def value(self, level: int) -> None:
        self.level = level


class Spi:
    """The bus with one chip on it; `on_wire` may spoil what the chip answers."""

    def __init__(self, chip: chips.SpiChip, value_C: float) -> None:
        self.chip = chip
        self.value_C = value_C
        self.fault: chips.Fault | None = None
        self.mode = -1

    def init(self, baudrate: int, polarity: int, phase: int) -> None:
        self.mode = polarity << 1 | phase

    def write_readinto(self, out: bytes, into: bytearray) -> None:
        assert self.mode == self.chip.mode
        into[:] = self.chip.transfer(bytes(out), True, self.value_C, self.fault)


class _Line:
    """The 1-Wire line with its thermometers, as the bit routines of the port see it."""

    def __init__(self) -> None:
        self.devices = OneWire(ROMS)
        self.values = {"tank": 60.0, "room": 15.0, "supply": -3.5}
        self.faults: dict[str, chips.Fault] = {}
        self.pending = bytearray()
        self.bus = onewire_bus.OneWireBus(self)
        self.driver = ds18b20

    def alive(self) -> dict[str, chips.Fault | None]:
        found = {c: self.faults.get(c) for c in self.devices.channels}
        return {c: f for c, f in found.items() if f not in ("open", "absent")}

    def reset(self) -> bool:
        self.devices.reset()
        self.pending.clear()
        return bool(self.alive())

    def readbyte(self) -> int:
        if not self.pending:
            self.pending.extend(self.devices.read(9, self.alive()))
        return self.pending.pop(0)


_port = types.ModuleType("_onewire")
vars(_port).update(
    reset=lambda line: line.reset(),
    writebyte=lambda line, value: line.devices.write(bytes((value,)), line.values, line.alive()),
    readbyte=lambda line: line.readbyte(),
    readbit=lambda line: line.devices.search_bit(line.alive()),
    writebit=lambda line, bit: line.devices.search_put(bit),
)
sys.modules["_onewire"] = _port
from sootboard.drivers import ds18b20, onewire_bus, onewire_search  # noqa: E402


@pytest.fixture
def onewire() -> _Line:
    return _Line()


def _thermometer(onewire: Any, channel: str) -> Any:
    rom = next(bytes.fromhex(r) for r, c in ROMS.items() if c == channel)
    return onewire.driver.DS18B20(onewire.bus, rom)


# ---------------------------------------------------------------- DS18B20


def test_scan_finds_every_rom(onewire: Any) -> None:
    assert sorted(r.hex() for r in onewire_search.scan(onewire.bus)) == sorted(ROMS)


def test_ds18b20_reads_each_of_three(onewire: Any) -> None:
    onewire.driver.start_all(onewire.bus)
    assert _thermometer(onewire, "tank").read() == (60.0, "")
    assert _thermometer(onewire, "supply").read() == (-3.5, "")


def test_ds18b20_data_sheet_examples(onewire: Any) -> None:
    """Temperature/data relationship table of the DS18B20 data sheet."""
    for raw, t_C in ((0x07D0, 125.0), (0x0191, 25.0625), (0x00A2, 10.125), (0xFFF8, -0.5), (0xFC90, -55.0)):
        assert onewire.driver.decode(chips._scratchpad(raw, 0x10 - (raw & 15)), None) == (t_C, "")


@pytest.mark.parametrize(
    ("fault", "published"), [("short", "short"), ("crc", "crc"), ("absent", "absent"), ("power-on", "range")]
)
def test_ds18b20_faults(onewire: Any, fault: chips.Fault, published: str) -> None:
    device = _thermometer(onewire, "tank")
    onewire.driver.start_all(onewire.bus)
    onewire.faults["tank"] = fault
    assert device.read() == (None, published)


def test_ds18b20_unplugged_bus(onewire: Any) -> None:
    onewire.faults.update(dict.fromkeys(ROMS.values(), "open"))
    assert _thermometer(onewire, "tank").read() == (None, "absent")


def test_ds18b20_believes_85_where_it_fits(onewire: Any) -> None:
    """Oil does pass 85 C; only the untouched power-on scratchpad is refused."""
    decode = onewire.driver.decode
    assert decode(chips.ds18b20_scratchpad(85.0), None) == (85.0, "")
    untouched = chips.ds18b20_scratchpad(20.0, "power-on")
    assert decode(untouched, None) == (None, "range")
    assert decode(untouched, 84.5) == (85.0, "")  # clones keep that byte always
    assert decode(untouched, 20.0) == (None, "range")


def test_ds18b20_failed_conversion(onewire: Any) -> None:
    assert onewire.driver.decode(chips._scratchpad(0x07FF, 1), 60.0) == (None, "range")


def test_ds18b20_no_one_or_two_wrong_bits_give_a_value(onewire: Any) -> None:
    good = chips.ds18b20_scratchpad(61.4375)
    for count in (1, 2):
        for bits in combinations(range(72), count):
            bad = bytearray(good)
            for bit in bits:
                bad[bit // 8] ^= 1 << bit % 8
            assert onewire.driver.decode(bytes(bad), 61.0)[0] is None


# ---------------------------------------------------------------- SPI converters


def _max31855(value_C: float) -> tuple[Any, Spi]:
    from sootboard.drivers.max31855 import MAX31855

    spi = Spi(chips.Max31855(), value_C)
    return MAX31855(spi, Pin()), spi


def _max31856(value_C: float, mains_hz: int = 50) -> tuple[Any, Spi]:
    from sootboard.drivers.max31856 import MAX31856

    spi = Spi(chips.Max31856(), value_C)
    return MAX31856(spi, Pin(), mains_hz), spi


def _max31865(value_C: float, mains_hz: int = 50, wires: int = 2) -> tuple[Any, Spi]:
    from sootboard.drivers.max31865 import MAX31865

    spi = Spi(chips.Max31865(), value_C)
    return MAX31865(spi, Pin(), mains_hz=mains_hz, wires=wires), spi


@pytest.mark.parametrize("t_C", [0.0, 19.3, 85.0, 250.0, 371.25, 600.0])
@pytest.mark.parametrize(("make", "step_K"), [(_max31855, 0.25), (_max31856, 1 / 128), (_max31865, 0.035)])
def test_converters_read_what_they_measure(make: Any, step_K: float, t_C: float) -> None:
    if make is _max31865:
        t_C = min(t_C, 390.0)  # the chip's fault threshold is set at 400 C
    device, _ = make(t_C)
    device.prepare()
    device.start()
    value, fault = device.read()
    assert fault == ""
    # The straight-line chip's step is up to 4 % larger once corrected.
    assert value == pytest.approx(t_C, abs=0.55 * step_K + 0.06)


@pytest.mark.parametrize(
    ("make", "fault", "published"),
    [
        (_max31855, "open", "open"),
        (_max31855, "short", "short"),
        (_max31855, "crc", "crc"),
        (_max31855, "absent", "absent"),
        (_max31855, "power-on", "absent"),
        (_max31856, "open", "open"),
        (_max31856, "short", "short"),
        (_max31856, "crc", "crc"),
        (_max31856, "absent", "absent"),
        (_max31856, "power-on", "crc"),
        (_max31865, "open", "open"),
        (_max31865, "short", "short"),
        (_max31865, "crc", "crc"),
        (_max31865, "absent", "absent"),
        (_max31865, "power-on", "crc"),
    ],
)
def test_converter_faults(make: Any, fault: chips.Fault, published: str) -> None:
    device, spi = make(250.0)
    spi.fault = fault
    device.prepare()
    device.start()
    assert device.read() == (None, published)
    spi.fault = None
    if fault in ("power-on", "crc"):
        device.read()  # sets the registers anew where they were lost
    device.prepare()
    device.start()
    value, fault_after = device.read()
    assert fault_after == ""
    assert value == pytest.approx(250.0, abs=0.3)


def test_max31856_data_sheet_examples() -> None:
    """Linearised temperature format table of the MAX31856 data sheet."""
    from sootboard.drivers.max31856 import decode

    for bits, t_C in (
        (0x640000, 1600.0),
        (0x3E8000, 1000.0),
        (0x064F00, 100.9375),
        (0x000100, 0.0625),
        (0xFFFF00, -0.0625),
    ):
        registers = bytes(12) + bits.to_bytes(3, "big") + b"\x00"
        assert decode(registers) == (t_C, "")


def test_max31855_data_sheet_fields() -> None:
    from sootboard.drivers.max31855 import decode

    # 100.00 C hot (line), 25.0000 C cold: fields of the data sheet's memory map.
    value, fault = decode(0x0190 << 18 | 0x190 << 4)
    assert fault == ""
    line_C = 75.0 * 0.041276 + 1.000  # E(25) = 1.000 mV
    assert value == pytest.approx(100.0, abs=1.0)
    assert line_C == pytest.approx(4.0957, abs=0.001)  # E(100) = 4.096 mV: so it reads 100 C


@pytest.mark.parametrize("make", [_max31856, _max31865])
@pytest.mark.parametrize(("hz", "bit"), [(50, 1), (60, 0)])
def test_mains_filter_follows_the_setting(make: Any, hz: int, bit: int) -> None:
    _, spi = make(20.0, hz)
    assert spi.chip.registers[0] & 1 == bit


def test_three_wire_setting() -> None:
    assert _max31865(20.0, wires=3)[1].chip.registers[0] & 0x10
    assert not _max31865(20.0, wires=4)[1].chip.registers[0] & 0x10


@pytest.mark.parametrize("make", [_max31856, _max31865])
def test_settings_overwritten_by_a_spark_are_seen_and_put_back(make: Any) -> None:
    device, spi = make(200.0)
    for _ in range(3):
        spi.chip.registers[0] ^= 0x10
        assert device.read() == (None, "crc")
        device.prepare()
        device.start()
        assert device.read()[1] == ""
    assert device.rewritten == 3


# ---------------------------------------------------------------- analog

AIR = {"zero": 0.1, "span": 0.8, "low": 0.0, "high": 206843.0, "valid": (0.05, 0.95), "rail_valid_v": (4.5, 5.35)}


@pytest.mark.parametrize("rail_v", [4.75, 5.0, 5.25])
@pytest.mark.parametrize("pressure_Pa", [0.0, 97000.0, 206843.0])
def test_transducer_is_ratiometric(rail_v: float, pressure_Pa: float) -> None:
    from sootboard.drivers.transducer import transducer

    rail_uv = rail_v * 1e6
    signal = chips.transducer_uv(pressure_Pa / 206843, None, rail_uv, 2.2, 0.1, 0.8)
    value, fault = transducer(signal, rail_uv / 2.2, 2.2, **AIR)
    assert fault == ""
    assert value == pytest.approx(pressure_Pa, abs=1.0)


@pytest.mark.parametrize(
    ("signal_v", "rail_v", "fault"), [(0.0, 5.0, "open"), (5.0, 5.0, "short"), (2.0, 4.2, "range")]
)
def test_transducer_faults(signal_v: float, rail_v: float, fault: str) -> None:
    from sootboard.drivers.transducer import transducer

    assert transducer(signal_v * 1e6 / 2.2, rail_v * 1e6 / 2.2, 2.2, **AIR) == (None, fault)


@pytest.mark.parametrize(
    ("current_mA", "value", "fault"),
    [(4.0, 0.0, ""), (12.0, 0.5, ""), (20.0, 1.0, ""), (3.8, -0.0125, ""), (3.5, None, "open"), (21.5, None, "short")],
)
def test_loop_follows_namur_ne_43(current_mA: float, value: float | None, fault: str) -> None:
    from sootboard.drivers.loop import loop

    got, got_fault = loop(current_mA * 100_000, 100, (3.6, 21.0), 0.0, 1.0)
    assert got_fault == fault
    assert got == (None if value is None else pytest.approx(value, abs=1e-6))


def test_thermistor_against_a_printed_curve() -> None:
    """10 kohm, B25/85 3435 K part, values as usually printed for it: 27.3 kohm at 0 C, 0.97 kohm at 100 C."""
    from sootboard.drivers.thermistor import thermistor

    for ohm, t_C, near_K in ((27280, 0.0, 1.5), (10000, 25.0, 0.01), (974, 100.0, 1.5)):
        share = ohm / (ohm + 10000)
        value, fault = thermistor(share * 3.3e6, 3.3e6, 10000, 10000, 3435)
        assert fault == ""
        assert value == pytest.approx(t_C, abs=near_K)
    assert thermistor(3.29e6, 3.3e6, 10000, 10000, 3435) == (None, "open")
    assert thermistor(0.0, 3.3e6, 10000, 10000, 3435) == (None, "short")


def test_analog_reading_is_a_mean_without_outliers() -> None:
    from sootboard.drivers.analog import microvolts

    readings = [1_000_000] * 60 + [0, 0, 3_000_000, 3_000_000]
    source = iter(readings)
    assert microvolts(types.SimpleNamespace(read_uv=lambda: next(source))) == 1_000_000
    assert microvolts(types.SimpleNamespace(read_u16=lambda: 65535)) == 3_300_000


# ---------------------------------------------------------------- contacts


def test_debounce_waits_for_three_and_keeps_the_first_moment() -> None:
    from sootboard.debounce import Debounce

    d = Debounce()
    seen = [(t, d.update(0, t)) for t in range(0, 500, 20)]
    assert [s for s in seen if s[1]] == [(340, (False, 300))]
    levels = [1, 0, 1, 1, 0, 1, 1, 1, 1]
    seen = [(t, d.update(level, t)) for t, level in zip(range(500, 900, 20), levels, strict=False)]
    assert [s for s in seen if s[1]] == [(640, (True, 600))]


@pytest.mark.parametrize("flips", [1, 2])
def test_short_noise_never_counts(flips: int) -> None:
    from sootboard.debounce import Debounce

    d = Debounce(mute_ms=0)
    for t in range(0, 200, 20):
        d.update(0, t)
    pattern = ([1] * flips + [0]) * 50
    assert not [c for t, level in enumerate(pattern) if (c := d.update(level, 200 + 20 * t))]


def test_contacts_report_edges_with_filter_delays_taken_off() -> None:
    from sootboard.drivers.contacts import Contacts

    pins = [types.SimpleNamespace(level=1) for _ in range(2)]
    for pin in pins:
        pin.value = lambda pin=pin: pin.level
    contacts = Contacts([(0, pins[0]), (4, pins[1])])
    for t in range(0, 1000, 20):
        assert contacts.poll(t) is None
    assert contacts.known and contacts.states == 0
    changes = []
    for t in range(1000, 2000, 20):
        pins[1].level = 0 if 1095 <= t < 1500 else 1
        changes += contacts.poll(t) or []
    assert changes == [(1100 - 30, 4, True), (1500 - 110, 4, False)]


def test_filtered_contact_follows_with_its_delays() -> None:
    contact = chips.Contact()
    changes = [c for t in range(0, 2000, 10) for c in contact.update(500 <= t < 1000, t)]
    assert changes == [(500 + chips.ON_DELAY_MS, 0), (1000 + chips.OFF_DELAY_MS, 1)]


def test_contact_shorter_than_its_filter_is_not_seen() -> None:
    contact = chips.Contact()
    changes = [c for t in range(0, 2000, 5) for c in contact.update(500 <= t < 520, t)]
    assert changes == []


# ---------------------------------------------------------------- whole numbers


@pytest.mark.parametrize(("value", "whole"), [(60.0625, 6006), (-0.5, -50), (0.004, 0), (-0.006, -1), (-0.004, 0)])
def test_values_become_the_nearest_whole_number(value: float, whole: int) -> None:
    from sootboard.channels import numeric, scaled

    assert scaled(numeric("tank"), value) == whole
