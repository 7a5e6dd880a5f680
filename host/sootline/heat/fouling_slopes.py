"""What fouls: the slope by oil batch and by start, with the error each is known to."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from sootline.errors import OutOfRange
from sootline.heat.elementwise import FloatArray


@dataclass(frozen=True)
class Slope:
    """A fitted slope and its standard error; `told_apart` is False when it is not 2 standard errors from zero."""

    value: float
    standard_error: float

    @property
    def told_apart(self) -> bool:
        """Whether the slope differs from zero by more than 2 standard errors."""
        return abs(self.value) > 2.0 * self.standard_error


@dataclass(frozen=True)
class FoulingSlopes:
    """Rise per burning hour of each batch [K/h] and per start [K]; residual scatter [K] and its correlation [-]."""

    by_batch: dict[str, Slope]
    per_start: Slope | None
    residual_sd: float
    correlation: float


def fouling_slopes(
    day: FloatArray,
    hours_by_batch: FloatArray,
    rise_K: FloatArray,
    batches: Sequence[str],
    starts: FloatArray | None = None,
) -> FoulingSlopes:
    """Slopes of the normalised stack rise by oil batch and by start.

    day: days since clean of each reading [d]; hours_by_batch: burning hours [h] on each batch until that reading, one
    column a batch; rise_K: normalised rise [K]; starts: burner starts until that reading [-], or None.
    rise = a + sum_b s_b h_b + c n + e, least squares on quasi-differenced rows with the correlation of e estimated
    once from the residuals (gaps allowed).
    Valid: at least 4 readings more than there are coefficients. Starts run with hours, so the error of c is wide
    unless starts per hour varied: it is shown, not hidden.
    Raises: OutOfRange
    Source: Prais-Winsten generalised least squares (checked against statsmodels).
    """
    if hours_by_batch.shape != (day.size, len(batches)) or rise_K.size != day.size:
        raise OutOfRange("one row of hours a reading and one column a batch are needed")
    columns = [np.ones(day.size), *hours_by_batch.T, *([] if starts is None else [starts])]
    design = np.column_stack(columns)
    if day.size < design.shape[1] + 4:
        raise OutOfRange(f"{day.size} readings are too few for {design.shape[1]} coefficients")
    if np.linalg.matrix_rank(design) < design.shape[1]:
        raise OutOfRange("batches and starts cannot be told apart in this record: leave one out")
    residual = rise_K - design @ np.linalg.lstsq(design, rise_K, rcond=None)[0]
    rho = residual_correlation(day, residual)
    x, y = _difference(day, design, rho), _difference(day, rise_K[:, None], rho)[:, 0]
    inverse = np.linalg.inv(x.T @ x)
    coefficients = inverse @ x.T @ y
    remaining = y - x @ coefficients
    variance = float(remaining @ remaining) / (day.size - design.shape[1])
    errors = np.sqrt(variance * np.diag(inverse))
    slopes = [Slope(float(c), float(e)) for c, e in zip(coefficients, errors, strict=True)]
    return FoulingSlopes(
        by_batch=dict(zip(batches, slopes[1 : len(batches) + 1], strict=True)),
        per_start=None if starts is None else slopes[-1],
        residual_sd=sqrt(variance),
        correlation=rho,
    )


def residual_correlation(day: FloatArray, residual: FloatArray) -> float:
    """Correlation [-] of residuals one day apart, from neighbouring rows at most 2 days apart, between 0 and 0.95.

    rho^gap is matched by the mean gap; the small-sample bias (1 + 3 rho)/n is added back.
    Raises: OutOfRange
    Source: Kendall's bias correction of the first-order autocorrelation.
    """
    near = np.diff(day) <= 2.0
    if near.sum() < 4:
        raise OutOfRange("too few neighbouring days to judge the correlation")
    first, second = residual[:-1][near], residual[1:][near]
    raw = float(first @ second) / max(float(np.sqrt(first @ first * (second @ second))), 1e-12)
    gap = float(np.mean(np.diff(day)[near]))
    rho = max(raw, 0.0) ** (1.0 / gap)
    return float(min(0.95, rho + (1.0 + 3.0 * rho) / day.size if rho > 0.0 else 0.0))


def _difference(day: FloatArray, rows: FloatArray, rho: float) -> FloatArray:
    """Rows with the predictable part of the previous one taken out, scaled to equal variance."""
    carried = rho ** np.diff(day)[:, None]
    later = (rows[1:] - carried * rows[:-1]) / np.sqrt(1.0 - carried**2)
    return np.vstack([rows[:1], later])
