"""`sootline batch`: the used-oil log, kept in one file that is only added to."""

import json
from pathlib import Path
from typing import Any

import pytest

from sootline.cli import main as sootline
from sootline.commands.batch import main
from sootline.errors import UserError
from tests.heat.history import PROFILE

# 40 CFR 279.11 table 1: arsenic 5, cadmium 2, chromium 10, lead 100, total halogens 4000 ppm, flash 100 °F minimum
AT_LIMITS = ["arsenic=5", "cadmium=2", "chromium=10", "lead=100", "halogens=999"]


def add(folder: Path, *argv: str, tests: list[str] = AT_LIMITS, source: str = "own") -> int:
    given = [word for test in tests for word in ("--test", test)]
    what = ["--source", source, "--kind", "engine-15w-40", "--volume", "200", "--received", "2026-02-01"]
    return main(["add", "--data", str(folder), *what, *given, *argv])


def listed(capsys: pytest.CaptureFixture[str], folder: Path, *argv: str) -> list[dict[str, Any]]:
    capsys.readouterr()
    assert main(["list", "--data", str(folder), "--json", *argv]) == 0
    record = json.loads(capsys.readouterr().out)
    assert "local law decides" in record["defers"]
    found: list[dict[str, Any]] = record["batches"]
    return found


def test_a_batch_at_its_limits_is_within_them(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert add(tmp_path, "--flash", "100", "--us") == 0  # 100 °F, and 200 gallons
    (batch,) = listed(capsys, tmp_path)
    assert batch["specification"].startswith("within every limit")
    assert {test["result"] for test in batch["tests"]} == {"within"}
    assert batch["litres"] == pytest.approx(757.08, abs=0.01) and batch["flash_C"] == pytest.approx(37.78, abs=0.01)
    assert batch["keep_until"] == "2029-02-01"


def test_over_a_limit_untested_and_presumed(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    add(tmp_path, tests=["lead=101"])
    add(tmp_path, tests=["halogens=1000"], source="other")
    first, second = listed(capsys, tmp_path)
    assert first["specification"].startswith("outside")
    results = {test["item"]: test["result"] for test in first["tests"]}
    assert results["lead"] == "above" and results["arsenic"] == results["flash point"] == "untested"
    assert {test["item"]: test["result"] for test in second["tests"]}["halogens"] == "flagged"
    assert second["number"] == 2 and second["specification"].startswith("not known")


def test_space_heater_conditions_of_each_furnace(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """40 CFR 279.23: own or household oil, at most 500 000 Btu/h (146.54 kW), vented outdoors."""
    (tmp_path / "profiles").mkdir()
    (tmp_path / "profiles" / "a.toml").write_text(PROFILE)
    (tmp_path / "profiles" / "b.toml").write_text('[furnace]\nid = "big"\nrated_input_kW = 147.0\n')
    add(tmp_path, source="other")
    (batch,) = listed(capsys, tmp_path, "--vent", "outdoors")
    found = {(c["furnace"], c["item"]): c["result"] for c in batch["space_heater"]}
    assert found["engine-shed", "rated input"] == "within" and found["big", "rated input"] == "above"
    assert found["big", "source"] == "flagged" and found["big", "vent"] == "within"
    (batch,) = listed(capsys, tmp_path)
    assert {c["result"] for c in batch["space_heater"] if c["item"] == "vent"} == {"untested"}


def test_the_log_is_only_added_to(tmp_path: Path) -> None:
    add(tmp_path)
    path = tmp_path / "oil" / "batches.jsonl"
    before = path.read_bytes()
    add(tmp_path)
    assert path.read_bytes() == before + before


def test_table_with_sources(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert add(tmp_path, "--analysis", "folder 12", "--why", "--flash", "80") == 0
    text = capsys.readouterr().out
    assert "keep its papers until 2029-02-01" in text and "folder 12" in text
    assert "40 CFR 279.11 table 1" in text and "40 CFR 279.23" in text and "local law decides" in text


def test_nothing_logged_yet(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert sootline(["batch", "list", "--data", str(tmp_path)]) == 0
    assert "no batch has been logged" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("tests", "says"), [(["gold=1"], "unknown test 'gold'"), (["lead"], "NAME=PPM"), (["lead=-1"], "lead")]
)
def test_what_cannot_be_logged(tmp_path: Path, tests: list[str], says: str) -> None:
    with pytest.raises(UserError, match=says):
        add(tmp_path, tests=tests)
    assert not (tmp_path / "oil").exists()


def test_a_damaged_line_is_named(tmp_path: Path) -> None:
    add(tmp_path)
    path = tmp_path / "oil" / "batches.jsonl"
    path.write_bytes(path.read_bytes() + b'{"received": 3}\n')
    with pytest.raises(UserError, match="line 2 is no batch"):
        main(["list", "--data", str(tmp_path)])
