"""`sootline stock` on a stored past: oil by day, week and batch, firing rate, and how long the stock lasts."""

import json
from pathlib import Path
from typing import Any

import pytest

from sootline.cli import main as sootline
from sootline.commands.stock import main
from sootline.errors import UserError
from tests.heat.history import PROFILE, Past, outdoor_C

VCF_65C = 0.964  # ASTM D1250 generalised lubricants, 885 kg/m³, 65 °C to 15 °C; from memory of the form
REFILL_L = 0.45 * VCF_65C


def told(capsys: pytest.CaptureFixture[str], past: Past, *argv: str) -> dict[str, Any]:
    assert main([past.furnace, "--data", str(past.folder), "--json", *argv]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def figure(found: dict[str, Any], key: str) -> dict[str, Any]:
    (one,) = (f for f in found["figures"] if f["key"] == key)
    return one


def follow_weather(past: Past, days: int) -> None:
    """Refills a firing follow the weather: base 17 °C, about one in 1.0 K of degree days a firing."""
    for _ in range(days):
        past.burn(1, refills=round(17.0 - outdoor_C(past.day)))


def test_count_times_differential(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """72 refills a day; 18 in two hours at 40 MJ/L: 3.9 L/h, 43 kW of 52."""
    past = Past(tmp_path)
    past.burn(16)
    past.log("batch")
    past.burn(5)
    found = told(capsys, past)
    assert figure(found, "burned")["value"] == pytest.approx(21 * 72 * REFILL_L, rel=0.003)
    days = found["periods"]["day"]
    assert [d["refills"] for d in days] == [72] * 14 and days[-1]["name"] == "2026-01-25"
    assert days[0]["litres"] == pytest.approx(72 * REFILL_L, rel=0.003)
    assert [w["refills"] for w in found["periods"]["week"]] == [504] * 3
    assert found["periods"]["week"][0]["name"] == "week of 2026-01-05"
    assert [b["refills"] for b in found["periods"]["batch"]] == [16 * 72, 5 * 72]
    assert figure(found, "rate")["value"] == pytest.approx(9 * REFILL_L, rel=0.003)
    assert figure(found, "input")["value"] == pytest.approx(9 * REFILL_L * 40 / 3.6, rel=0.03)
    ratio = figure(found, "of_rating")
    assert ratio["value"] == pytest.approx(figure(found, "input")["value"] / 52.0) and ratio["note"] == ""
    assert ratio["standard_error"] > 0.03


def test_overfired_is_said(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    past = Past(tmp_path)
    past.burn(3, refills=30)
    assert "over its rating" in figure(told(capsys, past), "of_rating")["note"]


def test_days_left_follow_the_weather(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """4 firings a day, a refill each for each kelvin below 17 °C: 1.74 L a degree day, 36 L a day at -4 °C."""
    past = Past(tmp_path)
    follow_weather(past, 30)
    found = told(capsys, past, "--litres", "500")
    assert figure(found, "per_degree_day")["value"] == pytest.approx(4 * REFILL_L, rel=0.05)
    days = [figure(found, key)["value"] for key in ("days_low", "days", "days_high")]
    assert days[0] < days[1] < days[2]
    assert days[1] == pytest.approx(500 / (4 * REFILL_L * 21), rel=0.1)
    colder = told(capsys, past, "--litres", "500", "--outdoor", "-15")
    assert figure(colder, "days")["value"] == pytest.approx(500 / (4 * REFILL_L * 32), rel=0.1)
    assert told(capsys, past, "--litres", "500") == found


def test_stock_from_the_level(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """1000 L, 0.9 full and falling by 0.0002 an hour for 480 h: 0.804."""
    past = Past(tmp_path)
    past.burn(20)
    found = told(capsys, past)
    assert figure(found, "stock")["value"] == pytest.approx(804, abs=2)
    assert figure(found, "stock")["note"] == "supply tank at 80%"
    # every day burns the same, so degree days explain nothing and the present use counts: 31 L a day
    assert figure(found, "days")["value"] == pytest.approx(804 / (72 * REFILL_L), rel=0.1)


def test_without_outdoor_temperature_the_present_use_is_carried_on(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    past = Past(tmp_path, outdoors=False)
    past.burn(20)
    found = told(capsys, past, "--litres", "300")
    assert figure(found, "days")["value"] == pytest.approx(300 / (72 * REFILL_L), rel=0.003)
    assert any("degree days: not used" in note for note in found["notes"])


def test_what_is_missing_is_said(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    past = Past(tmp_path)
    past.burn(3)
    profile = tmp_path / "profiles" / "engine-shed.toml"
    profile.write_text(PROFILE.replace("volume_l = 1000.0", ""))
    found = told(capsys, past)
    assert found["empty_on"] is None and any("(--litres)" in note for note in found["notes"])
    profile.write_text(PROFILE.replace("differential_l = 0.45", ""))
    with pytest.raises(UserError, match=r"set refill\.differential_l"):
        main([past.furnace, "--data", str(tmp_path)])


def test_table_in_us_units_with_sources(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    past = Past(tmp_path)
    follow_weather(past, 12)
    assert sootline(["stock", past.furnace, "--data", str(tmp_path), "--us", "--why"]) == 0
    text = capsys.readouterr().out
    assert "Btu/h" in text and "gal/h" in text and "oil burned [gal]" in text
    assert "sootline.heat.degree_days.days_to_empty: " in text and "Empty about 2026-" in text


def test_the_newest_batch_logged_is_reckoned_with(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    past = Past(tmp_path)
    past.burn(2)
    assert any("oil: assumed" in note for note in told(capsys, past)["notes"])
    for kind, day in (("vg-68", "2026-01-20"), ("rapeseed", "2026-01-05"), ("from the garage", "2026-02-01")):
        given = ["--source", "own", "--kind", kind, "--volume", "100", "--received", day]
        assert sootline(["batch", "add", "--data", str(tmp_path), *given]) == 0
    capsys.readouterr()
    assert any("oil: vg-68" in note for note in told(capsys, past)["notes"])
