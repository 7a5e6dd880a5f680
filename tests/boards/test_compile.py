"""Short private names: what a module does and what others see of it stays as it was."""

import ast
from pathlib import Path

import pytest

from sootline.bench import FIRMWARE
from sootline.bench.compile import compile_all, compiler, shortened
from sootline.errors import UserError

SOURCES = {str(p.relative_to(FIRMWARE)): p.read_text() for p in sorted((FIRMWARE / "sootboard").rglob("*.py"))}


def _names(text: str) -> set[str]:
    """Every name, attribute and parameter of a module."""
    found = set()
    for node in ast.walk(ast.parse(text)):
        for field in ("id", "attr", "arg", "name"):
            name = getattr(node, field, None)
            if isinstance(name, str):
                found.add(name)
    return found


def test_a_module_has_as_many_names_as_before_and_its_public_ones() -> None:
    short = shortened(SOURCES)
    before, after = set(), set()
    for module, text in SOURCES.items():
        old, new = _names(text), _names(short[module])
        assert len(old) == len(new), module  # no two have become one
        assert {type(node) for node in ast.walk(ast.parse(text))} == {
            type(node) for node in ast.walk(ast.parse(short[module]))
        }
        assert text.count("\n") == short[module].count("\n")
        before |= old
        after |= new
    assert len(after) < len(before) * 0.85


def test_what_others_may_use_keeps_its_name() -> None:
    short = shortened(
        {
            "base": "class Base:\n    def __init__(self, place):\n        self._kept = place\n        self.place = 1\n",
            "more": "from base import Base\n\n\nclass More(Base):\n    def look(self, depth, *, by=1):\n"
            "        return self._kept, depth, by, self._own(by=2)\n\n    def _own(self, by):\n        return by\n",
            "strings": 'import _onewire\n\n\ndef f(x_len, data):\n    "_kept"\n    return _onewire, len(data), x_len\n',
        }
    )
    scope: dict[str, object] = {}
    exec(short["base"], scope)
    exec(short["more"].replace("from base import Base", ""), scope)
    assert scope["More"](7).look(3) == (7, 3, 1, 2)  # type: ignore[operator]
    assert "_kept" not in short["base"] + short["more"] and "depth" not in short["more"]
    assert "self.place" in short["base"] and "by=1" in short["more"] and "def look" in short["more"]
    assert "import _onewire" in short["strings"] and '"_kept"' in short["strings"] and "len(" in short["strings"]
    assert "x_len" not in short["strings"]


def test_an_error_names_the_module(tmp_path: Path) -> None:
    program = compiler()
    assert program
    with pytest.raises(UserError, match=r"sootboard/bad\.py: cannot be compiled"):
        compile_all(program, shortened({"sootboard/bad.py": "def (\n"}), {"sootboard/bad.py": tmp_path / "bad.mpy"})
