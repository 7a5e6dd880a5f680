"""Prediction before proof: verdicts, the ledger that keeps its misses, and rows that cannot be edited unseen."""

from dataclasses import replace

import numpy as np
import pytest

from sootline.errors import OutOfRange
from sootline.heat.fouling_fit import fit_fouling
from sootline.heat.proof import Ledger, Outcome, Prediction, Row, measured_drop, predicted_drop, verdict
from tests.heat.coverage import seen_by
from tests.heat.seasons import season

SAID = Prediction(written_ms=1_000, drop_K=58.0, sd_K=9.0, ash_kg=1.6)


def outcome(drop_K: float, ash_kg: float | None = None) -> Outcome:
    return Outcome(cleaned_ms=2_000, drop_K=drop_K, se_K=2.0, ash_kg=ash_kg)


@pytest.mark.parametrize(
    ("drop_K", "result"),
    [
        (55.0, "hit"),
        (41.0, "hit"),  # 30 % under
        (40.0, "miss"),
        (76.0, "miss"),
        (17.5, "miss"),
        (17.0, "it was not ash"),  # less than 30 % came
        (-5.0, "it was not ash"),
    ],
)
def test_verdicts(drop_K: float, result: str) -> None:
    found = verdict(SAID, outcome(drop_K))
    assert found.result == result
    assert result in found.text or result == "hit" or "not as predicted" in found.text


def test_wide_prediction_is_judged_by_its_own_range() -> None:
    """80 % of a normal lie within 1.2816 sd: 58 - 1.2816 sqrt(25² + 2²) = 25.9 K is the last hit."""
    wide = replace(SAID, sd_K=25.0)
    assert verdict(wide, outcome(26.0)).result == "hit"
    assert verdict(wide, outcome(25.7)).result == "miss"


@pytest.mark.parametrize(("ash", "word"), [(1.86, "agrees"), (3.3, "more"), (0.7, "less"), (None, "not weighed")])
def test_weighed_ash(ash: float | None, word: str) -> None:
    assert verdict(SAID, outcome(55.0, ash)).ash == word


def test_prediction_must_come_first() -> None:
    with pytest.raises(OutOfRange, match="before the cleaning"):
        verdict(replace(SAID, written_ms=2_000), outcome(55.0))
    with pytest.raises(OutOfRange):
        verdict(replace(SAID, drop_K=0.0), outcome(55.0))


def test_ledger_keeps_hits_and_misses() -> None:
    ledger = Ledger()
    for drop in (55.0, 30.0, 5.0):
        ledger = ledger.predict(SAID).close(outcome(drop))
    assert ledger.hits() == (1, 3)
    assert ledger.unchanged()


def test_edited_rows_show() -> None:
    ledger = Ledger().predict(SAID).close(outcome(20.0)).predict(SAID)
    first = ledger.rows[0]
    kinder = replace(first.prediction, drop_K=20.0)
    forged = Ledger((Row(kinder, first.outcome, first.digest), *ledger.rows[1:]))
    assert not forged.unchanged()
    removed = Ledger(ledger.rows[1:])
    assert not removed.unchanged()


def test_old_ledger_is_untouched_by_a_new_row() -> None:
    before = Ledger().predict(SAID)
    after = before.close(outcome(55.0))
    assert before.rows[0].outcome is None and after.rows[0].outcome is not None


def test_order_of_predicting_and_closing() -> None:
    with pytest.raises(OutOfRange, match="no outcome"):
        Ledger().predict(SAID).predict(SAID)
    with pytest.raises(OutOfRange, match="no prediction is open"):
        Ledger().close(outcome(55.0))
    with pytest.raises(OutOfRange, match="no prediction is open"):
        Ledger().predict(SAID).close(outcome(55.0)).close(outcome(55.0))


def test_measured_drop_and_its_error() -> None:
    """Over 2000 seeded cleanings with independent firings the stated error is the real scatter within 25 %."""
    rng = np.random.default_rng(1)
    drops, errors = [], []
    for _ in range(2000):
        before, after = 60 + 4 * rng.standard_normal(15), 5 + 4 * rng.standard_normal(15)
        drop, error = measured_drop(before, after, correlation=0.0)
        drops.append(drop)
        errors.append(error)
    assert np.mean(drops) == pytest.approx(55.0, abs=0.15)
    assert np.mean(errors) == pytest.approx(np.std(drops), rel=0.25)


def test_one_wild_firing_does_not_move_the_drop() -> None:
    calm = np.full(10, 60.0) + np.linspace(-2, 2, 10)
    wild = calm.copy()
    wild[3] = 300.0
    assert measured_drop(wild, calm - 55)[0] == pytest.approx(55.0, abs=0.6)


def test_too_few_firings() -> None:
    with pytest.raises(OutOfRange, match="5 steady firings"):
        measured_drop(np.array([60.0] * 4 + [np.nan] * 4), np.zeros(10))


def test_predicted_drop_covers_the_true_one() -> None:
    """On 120 seeded seasons the true deposit lies inside the 80 % range of the prediction in 70 to 90 %."""
    inside = 0
    for seed in range(120):
        s = season(7000 + seed)
        course = fit_fouling(seen_by(s, 100))
        drop, sd = predicted_drop(course, float(s.burned_h[100]), np.random.default_rng(seed))
        inside += abs(s.rise_K[100] - drop) <= 1.2816 * sd
    assert 0.70 <= inside / 120 <= 0.90
