"""`sootline cleaning` on a stored past: dates, what binds, what could fake it, prediction and proof."""

import json
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sootline.advice.probe import response_s
from sootline.cli import main as sootline
from sootline.commands.cleaning import main
from sootline.errors import UserError
from tests.heat.history import Past


@pytest.fixture
def past(tmp_path: Path) -> Past:
    """38 days, 304 burning hours, 0.15 K an hour: 45.6 K over clean."""
    made = Past(tmp_path)
    made.burn(20)
    made.log("batch")
    made.burn(18)
    return made


def told(capsys: pytest.CaptureFixture[str], past: Past, *argv: str) -> dict[str, Any]:
    assert main([past.furnace, "--data", str(past.folder), "--json", *argv]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def figure(found: dict[str, Any], key: str) -> dict[str, Any]:
    (one,) = (f for f in found["figures"] if f["key"] == key)
    return one


def limit(found: dict[str, Any], name: str) -> dict[str, Any]:
    (one,) = (entry for entry in found["limits"] if entry["limit"] == name)
    return one


def days_off(found: str, due: str) -> int:
    return abs((date.fromisoformat(found) - date.fromisoformat(due)).days)


def test_what_was_burned(capsys: pytest.CaptureFixture[str], past: Past) -> None:
    """2736 refills of 0.45 L at 65 °C: VCF about 0.964 at 885 kg/m³ (D1250), 1187 L at 15 °C."""
    found = told(capsys, past)
    assert found["clean_since"] == "2026-01-05" and found["declared_clean"] is True
    assert figure(found, "hours")["value"] == pytest.approx(304.0)
    assert figure(found, "starts")["value"] == 152
    assert figure(found, "oil")["value"] == pytest.approx(2736 * 0.45 * 0.964, rel=0.003)


def test_rise_slope_and_date(capsys: pytest.CaptureFixture[str], past: Past) -> None:
    """60 K after 400 h, at 8 h a day on 23 February; 380 - 40 - 289 = 51 K is met first, after 340 h, mid February."""
    found = told(capsys, past, "--season-end", "2026-04-30")
    rise = figure(found, "rise")
    assert abs(rise["value"] - 45.6) < 2 * rise["standard_error"]
    for batch in ("slope_batch_1", "slope_batch_2"):
        assert abs(figure(found, batch)["value"] - 15.0) < 3 * figure(found, batch)["standard_error"]
    assert sum(f["value"] for f in found["figures"] if f["key"].startswith("law_")) == pytest.approx(100.0)
    assert days_off(limit(found, "rise")["date"][1], "2026-02-23") <= 3
    assert found["binding"] == "stack limit"
    assert days_off(found["date"][1], "2026-02-15") <= 3
    assert limit(found, "season end")["date"] == ["2026-04-30"] * 3
    first, best, last = found["money_window"]
    assert first < best < last and found["waiting"]["28"] > found["waiting"]["7"] > 0


def test_the_same_day_says_the_same(capsys: pytest.CaptureFixture[str], past: Past) -> None:
    assert told(capsys, past) == told(capsys, past)


def test_nothing_fakes_it(capsys: pytest.CaptureFixture[str], past: Past) -> None:
    causes = {c["cause"]: c["result"] for c in told(capsys, past)["causes"]}
    assert causes["blower"] == causes["batch"] == causes["return air"] == causes["firing rate"] == "unlikely"
    (probe,) = (c for c in told(capsys, past)["causes"] if c["cause"] == "probe")
    assert probe["result"] == "not tested"
    assert "0 starts while clean and 0 now" in probe["evidence"] and "0 cold readings" in probe["evidence"]


def probed(folder: Path, before_s: float, after_s: float, shift_K: float = 0.0) -> Past:
    """Twenty days with one probe response time, twelve with another and a shifted reading; the ash goes on growing."""
    past = Past(folder, probe_tau_s=before_s)
    past.burn(20)
    past.probe_tau_s, past.probe_off_K = after_s, past.probe_off_K + shift_K
    past.burn(12)
    return past


def probe_of(capsys: pytest.CaptureFixture[str], past: Past) -> tuple[str, str]:
    (probe,) = (c for c in told(capsys, past)["causes"] if c["cause"] == "probe")
    return probe["result"], probe["evidence"]


def test_ash_alone_does_not_accuse_the_probe(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    result, evidence = probe_of(capsys, probed(tmp_path, 20.0, 20.0))
    assert result == "unlikely" and "response time" in evidence and "cold reading shifted" in evidence
    assert "only" not in evidence


@pytest.mark.parametrize(
    ("after_s", "shift_K", "said", "unsaid"),
    [
        (75.0, 0.0, "response time +", "cold"),
        (20.0, -4.0, "cold reading shifted -", "response"),
        (20.0, 4.0, "cold reading shifted +", "response"),
    ],
)
def test_a_probe_that_was_pulled_back_is_named(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, after_s: float, shift_K: float, said: str, unsaid: str
) -> None:
    result, evidence = probe_of(capsys, probed(tmp_path, 20.0, after_s, shift_K))
    assert result == "likely" and said in evidence and unsaid not in evidence


def test_a_return_air_sensor_added_later_shifts_nothing(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Return air 6 K over the room, read only now: both periods are held against the room."""
    past = Past(tmp_path, probe_tau_s=20.0)
    past.burn(20)
    past.returned_C = 22.0
    past.burn(12)
    result, evidence = probe_of(capsys, past)
    assert result == "unlikely" and "cold reading shifted" in evidence


def test_too_few_readings_of_the_probe_are_counted(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """No stack readings at first, eight nights of them now."""
    past = Past(tmp_path)
    past.burn(20)
    past.probe_tau_s = 20.0
    past.burn(12)
    result, evidence = probe_of(capsys, past)
    assert result == "not tested" and "0 starts while clean and 30 now" in evidence


@pytest.mark.parametrize("tau_s", [20.0, 75.0])
def test_response_of_a_first_order_probe_is_its_time_constant(tau_s: float) -> None:
    """Textbook step response; read every 5 s, the level at 8-10 min is the final one within exp(-480/75) = 0.2 %."""
    t_s = np.arange(-60.0, 600.0, 5.0)
    stack = 20.0 + 250.0 * (1.0 - np.exp(-np.maximum(t_s, 0.0) / tau_s))
    assert response_s(t_s, stack) == pytest.approx(tau_s, rel=0.02)
    hole = np.where((t_s > tau_s - 20.0) & (t_s < tau_s + 20.0), np.nan, stack)
    assert response_s(t_s, hole) is None
    assert response_s(t_s, np.where(t_s <= 0.0, np.nan, stack)) is None
    assert response_s(t_s, 20.0 + (stack - 20.0) / 10.0) is None, "a rise of 25 K is no start"


def test_a_larger_nozzle_is_named(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Refills every 360 s in place of 400 s: 11 % more oil."""
    past = Past(tmp_path, rise_K_per_h=0.05)
    past.burn(20)
    past.burn(12, refills=20)
    (cause,) = (c for c in told(capsys, past)["causes"] if c["cause"] == "firing rate")
    assert cause["result"] == "likely" and cause["explains_K"] > 10


def test_smoke_and_ash_limits(capsys: pytest.CaptureFixture[str], past: Past) -> None:
    smoke = [f"--smoke={day}" for day in ("2026-01-10=0", "2026-01-20=0.5", "2026-02-05=1")]
    found = told(capsys, past, *smoke, "--ash-full-kg", "2", "--oil", "vg-68")
    assert limit(found, "smoke")["date"][1] > "2026-02-12"
    assert figure(found, "ash_brought")["value"] == pytest.approx(0.5, abs=0.05)  # 0.05 % of 1.05 t
    assert limit(found, "ash")["date"][1] == "later"
    with pytest.raises(UserError, match="DATE=NUMBER"):
        main([past.furnace, "--data", str(past.folder), "--smoke", "soon"])


def test_ash_weighed_is_compared(capsys: pytest.CaptureFixture[str], past: Past) -> None:
    """9.1 kg brought by engine oil of 0.87 %, a tenth kept: 0.9 kg."""
    assert figure(told(capsys, past, "--ash-kg", "1.1"), "ash_weighed")["note"] == "agrees within a factor 2"
    assert figure(told(capsys, past, "--ash-kg", "4"), "ash_weighed")["note"] == "more than expected"


def test_table_in_us_units_with_sources(capsys: pytest.CaptureFixture[str], past: Past) -> None:
    assert sootline(["cleaning", past.furnace, "--data", str(past.folder), "--us", "--why"]) == 0
    text = capsys.readouterr().out
    assert "°F per 100 h" in text and " gal " in text
    assert "sootline.heat.proof.predicted_drop: " in text and "vent_rise_limit: " in text
    assert "Clean between" in text and "Money: any time between" in text


def test_too_young_to_tell(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    past = Past(tmp_path)
    past.burn(9)
    found = told(capsys, past)
    assert "date" not in found and "days are too few" in found["refused"]
    with pytest.raises(UserError, match="nothing can be predicted yet"):
        main([past.furnace, "--data", str(tmp_path), "--predict"])


def test_unknown_furnace(past: Past) -> None:
    with pytest.raises(UserError, match=r"no furnace 'barn'.*engine-shed"):
        main(["barn", "--data", str(past.folder)])


def proved(capsys: pytest.CaptureFixture[str], past: Past, *argv: str) -> dict[str, Any]:
    return told(capsys, past, "--prove", *argv)


def test_a_hit_is_proved(capsys: pytest.CaptureFixture[str], past: Past) -> None:
    assert "Written down" in told(capsys, past, "--predict")["written"]
    ledger = past.folder / "ledger" / "engine-shed.jsonl"
    before = ledger.read_bytes()
    past.burn(1)
    with pytest.raises(UserError, match="no cleaning has been logged"):
        proved(capsys, past)
    past.log("cleaning")
    past.burn(4)
    found = proved(capsys, past, "--ash-kg", "1.0")
    assert found["result"] == "hit" and (found["hits"], found["cleanings"]) == (1, 1)
    assert found["measured_K"] == pytest.approx(45.6, abs=4) and found["ash"] == "agrees"
    assert ledger.read_bytes().startswith(before), "the prediction was not touched"
    with pytest.raises(UserError, match="no prediction is open"):
        proved(capsys, past)


def test_it_was_not_ash(capsys: pytest.CaptureFixture[str], past: Past) -> None:
    told(capsys, past, "--predict")
    past.burn(1)
    past.log("cleaning")
    past.burn(4, step_K=40.0)
    found = proved(capsys, past)
    assert found["result"] == "it was not ash" and (found["hits"], found["cleanings"]) == (0, 1)


def test_a_prediction_stands_until_it_is_proved(capsys: pytest.CaptureFixture[str], past: Past) -> None:
    told(capsys, past, "--predict")
    with pytest.raises(UserError, match="stand until the cleaning"):
        main([past.furnace, "--data", str(past.folder), "--predict"])


def test_a_changed_ledger_is_noticed(capsys: pytest.CaptureFixture[str], past: Past) -> None:
    told(capsys, past, "--predict")
    ledger = past.folder / "ledger" / "engine-shed.jsonl"
    line = json.loads(ledger.read_text())
    line["prediction"]["drop_K"] = 30.0
    ledger.write_text(json.dumps(line) + "\n")
    with pytest.raises(UserError, match="line 1 has been changed"):
        proved(capsys, past)


def test_without_a_profile_the_rise_is_still_told(capsys: pytest.CaptureFixture[str], past: Past) -> None:
    (past.folder / "profiles" / "engine-shed.toml").unlink()
    found = told(capsys, past)
    assert found["declared_clean"] is False and figure(found, "oil")["value"] is None
    assert [entry["limit"] for entry in found["limits"]] == ["rise"]
    assert any("common practice" in note for note in found["notes"])


def test_draft_weakens_to_its_limit(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """-5 Pa when clean, 0.1 Pa less for each kelvin: no draft left at 50 K, 1.2 K a day: 15 February."""
    past = Past(tmp_path, draft_clean_Pa=-5.0)
    past.burn(30)
    found = told(capsys, past, "--why")
    draft = limit(found, "draft")
    assert days_off(draft["date"][1], "2026-02-15") <= 3
    assert draft["function"] == "sootline.heat.cleaning_limits.draft_rise_limit" and draft["source"]


def test_a_furnace_that_hardly_fouls_is_not_called_dirty(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """0.02 K an hour: 60 K after 3000 h, more than a year away."""
    past = Past(tmp_path, rise_K_per_h=0.02)
    past.burn(40)
    assert main([past.furnace, "--data", str(tmp_path)]) == 0
    text = capsys.readouterr().out
    assert "Clean more than 200 days from now" in text or "Clean from 2026-0" in text
    assert told(capsys, past)["date"][1] == "later"
