"""`sootline oil` as a person types it: tables, JSON, sources, and refusals in one clear line."""

import json
import re

import pytest

from sootline.cli import main as sootline
from sootline.commands.oil import main
from sootline.errors import UserError

BLEND = ["--part", "vg-220=0.6", "--part", "vg-68=0.4"]


def record(capsys: pytest.CaptureFixture[str], *argv: str) -> dict[str, dict[str, object]]:
    main([*argv, "--json"])
    figures = json.loads(capsys.readouterr().out)["figures"]
    return {f["key"]: f for f in figures}


def number(text: str, name: str) -> float:
    found = re.search(rf"^{re.escape(name)} +([-\d.]+) ", text, re.MULTILINE)
    assert found is not None, f"{name} not in\n{text}"
    return float(found.group(1))


def test_table_of_a_tested_blend(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*BLEND, "--flash", "180", "--differential-l", "0.45"]) == 0
    text = capsys.readouterr().out
    assert number(text, "nozzle for 15 mm²/s") == 96 and number(text, "nozzle for 20 mm²/s") == 86
    assert number(text, "flash point") == 180
    # 0.45 L at 60 °C: VCF 0.968, about 40 MJ/L
    assert number(text, "a refill at 15 °C") == pytest.approx(0.436, abs=0.001)
    assert number(text, "heat in a refill, gross") == pytest.approx(17.4, abs=0.1)
    assert "°C" in text and "MJ/kg" in text and "local codes" in text


def test_advice_above_an_assumed_flash_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(BLEND) == 0  # 20 mm²/s is still possible
    text = capsys.readouterr().out
    assert re.search(r"nozzle for 15 mm²/s +- °C +refused: needs 96 °C, not below the assumed flash point 93 °C", text)
    assert number(text, "nozzle for 20 mm²/s") == 86
    assert "small margin" in text


def test_nothing_left_to_advise_is_a_failure(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*BLEND, "--flash", "60"]) == 1
    text = capsys.readouterr().out
    assert text.count("refused") == 2 and "below flash by" not in text


def test_us_units_in_and_out(capsys: pytest.CaptureFixture[str]) -> None:
    si = record(capsys, *BLEND, "--flash", "180", "--differential-l", "0.45", "--tank", "60")
    us = record(capsys, *BLEND, "--flash", "356", "--differential-l", "0.45", "--tank", "140", "--us")
    for key, figure in si.items():
        assert us[key]["value"] == pytest.approx(figure["value"], rel=1e-9), key
    main([*BLEND, "--flash", "356", "--us", "--differential-l", "0.45"])
    text = capsys.readouterr().out
    assert number(text, "nozzle for 15 mm²/s") == pytest.approx(205, abs=1)
    assert number(text, "a refill, hot") == pytest.approx(0.119)  # 0.45 L / 3.7854
    assert "°C" not in text.replace("at 15 °C", "") and "Btu/gal" in text


def test_points_in_fahrenheit(capsys: pytest.CaptureFixture[str]) -> None:
    si = record(capsys, "--point", "40=107", "--point", "100=14.5")
    us = record(capsys, "--point", "104=107", "--point", "212=14.5", "--us")
    assert us["nozzle_20_mm2_s"]["value"] == pytest.approx(si["nozzle_20_mm2_s"]["value"])
    assert si["nozzle_20_mm2_s"]["value"] == pytest.approx(87.25, abs=0.01)  # independent D341


def test_json_is_in_si_and_names_units(capsys: pytest.CaptureFixture[str]) -> None:
    main(["--grade", "rapeseed", "--json", "--us"])
    found = json.loads(capsys.readouterr().out)
    figures = {f["key"]: f for f in found["figures"]}
    assert figures["flash"] == {"key": "flash", "value": 101.0, "unit": "°C", "note": "standard"}  # DIN 51605
    assert figures["margin_15_mm2_s"]["unit"] == "K"
    assert found["flash_known"] == "standard" and found["notes"] and "flash" in found["caution"]
    assert all(f["unit"] for f in found["figures"])


def test_every_figure_tells_why(capsys: pytest.CaptureFixture[str]) -> None:
    figures = record(capsys, *BLEND, "--why", "--differential-l", "0.45")
    assert all(str(f["function"]).startswith("sootline.heat.") and f["source"] for f in figures.values())
    assert "ASTM D341" in str(figures["nozzle_20_mm2_s"]["source"])
    assert "D1250" in str(figures["refill_15C"]["source"])
    main([*BLEND, "--why"])
    text = capsys.readouterr().out
    rows = [line for line in text.split("\nNotes")[0].splitlines() if line]
    assert len(rows) % 2 == 0 and all(line.startswith("    sootline.heat.") for line in rows[1::2])


def test_kinds_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--kinds"]) == 0
    assert "rapeseed" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        (["--grade", "mystery"], "known: atf"),
        (["--part", "vg-46=0.5"], "sum to 0.5"),
        (["--part", "vg-46"], "KIND=FRACTION"),
        (["--part", "vg-46=half"], "'half' is not a number"),
        (["--point", "40=107"], "two viscosity points"),
        (["--point", "40=107", "--point", "100=200"], "oil thins"),
        (["--grade", "vg-46", "--differential-l", "-1"], "differential"),
        (["--grade", "vg-46", "--water", "80"], "water"),
        (["--grade", "vg-46", "--density", "2000"], "density"),
    ],
)
def test_mistakes_are_one_clear_line(argv: list[str], says: str) -> None:
    with pytest.raises(UserError, match=re.escape(says)) as error:
        main(argv)
    assert "\n" not in str(error.value)


def test_mistakes_end_the_command_with_status_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert sootline(["oil", "--grade", "mystery"]) == 2
    assert capsys.readouterr().err.startswith("sootline: unknown oil kind 'mystery'")
