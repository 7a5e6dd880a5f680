"""The loaded data, one cache of SPICE runs, and a way to break a copy of the data."""

import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from hardware.generate.load import FOLDER, REPOSITORY, Hardware, load
from hardware.generate.spice import Runs

if str(REPOSITORY / "firmware") not in sys.path:
    sys.path.insert(0, str(REPOSITORY / "firmware"))
if str(REPOSITORY / "firmware" / "bench") not in sys.path:
    sys.path.insert(0, str(REPOSITORY / "firmware" / "bench"))  # const() of the board code

Edit = tuple[str, str, str]


@pytest.fixture(scope="session")
def hardware() -> Hardware:
    return load()


@pytest.fixture(scope="session")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Runs:
    if shutil.which("ngspice") is None:
        pytest.skip("ngspice is missing: apt-get install ngspice")
    return Runs(tmp_path_factory.mktemp("spice"))


@pytest.fixture
def broken(tmp_path: Path) -> Callable[..., Hardware]:
    """Load a copy of the data after edits, each (file, old text, new text); the old text must be there."""

    def change(*edits: Edit) -> Hardware:
        folder = tmp_path / "hardware"
        shutil.copytree(FOLDER, folder, ignore=shutil.ignore_patterns("generate", "out", "build", "__pycache__"))
        for name, old, new in edits:
            path = folder / name
            text = path.read_text(encoding="utf-8")
            assert old in text, f"{name} does not hold {old!r}"
            path.write_text(text.replace(old, new, 1), encoding="utf-8")
        return load(folder)

    return change
