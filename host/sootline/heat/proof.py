"""Prediction before proof: what cleaning should do is written down first, and kept, hit or miss.

Rows are never edited: each carries the digest of its content and of the row before it, so a change shows.
"""

import hashlib
from dataclasses import dataclass, replace
from math import hypot
from typing import Literal

import numpy as np

from sootline.errors import OutOfRange
from sootline.heat.ash import WeighedAsh, weighed_verdict
from sootline.heat.elementwise import FloatArray, check_positive, check_range
from sootline.heat.fouling_fit import FoulingCourse, draw_courses

NOT_ASH_SHARE = 0.30
Z80 = 1.2816


@dataclass(frozen=True)
class Prediction:
    """Written before cleaning: when [ms UTC], expected fall of the stack, its standard deviation [K], ash [kg]."""

    written_ms: int
    drop_K: float
    sd_K: float
    ash_kg: float | None = None


@dataclass(frozen=True)
class Outcome:
    """Measured after the cleaning: when [ms UTC], fall of the normalised stack and its standard error [K], ash [kg]."""

    cleaned_ms: int
    drop_K: float
    se_K: float
    ash_kg: float | None = None


Result = Literal["hit", "miss", "it was not ash"]
AshResult = WeighedAsh | Literal["not weighed"]


@dataclass(frozen=True)
class Verdict:
    """The comparison: result, share of the predicted fall that came [-], ash verdict, and a sentence."""

    result: Result
    share: float
    ash: AshResult
    text: str


def predicted_drop(course: FoulingCourse, now_h: float, rng: np.random.Generator) -> tuple[float, float]:
    """Fall of the stack a full cleaning should bring now, and its standard deviation [K].

    course: fitted to the rise in kelvin; now_h: burning hours since clean [h]. The whole rise goes, the baseline
    error stays.
    Raises: OutOfRange
    Source: 2000 draws of `fouling_fit.draw_courses`.
    """
    rise = draw_courses(course, 2000, rng).rise_at(np.array([now_h]))[:, 0]
    return float(rise.mean()), float(rise.std())


def measured_drop(before_K: FloatArray, after_K: FloatArray, correlation: float = 0.3) -> tuple[float, float]:
    """Fall of the normalised stack across a cleaning and its standard error [K].

    before_K, after_K: normalised rises of the firings on each side [K], NaN left out; 10 or more each are best.
    Difference of medians; se = 1.2533 s sqrt((1 + r)/((1 - r) n)) for each side, s from the median absolute deviation.
    Valid: at least 5 firings each side.
    Raises: OutOfRange
    Source: standard error of a median, sqrt(pi/2) s/sqrt(n), widened for correlated firings.
    """
    check_range("correlation", correlation, 0.0, 0.95, "")
    sides = [side[np.isfinite(side)] for side in (before_K, after_K)]
    if any(side.size < 5 for side in sides):
        raise OutOfRange("at least 5 steady firings before and after the cleaning are needed")
    widen = (1.0 + correlation) / (1.0 - correlation)
    medians = [float(np.median(side)) for side in sides]
    errors = [
        1.2533 * 1.4826 * float(np.median(np.abs(side - m))) * (widen / side.size) ** 0.5
        for side, m in zip(sides, medians, strict=True)
    ]
    return medians[0] - medians[1], hypot(*errors)


def verdict(prediction: Prediction, outcome: Outcome) -> Verdict:
    """Judge a cleaning by the prediction written before it.

    "it was not ash": less than 30 % of the predicted fall came. "hit": within 30 % of the prediction, or inside its
    80 % range with the measurement's error. Everything else is a miss and stays one.
    Raises: OutOfRange when the prediction was not written first, or predicted no fall
    Source: the project's stated acceptance rule; factor 2 for weighed ash.
    """
    if prediction.written_ms >= outcome.cleaned_ms:
        raise OutOfRange("a prediction counts only when it was written before the cleaning")
    check_positive("predicted fall", prediction.drop_K, "K")
    share = outcome.drop_K / prediction.drop_K
    miss = abs(outcome.drop_K - prediction.drop_K)
    near = miss <= max(0.3 * prediction.drop_K, Z80 * hypot(prediction.sd_K, outcome.se_K))
    result: Result = "it was not ash" if share < NOT_ASH_SHARE else "hit" if near else "miss"
    numbers = f"predicted {prediction.drop_K:.0f} ± {prediction.sd_K:.0f} K, measured {outcome.drop_K:.0f} K"
    text = {
        "hit": f"{numbers}: as predicted",
        "miss": f"{numbers}: not as predicted; the miss is kept",
        "it was not ash": f"{numbers}: it was not ash; look at blower, firing rate, air, probe and batch",
    }[result]
    return Verdict(result, share, _ash_verdict(prediction.ash_kg, outcome.ash_kg), text)


def _ash_verdict(expected_kg: float | None, weighed_kg: float | None) -> AshResult:
    if expected_kg is None or weighed_kg is None:
        return "not weighed"
    return weighed_verdict(weighed_kg, expected_kg)


@dataclass(frozen=True)
class Row:
    """One cleaning in the ledger: the prediction, its outcome once known, and the chained digest."""

    prediction: Prediction
    outcome: Outcome | None
    digest: str


@dataclass(frozen=True)
class Ledger:
    """Predictions and outcomes in time order; a new ledger is returned by every change, old rows stay."""

    rows: tuple[Row, ...] = ()

    def predict(self, prediction: Prediction) -> "Ledger":
        """Ledger with a new open prediction.

        Raises: OutOfRange when the last one is still open: close it first.
        Source: append-only record.
        """
        if self.rows and self.rows[-1].outcome is None:
            raise OutOfRange("the last prediction has no outcome yet")
        return Ledger((*self.rows, self._row(prediction, None)))

    def close(self, outcome: Outcome) -> "Ledger":
        """Ledger with the outcome put beside the open prediction.

        Raises: OutOfRange when no prediction is open, or it was not written before the cleaning.
        Source: append-only record.
        """
        if not self.rows or self.rows[-1].outcome is not None:
            raise OutOfRange("no prediction is open")
        open_row = self.rows[-1]
        verdict(open_row.prediction, outcome)
        before = Ledger(self.rows[:-1])
        return Ledger((*self.rows[:-1], before._row(open_row.prediction, outcome)))

    def hits(self) -> tuple[int, int]:
        """Hits and all closed predictions; misses and "it was not ash" are counted in the second.

        Source: `verdict` of every closed row.
        """
        results = [verdict(r.prediction, r.outcome).result for r in self.rows if r.outcome is not None]
        return results.count("hit"), len(results)

    def unchanged(self) -> bool:
        """Whether every row still carries the digest of its content and its predecessor.

        Source: SHA-256 chain.
        """
        return all(
            row.digest == Ledger(self.rows[:i])._row(row.prediction, row.outcome).digest
            for i, row in enumerate(self.rows)
        )

    def _row(self, prediction: Prediction, outcome: Outcome | None) -> Row:
        row = Row(prediction, outcome, "")
        previous = self.rows[-1].digest if self.rows else ""
        return replace(row, digest=hashlib.sha256(f"{previous}{row!r}".encode()).hexdigest())
