"""The board code against the MicroPython stubs of both ports, each in its own folder.

The stubs are plain top-level files that would hide the standard library from host code, so they are kept out
of the environment proper. They are fetched once, into the environment's `typings` folder.
"""

import subprocess
import sys
from pathlib import Path

import pytest

from sootline.bench import FIRMWARE

PORTS = {
    "esp32": "micropython-esp32-stubs==1.29.0.post1",
    "rp2": "micropython-rp2-rpi_pico_w-stubs==1.29.0.post1",
}
# What the stubs do not know: names of 1.29, block devices given as objects, streams that both read and write,
# and the other port's modules.
GAPS = (
    ("tls_context.py", '"psk_identity"'),
    ("tls_context.py", '"verify_mode"'),
    ("storage.py", "Cannot instantiate abstract class"),
    ("storage.py", 'module named "esp32"'),
    ("transport.py", '"StreamReader" has no attribute "drain"'),
)
CONFIG = """[mypy]
python_version = 3.10
custom_typeshed_dir = {0}
mypy_path = {0}:{1}
no_site_packages = True
check_untyped_defs = True
strict_optional = False
follow_imports_for_stubs = True
cache_dir = {2}
[mypy-machine.*,network.*,vfs.*,_mpy_shed.*]
follow_imports = silent
"""


def _stubs(port: str) -> Path:
    folder = Path(sys.prefix) / "typings" / port
    if not (folder / "machine.pyi").exists():
        words = ["-m", "pip", "install", "-q", "--disable-pip-version-check", "--target", str(folder), PORTS[port]]
        subprocess.run([sys.executable, *words], check=True)
    return folder


def _complaints(port: str, tmp_path: Path, *paths: Path) -> list[str]:
    config = tmp_path / "mypy.ini"
    config.write_text(CONFIG.format(_stubs(port), FIRMWARE, tmp_path / "cache"))
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--config-file", str(config), *map(str, paths)],
        cwd=FIRMWARE,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode in (0, 1), done.stdout + done.stderr
    errors = [line for line in done.stdout.splitlines() if ": error:" in line and "typings" not in line]
    return [line for line in errors if not any(f in line and text in line for f, text in GAPS)]


@pytest.mark.parametrize("port", PORTS)
def test_board_code_fits_the_port(port: str, tmp_path: Path) -> None:
    assert _complaints(port, tmp_path, FIRMWARE / "sootboard", FIRMWARE / "main.py") == []


@pytest.mark.parametrize("port", PORTS)
def test_the_check_finds_a_planted_error(port: str, tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.py"
    wrong.write_text(
        "import machine\n\n\ndef f():\n    machine.Pin(3).levle()\n    return machine.ADC(1).read_u16() + 'x'\n"
    )
    found = _complaints(port, tmp_path, wrong)
    assert len(found) == 2 and "levle" in found[0]
