"""What evidence says: every number carries its unit, so that it can be read in the units an owner has chosen."""

import ast
import re
from pathlib import Path

import pytest

from sootline.analysis import causes
from sootline.units import said

FILES = sorted(Path(causes.__file__).parent.glob("evidence_*.py"))
UNITS = re.compile(r" (K/min|K per 100 h|K|°C|kPa|Pa|A|s|min|h|days|%|times)\b| %|s\b")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_number_is_never_without_its_unit(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text())):
        if not isinstance(node, ast.JoinedStr):
            continue
        for i, part in enumerate(node.values):
            if isinstance(part, ast.FormattedValue) and part.format_spec is not None:
                rest = node.values[i + 1 :]
                after = rest[0] if rest else ast.Constant("")
                if isinstance(after, ast.Constant) and str(after.value) == " " and len(rest) > 1:
                    continue  # the unit is a variable
                ok = isinstance(after, ast.Constant) and UNITS.match(str(after.value))
                assert ok or "to {" in ast.unparse(node), f"{path.name}:{node.lineno}: {ast.unparse(node)}"


@pytest.mark.parametrize(
    ("text", "metric", "customary"),
    [
        ("air 96 kPa of 97 kPa", "air 96 kPa of 97 kPa", "air 13.9 psi of 14.1 psi"),
        ("suction -65.0 kPa", "suction −65.0 kPa", "suction −19.2 in Hg"),
        ("stack rose 12 K, then fell", "stack rose 12 °C, then fell", "stack rose 22 °F, then fell"),
        ("supply -5 °C, 6 K colder", "supply −5 °C, 6 °C colder", "supply 23 °F, 11 °F colder"),
        ("climbs 1.2 K/min", "climbs 1.2 °C/min", "climbs 2.2 °F/min"),
        ("rises 32 K per 100 h", "rises 32 °C per 100 h", "rises 58 °F per 100 h"),
        ("breech draft -10 Pa", "breech draft −10 Pa", "breech draft −0.040 in w.c."),
        ("at -4 ± 4 °C outdoors", "at −4 ± 4 °C outdoors", "at 25 ± 7 °F outdoors"),
        ("3 of the last 7 firings", "3 of the last 7 firings", "3 of the last 7 firings"),
    ],
)
def test_sentences_are_read_in_the_units_chosen(text: str, metric: str, customary: str) -> None:
    """Factors of NIST SP 811; 10 Pa are 0.0401 inches of water, 65 kPa 19.19 inches of mercury."""
    assert said(text, "si") == metric and said(text, "us") == customary
