"""Runs a script of tests/firmware/mpy in the real interpreter and reads the `name value` lines it prints."""

import subprocess
from pathlib import Path

import pytest

from sootline.bench import FIRMWARE, interpreter

SCRIPTS = Path(__file__).with_name("mpy")
_SMALL = FIRMWARE.parent / ".stamps" / "micropython-32" / "micropython"


def small_interpreter() -> str:
    """The 32-bit MicroPython that `make test` fetches, whose objects have the size of a board's; skips without it."""
    if not _SMALL.exists():
        pytest.skip("the 32-bit MicroPython is missing: make .stamps/micropython-32/micropython")
    return str(_SMALL)


def run(script: str, heap: str = "8m", timeout_s: float = 100, *arguments: str, paths: tuple[Path, ...] = ()) -> str:
    """Output of the script; fails the test with that output if it ends badly."""
    search = ":".join([*map(str, paths), str(SCRIPTS), str(FIRMWARE), ".frozen"])
    done = subprocess.run(
        [*interpreter(), "-X", f"heapsize={heap}", str(SCRIPTS / script), *arguments],
        env={"MICROPYPATH": search},
        capture_output=True,
        text=True,
        timeout=timeout_s,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def figures(output: str) -> dict[str, float]:
    """The `name value` lines as numbers."""
    pairs = (line.split() for line in output.splitlines())
    return {p[0]: float(p[1]) for p in pairs if len(p) == 2}
