"""What may import what, read from the syntax trees. The drawing in DEVELOPERS.md is this table."""

import ast
import sys
from pathlib import Path

import pytest

HOST = Path(__file__).parents[1] / "host" / "sootline"

# From the outside in. A file may import from rows below its own, and from its own package.
ROWS: tuple[tuple[str, ...], ...] = (
    ("__main__",),
    ("cli",),
    ("commands",),
    ("demo",),
    ("service",),
    ("acts",),
    ("web", "watches", "retained", "boards", "courier"),
    ("ingest", "live"),
    ("mirror", "frames", "papers"),
    ("advice",),
    ("broker", "files", "store", "bench", "fleet", "people", "timeserver", "usb"),
    # pure from here down
    ("walkthrough", "messages"),
    ("report",),
    ("lifecycle", "wording"),
    ("analysis", "sim", "commissioning", "units"),
    ("heat",),
    ("logbook",),
    ("now", "profile"),
    ("wire",),
    ("alarms", "series", "events"),
    ("channels",),
    ("errors",),
)
PURE_FROM = ROWS.index(next(row for row in ROWS if "walkthrough" in row))
NOT_IN_PURE = {
    "asyncio", "concurrent", "http", "logging", "multiprocessing", "os", "paho", "pathlib", "pyarrow",
    "requests", "selectors", "shutil", "signal", "socket", "sqlite3", "starlette", "subprocess", "tempfile",
    "threading", "time", "urllib", "uvicorn",
}  # fmt: skip
CLOCKS = {"now", "today", "utcnow"}  # of datetime and date


def row_of(name: str) -> int:
    for i, row in enumerate(ROWS):
        if name in row:
            return i
    raise AssertionError(f"'{name}' stands in no row of tests/test_layers.py; say where it belongs")


def imports(tree: ast.AST) -> list[str]:
    names: list[str] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute here"
            if node.module == "sootline":
                names += [f"sootline.{alias.name}" for alias in node.names]
            else:
                names.append(node.module or "")
    return names


def breaches(own: str, tree: ast.AST) -> list[str]:
    """What a file of the top-level module or package `own` imports and may not."""
    row = row_of(own)
    found = []
    for name in imports(tree):
        top, _, rest = name.partition(".")
        if top == "sootline":
            other = rest.split(".")[0]
            if other and other != "__version__" and other != own and row_of(other) <= row:
                found.append(f"{own} imports {name}, which is not below it")
        elif row >= PURE_FROM and top in NOT_IN_PURE:
            found.append(f"{own} is pure and imports {name}")
    if row >= PURE_FROM:
        found += [
            f"{own} is pure and asks for the time with .{node.attr}()"
            for node in ast.walk(tree)
            if isinstance(node, ast.Attribute) and node.attr in CLOCKS and isinstance(node.value, ast.Name)
            and node.value.id in ("datetime", "date")
        ]  # fmt: skip
    return found


def own_name(path: Path) -> str:
    return path.relative_to(HOST).parts[0].removesuffix(".py")


@pytest.mark.parametrize("path", sorted(HOST.rglob("*.py")), ids=lambda path: str(path.relative_to(HOST)))
def test_every_file_imports_only_from_below(path: Path) -> None:
    if path != HOST / "__init__.py":
        assert breaches(own_name(path), ast.parse(path.read_text())) == []


@pytest.mark.parametrize(
    ("own", "source"),
    [
        ("analysis", "import sqlite3"),
        ("analysis", "from sootline.store.store import Store"),
        ("heat", "from sootline.analysis.engine import Engine"),
        ("sim", "from datetime import datetime\nx = datetime.now()"),
        ("store", "from sootline.web import app"),
    ],
)
def test_a_planted_breach_is_found(own: str, source: str) -> None:
    assert breaches(own, ast.parse(source))


def test_third_party_packages_stay_at_the_edge() -> None:
    """Below the edge only numpy and msgspec (which decodes the wire) are used besides the standard library."""
    allowed = {*sys.stdlib_module_names, "numpy", "msgspec", "sootline"}
    for path in HOST.rglob("*.py"):
        if path != HOST / "__init__.py" and row_of(own_name(path)) >= PURE_FROM:
            strange = {name.partition(".")[0] for name in imports(ast.parse(path.read_text()))} - allowed
            assert not strange, f"{path}: {strange}"
