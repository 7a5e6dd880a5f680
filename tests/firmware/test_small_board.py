"""The board's memory with objects of the size a board has: 96 kB for the whole application with verified TLS.

The interpreter is Debian's MicroPython 1.26 for i386, since none of 1.29 is published for 32 bits. What mpy-cross 1.29
emits it loads as the boards do: both speak version 6 of compiled code. The sub-version, 3 in both, is about native
code, of which there is none ("any" architecture; small integers of 31 bits, as 32-bit ports have them). It has no
pre-shared keys, so this is TLS by certificates, which takes more. 10 kB of the use are simulated chips and clock.
"""

import subprocess
from pathlib import Path

from sootline.bench.board import compiled_firmware

from .micropython import small_interpreter
from .soak import LOOK_MIN, PIECE, Soak, soak

HEAP = "96k"
MPY_VERSION, SUB_VERSION, SMALL_INT_BITS = 6, 3, 31


def _holds(got: Soak, hours: float) -> None:
    assert got.restarts == 0 and not got.faults, got.log
    assert len(got.used) >= hours * 60 / LOOK_MIN - 2, got.log
    assert set(got.pieces) == {PIECE}
    assert got.drift <= 1024
    assert got.left == 0  # whatever waited has been sent


def test_the_code_is_of_the_version_that_boards_load() -> None:
    show = "import sys; v = sys.implementation._mpy; print(v & 255, v >> 8 & 3, sys.maxsize)"
    done = subprocess.run([small_interpreter(), "-c", show], capture_output=True, text=True, check=True)
    assert done.stdout.split() == [str(MPY_VERSION), str(SUB_VERSION), str(2**31 - 1)]
    code = compiled_firmware()
    assert code
    heads = {path.read_bytes()[:4] for path in (code / "sootboard").rglob("*.mpy")}
    assert heads == {bytes((ord("M"), MPY_VERSION, 0, SMALL_INT_BITS))}


def test_a_day_in_96_kB(tmp_path: Path) -> None:
    """24 virtual hours: an hour with a full outbox and no broker, then two hours without one, and all is sent."""
    got = soak(tmp_path, 24, HEAP, tls="certificate", outage_min=120, interpreter=small_interpreter(), full=True)
    _holds(got, 24)


def test_every_channel_in_96_kB(tmp_path: Path) -> None:
    """The 20 channels that an ESP32 board has inputs for at the most."""
    got = soak(tmp_path, 2, HEAP, tls="certificate", interpreter=small_interpreter(), full=True, every=True)
    _holds(got, 2)
