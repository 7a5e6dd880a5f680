"""`sootline combustion` as a technician types it."""

import json

import pytest

from sootline.cli import main as sootline
from sootline.commands.combustion import main
from sootline.errors import UserError


def figures(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[dict[str, float], list[str]]:
    assert main([*argv, "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    return {f["key"]: f["value"] for f in record["figures"]}, record["estimate_because"]


def test_an_oxygen_reading_of_heating_oil(capsys: pytest.CaptureFixture[str]) -> None:
    """Siegert, heating oil EL: (220 - 20)(0.68/(21 - 5) + 0.007) = 9.9 %; only the composition is not analysed."""
    found, because = figures(capsys, "--o2", "5", "--stack", "220", "--air", "20", "--oil", "diesel")
    assert found["flue_loss"] == pytest.approx(200 * (0.68 / 16 + 0.007))
    assert found["efficiency"] == pytest.approx(100 - 9.9)
    assert found["slope"] == pytest.approx(0.68 / 16 + 0.007)
    assert found["excess_air"] == pytest.approx(100 * 0.94 * 5 / 15.95, abs=1.0)  # dry flue per air 0.93 to 0.94
    assert because == ["composition: typical light heating oil, not analysed"]


def test_carbon_dioxide_gives_the_oxygen(capsys: pytest.CaptureFixture[str]) -> None:
    """10 % of at most 15.4 %: O2 = 20.95 (1 - 10/15.4) = 7.3 %."""
    found, _ = figures(capsys, "--co2", "10", "--stack", "280", "--air", "15", "--oil", "diesel")
    assert found["o2"] == pytest.approx(7.3, abs=0.1)
    assert found["flue_loss"] == pytest.approx(265 * (0.50 / 10 + 0.007))


def test_without_a_gas_reading_it_is_an_estimate(capsys: pytest.CaptureFixture[str]) -> None:
    assert sootline(["combustion", "--stack", "290", "--air", "15", "--why"]) == 0
    text = capsys.readouterr().out
    assert "estimate: oxygen assumed" in text and "O2 7 % assumed" in text
    assert "another oil" in text and "CO alarms" in text
    assert "sootline.heat.flue_loss.efficiency: Siegert formula" in text


def test_fahrenheit_in(capsys: pytest.CaptureFixture[str]) -> None:
    si, _ = figures(capsys, "--o2", "6", "--stack", "280", "--air", "20")
    us, _ = figures(capsys, "--o2", "6", "--stack", "536", "--air", "68", "--us")
    assert us == pytest.approx(si)


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        (("--o2", "17", "--stack", "280", "--air", "20"), "flue oxygen"),
        (("--o2", "6", "--stack", "20", "--air", "280"), "exchanged"),
        (("--o2", "6", "--stack", "280", "--air", "20", "--oil", "butter"), "butter"),
    ],
)
def test_impossible_readings_are_refused(argv: tuple[str, ...], says: str) -> None:
    with pytest.raises(UserError, match=says):
        main(argv)
