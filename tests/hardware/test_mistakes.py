"""Mistakes a builder or editor could make, each put into a copy of the data: each must be caught by its own rule."""

from collections.abc import Callable

import pytest

from hardware.generate.checks import problems
from hardware.generate.load import Hardware

PINS, SENSE, PROBES, BOM = "pinmap.toml", "sense.toml", "probes.toml", "bom.csv"
BOARD, A24, B120, C230 = ("netlist/sensor_board.toml", "netlist/a24.toml", "netlist/b120.toml", "netlist/c230.toml")
CREEPAGE = "creepage_mm = 8.0"
CAPACITOR = """[[part]]
ref = "C9"
kind = "capacitor"
value = 4.7e-9
tol = 0.1
v = 50
pins = {1 = "N", 2 = "gnd"}
bom = "c-10n"

"""
OPTO = '[[part]]\nref = "U1"'
RELAY = """[[part]]
ref = "K1"
kind = "relay_driver"
pins = {1 = "led", 2 = "gnd"}
bom = "led"
"""
LED_ON = "pins = {esp32 = 16, picow = 14}"

FIFTEEN = {
    "input on a boot strap": ((PINS, "esp32 = 32,", "esp32 = 0,"), "pin-strap"),
    "analog on a strap of the second converter": ((PINS, "esp32 = 34,", "esp32 = 15,"), "pin-adc2"),
    "analog on the second converter": ((PINS, "{esp32 = 34,", "{esp32 = 27,"), "pin-adc2"),
    "one pin used twice": ((PINS, "esp32 = 33,", "esp32 = 32,"), "pin-duplicate"),
    "output on an input-only pin": ((PINS, LED_ON, "pins = {esp32 = 35, picow = 14}"), "pin-input-only"),
    "signal on the radio's pin": ((PINS, LED_ON, "pins = {esp32 = 16, picow = 25}"), "pin-radio"),
    "wrong MISO": ((PINS, "picow = 16}", "picow = 17}"), "pin-spi"),
    "divider too weak for the converter": ((PINS, "range_mv = [2045, 2386]", "range_mv = [2250, 2625]"), "adc-range"),
    "input without a pull-up": ((PINS, "pull_ohm = 47000\nchannel = \"pump\"", "channel = \"pump\""), "pull-missing"),
    "quarter-watt series resistor": ((B120, "w = 1.0", "w = 0.25"), "power"),
    "capacitor across the barrier": ((C230, OPTO, CAPACITOR + OPTO), "barrier"),
    "narrow opto-coupler": ((B120, CREEPAGE, "creepage_mm = 7.0"), "creepage"),
    "wrong shunt": ((C230, "value = 910", "value = 91"), "threshold"),
    "part not in the parts list": ((BOM, "r-430,", "r-431,"), "bom-missing"),
    "dangling net": ((BOARD, '2 = "onewire"}', '2 = "onewir"}'), "net-dangling"),
}  # fmt: skip

MORE = {
    "R1 across a contact": ((SENSE, 'across = "load"', 'across = "contact"'), "R1"),
    "R2 on a thermostat pair": ((SENSE, "on_thermostat_pair = false", "on_thermostat_pair = true"), "R2"),
    "R3 undocumented lockout terminal": ((SENSE, "volt_free_documented = true\ndomain", "domain"), "R3"),
    "R4 a second output": ((PINS, 'id = "di_leak"\nrole = "di"', 'id = "di_leak"\nrole = "do"'), "R4"),
    "R4 a relay driver": ((BOARD, '[[part]]\nref = "PS1"', RELAY + '\n[[part]]\nref = "PS1"'), "R4"),
    "R5 a fault too large": ((SENSE, "fault_ma_max = 100", "fault_ma_max = 500"), "R5"),
    "R6 probe in a safety's well": ((PROBES, "shares_with_safety = false", "shares_with_safety = true"), "R6"),
    "R6 hole below the oil": ((PROBES, "below_oil_level = false", "below_oil_level = true"), "R6"),
    "R7 too many stages": ((SENSE, "must = 3", "must = 0"), "R7"),
    "mains on the sensor board": ((BOARD, 'loop = "selv"', 'loop = "mains"'), "mains-on-board"),
    "mains sense by anyone": ((SENSE, "qualified_person = true", "qualified_person = false"), "mains-sense"),
    "opto stage chosen for mains": ((SENSE, 'variant = "current_switch"', 'variant = "b120"'), "variant"),
    "too few loops at the current switch": ((SENSE, "loops = 4", "loops = 2"), "trip"),
    "bare contact without its milliampere": ((PINS, "pull_ohm = 2200", "pull_ohm = 47000"), "wetting"),
    "flash pin": ((PINS, "esp32 = 32,", "esp32 = 6,"), "pin-flash"),
    "console pin": ((PINS, "esp32 = 32,", "esp32 = 3,"), "pin-console"),
    "pin that does not exist": ((PINS, "esp32 = 32,", "esp32 = 37,"), "pin-unknown"),
    "needed signal on a PSRAM pin": ((PINS, "esp32 = 32,", "esp32 = 16,"), "pin-psram"),
    "no pin on one board": ((PINS, "{esp32 = 32, picow = 2}", "{esp32 = 32}"), "pin-missing"),
    "bus too fast": ((PINS, "spi_baud = 1000000", "spi_baud = 8000000"), "spi-bus"),
    "bus mode of another chip": ((PINS, "spi_mode = 1", "spi_mode = 0"), "spi-bus"),
    "polling too fast for the filter": ((PINS, "poll_ms = 20", "poll_ms = 2"), "debounce"),
    "no fuse at the tap": ((B120, 'kind = "fuse"', 'kind = "resistor"'), "fuse-first"),
    "two series resistors on mains": ((B120, '["R1", "R2", "R3"]', '["R1", "R2"]'), "series-count"),
    "low isolation voltage": ((A24, "viso_v = 5000", "viso_v = 1500"), "isolation"),
    "no varistor": ((C230, 'kind = "mov"', 'kind = "tvs"'), "surge"),
    "series resistor of low voltage": ((C230, "v = 500", "v = 200"), "surge"),
    "wrong number in the parts list": ((BOM, "cur-switch,standard,4", "cur-switch,standard,3"), "bom-qty"),
    "weak part in the parts list": ((BOM, "w=1;v=200", "w=0.25;v=200"), "bom-spec"),
    "unsorted opto in the parts list": ((BOM, "ctr=0.5", "ctr=0.2"), "bom-spec"),
    "unlisted device on mains": ((BOM, "25,50,yes", "25,50,no"), "bom-listed"),
    "burden that burns": ((BOARD, "value = 200\n", "value = 50\n"), "power"),
    "short stack probe": ((PROBES, "immersion_min_mm = 75", "immersion_min_mm = 40"), "immersion"),
    "contact that nobody senses": ((SENSE, 'pinmap_id = "di_leak"', 'pinmap_id = "di_alarm"'), "sense-missing"),
    "same reference twice": ((BOARD, 'ref = "R11"', 'ref = "R10"'), "ref-duplicate"),
}  # fmt: skip


def test_there_are_fifteen_classic_mistakes() -> None:
    assert len(FIFTEEN) == 15


@pytest.mark.parametrize("mistake", [*FIFTEEN, *MORE])
def test_mistake_is_caught(mistake: str, broken: Callable[..., Hardware]) -> None:
    edit, rule = (FIFTEEN | MORE)[mistake]
    found = problems(broken(edit))
    assert rule in {problem.rule for problem in found}
    assert all(str(problem) for problem in found)


def test_the_untouched_copy_has_no_problem(broken: Callable[..., Hardware]) -> None:
    assert problems(broken()) == []
