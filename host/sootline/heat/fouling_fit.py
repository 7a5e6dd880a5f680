"""Fit the fouling laws to a normalised stack series and keep every plausible answer, not only the best one.

y = a + k f(h) + sum over batches of d_b f_b(h) + e. h are burning hours since clean, f a law scaled so that
f(H) = H at the last hour H, f_b the part of it burned on batch b. The baseline error a, the rate k and the batches'
own departures d_b have normal priors; e is autocorrelated weather residue plus independent scatter. For each law,
noise shape and batch spread on a small grid the posterior is exact (linear regression); the grid points are weighted
by their evidence. Predictions are draws from the mixture, so model choice is part of the stated uncertainty.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, log, pi

import numpy as np
from numpy.typing import NDArray

from sootline.errors import OutOfRange
from sootline.heat.elementwise import FloatArray, check_positive
from sootline.heat.fouling import asymptotic, falling_rate, linear

Rows = NDArray[np.intp]

# (law, shape, prior weight): exponent p of the falling rate, time constant of the asymptotic law over the hours seen.
# The trade speaks of kelvin per 100 hours, so the straight line has most of the prior weight.
LAWS: tuple[tuple[str, float, float], ...] = (
    ("linear", 1.0, 0.80),
    ("falling-rate", 0.8, 0.04),
    ("falling-rate", 0.65, 0.03),
    ("falling-rate", 0.5, 0.02),
    ("falling-rate", 0.35, 0.01),
    ("asymptotic", 3.0, 0.04),
    ("asymptotic", 1.0, 0.03),
    ("asymptotic", 0.5, 0.02),
    ("asymptotic", 0.25, 0.01),
)
# (share of the variance that is autocorrelated, correlation from day to day)
_NOISE = ((0.0, 0.0), (0.5, 0.6), (0.5, 0.9), (0.85, 0.6), (0.85, 0.9))
_BATCH_SPREAD = (0.15, 0.35)
MOST_ROWS = 300


@dataclass(frozen=True)
class FoulingRecord:
    """What was seen since the exchanger was last clean, one row a day with a usable reading.

    day: days since clean [d], increasing; hours: burning hours since clean [h]; value: normalised stack rise [K] or
    fouling resistance [m² K/W]; batch_start_h: burning hours [h] at which each oil batch began, the first at 0.
    """

    day: FloatArray
    hours: FloatArray
    value: FloatArray
    batch_start_h: tuple[float, ...] = (0.0,)

    def __post_init__(self) -> None:
        if not self.day.size == self.hours.size == self.value.size:
            raise OutOfRange("day, hours and value must have the same length")
        if self.day.size < 6:
            raise OutOfRange(f"{self.day.size} days are too few for a fouling course; at least 6 are needed")
        if not np.all(np.isfinite(self.value)):
            raise OutOfRange("leave days without a reading out of the record")
        if np.any(np.diff(self.day) <= 0.0) or np.any(np.diff(self.hours) < 0.0) or self.hours[0] < 0.0:
            raise OutOfRange("days must increase and burning hours must not fall")
        check_positive("burning hours seen", float(self.hours[-1] - self.hours[0]), "h")
        if self.batch_start_h[0] != 0.0 or any(np.diff(self.batch_start_h) <= 0.0):
            raise OutOfRange("batch starts must begin at 0 and increase")


@dataclass(frozen=True)
class Prior:
    """What is taken as known before the first reading: baseline error, rate and its spread [value, value/h]."""

    baseline_sd: float = 3.0
    rate: float = 0.15
    rate_sd: float = 0.15


@dataclass(frozen=True)
class Component:
    """One grid point: law and shape, weight [-], posterior mean and covariance of (a, k, d_1..d_B), spreads."""

    law: str
    shape: float
    weight: float
    mean: FloatArray
    covariance: FloatArray
    batch_sd: float
    noise_sd: float


@dataclass(frozen=True)
class FoulingCourse:
    """The fitted mixture. `span_h` is the burning hours H the laws are scaled to; `noise_sd` the residual scatter."""

    components: tuple[Component, ...]
    span_h: float
    batch_start_h: tuple[float, ...]
    degrees_of_freedom: float
    noise_sd: float

    def law_weights(self) -> dict[str, float]:
        """Posterior weight [-] of each fouling law.

        Source: normalised evidence of the grid points (Bayesian model averaging).
        """
        laws = {law[0]: 0.0 for law in LAWS}
        for part in self.components:
            laws[part.law] += part.weight
        return laws


def law_course(hours: FloatArray, law: str, shape: float, span_h: float) -> FloatArray:
    """The law f(h) [h] scaled so that f(span) = span: a rate k times it has the unit of the series.

    Raises: OutOfRange
    Source: `fouling.linear`, `fouling.falling_rate`, `fouling.asymptotic`.
    """
    check_positive("hours seen", span_h, "h")
    if law == "linear":
        return linear(hours, 1.0)
    if law == "asymptotic":
        return asymptotic(hours, span_h / (1.0 - exp(-1.0 / shape)), shape * span_h)
    return falling_rate(hours, span_h ** (1.0 - shape), shape)


def batch_design(
    hours: FloatArray, law: str, shape: float, span_h: float, batch_start_h: Sequence[float]
) -> FloatArray:
    """Columns 1, f(h), f_1(h), ..., f_B(h): the regression behind the course.

    Raises: OutOfRange
    Source: `law_course` cut at the batch starts.
    """
    edges = np.append(np.asarray(batch_start_h, dtype=np.float64), np.inf)
    columns = [np.ones_like(hours), law_course(hours, law, shape, span_h)]
    for low, high in pairwise(edges):
        until = np.clip(hours, low, high)
        base = law_course(np.array([low]), law, shape, span_h)
        columns.append(law_course(until, law, shape, span_h) - base)
    return np.column_stack(columns)


def fit_fouling(record: FoulingRecord, prior: Prior | None = None) -> FoulingCourse:
    """Fit all laws to a record; see the module text for the model.

    prior: default for a stack rise in kelvin, baseline +-3 K, 15 +-15 K per 100 burning hours (common practice:
    8 to 30 K per 100 h). Give your own for resistances.
    Valid: at least 6 days; normalised readings (weather, load, batch steps removed).
    Raises: OutOfRange
    Source: Bayesian linear regression with model averaging; laws in `sootline.heat.fouling`.
    """
    known = Prior() if prior is None else prior
    record = _condensed(record)
    span = float(record.hours[-1])
    designs = np.array([batch_design(record.hours, kind, shape, span, record.batch_start_h) for kind, shape, _ in LAWS])
    white, log_det = _whiteners(record.day)
    parts = _regress(white @ record.value, white[:, None] @ designs, log_det, known)
    logs = np.array([p[0] for p in parts])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    kept = [
        Component(p.law, p.shape, float(w), p.mean, p.covariance, p.batch_sd, p.noise_sd)
        for w, (_, p) in zip(weights, parts, strict=True)
    ]
    noise = float(sum(p.weight * p.noise_sd for p in kept))
    return FoulingCourse(tuple(kept), span, record.batch_start_h, max(3.0, record.day.size - 4.0), noise)


def _condensed(record: FoulingRecord) -> FoulingRecord:
    """The record averaged over neighbouring days where it is long: the work grows with the cube of its length."""
    group = -(-record.day.size // MOST_ROWS)
    if group == 1:
        return record
    edges = np.arange(0, record.day.size, group)
    counts = np.diff(np.append(edges, record.day.size))
    day, hours, value = (np.add.reduceat(c, edges) / counts for c in (record.day, record.hours, record.value))
    return FoulingRecord(day, hours, value, record.batch_start_h)


def _whiteners(day: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Inverse Cholesky factor of each noise correlation [noises, days, days], and the logarithm of its determinant."""
    gap = np.abs(day[:, None] - day[None, :])
    alone = np.eye(day.size)
    factor = np.linalg.cholesky(
        [share * (rho**gap if rho > 0.0 else alone) + (1.0 - share) * alone for share, rho in _NOISE]
    )
    return np.linalg.inv(factor), 2.0 * np.log(np.diagonal(factor, axis1=-2, axis2=-1)).sum(-1)


def _regress(y: FloatArray, x: FloatArray, log_det: FloatArray, prior: Prior) -> list[tuple[float, Component]]:
    """(log weight, posterior) of every noise, law and batch spread, worked out together.

    y: [noises, days]; x: the designs of the laws [noises, laws, days, columns]; log_det: [noises].
    The noise level is found by three fixed-point steps.
    """
    n, columns = x.shape[-2:]
    batch_sd = np.array(_BATCH_SPREAD) * prior.rate
    mean0 = np.zeros(columns)
    mean0[1] = prior.rate
    precision0 = np.repeat(batch_sd[:, None] ** -2.0, columns, axis=1)  # [spreads, columns]
    precision0[:, 0], precision0[:, 1] = prior.baseline_sd**-2.0, prior.rate_sd**-2.0
    own = np.eye(columns) * precision0[:, None, :]
    target = y[:, None, :, None]
    gram, moment = (x.mT @ x)[:, :, None], (x.mT @ target)[:, :, None, :, 0]  # [noises, laws, 1, ...]
    base = np.linalg.qr(x[..., :2])[0]
    plain = (target - base @ (base.mT @ target)).var(axis=(-2, -1))
    variance = np.repeat(np.maximum(plain, 1e-12)[..., None], batch_sd.size, axis=-1)  # [noises, laws, spreads]
    for _ in range(3):
        precision = gram / variance[..., None, None] + own
        covariance = np.linalg.inv(precision)
        mean = (covariance @ (moment / variance[..., None] + precision0 * mean0)[..., None])[..., 0]
        squares = ((y[:, None, None] - mean @ x.mT) ** 2).sum(-1)
        used = columns - (np.diagonal(covariance, axis1=-2, axis2=-1) * precision0).sum(-1)
        variance = np.maximum(squares / np.maximum(n - used, 1.0), 1e-12)
    quadratic = squares / variance + (precision0 * (mean - mean0) ** 2).sum(-1)
    log_precision = np.linalg.slogdet(precision)[1] - np.log(precision0).sum(-1)
    evidence = -0.5 * (n * np.log(2.0 * pi * variance) + log_det[:, None, None] + quadratic + log_precision)
    parts = []
    for i, k, j in np.ndindex(evidence.shape):
        kind, shape, prior_weight = LAWS[k]
        noise_sd = float(variance[i, k, j]) ** 0.5
        part = Component(kind, shape, 0.0, mean[i, k, j], covariance[i, k, j], float(batch_sd[j]), noise_sd)
        parts.append((float(evidence[i, k, j]) + log(prior_weight), part))
    return parts


@dataclass(frozen=True)
class CourseDraws:
    """Draws from a fitted course: law and shape of each, baseline error, rate on each batch [value/h], batch spread."""

    component: tuple[Component, ...]
    baseline: FloatArray
    rate: FloatArray
    span_h: float
    batch_start_h: tuple[float, ...]
    fresh: FloatArray

    def value_at(self, hours: FloatArray, next_batch_h: FloatArray | None = None) -> FloatArray:
        """Value of each draw [draws, points] at burning hours [draws, points] or [points] [h], without reading noise.

        next_batch_h: burning hours [draws] at which an unknown new batch starts, drawn with the batch spread.
        Raises: OutOfRange
        Source: the fitted mixture of `fit_fouling`.
        """
        draws = self.baseline.size
        grid = np.broadcast_to(np.atleast_2d(hours), (draws, np.shape(hours)[-1]))
        switch = np.full(draws, np.inf) if next_batch_h is None else next_batch_h
        out = np.empty(grid.shape)
        rows_of: dict[tuple[str, float], list[int]] = {}
        for row, part in enumerate(self.component):
            rows_of.setdefault((part.law, part.shape), []).append(row)
        for law, chosen in rows_of.items():
            rows = np.array(chosen)
            out[rows] = self._value(law, grid[rows], rows, switch[rows])
        return out

    def rise_at(self, hours: FloatArray) -> FloatArray:
        """True rise of each draw [draws, points] at burning hours [h]: the value less the baseline error, not below 0.

        Raises: OutOfRange
        Source: the fitted mixture of `fit_fouling`.
        """
        rise: FloatArray = np.maximum(0.0, self.value_at(hours) - self.baseline[:, None])
        return rise

    def _value(self, law: tuple[str, float], grid: FloatArray, rows: Rows, switch: FloatArray) -> FloatArray:
        count = len(self.batch_start_h)
        low = np.broadcast_to(np.asarray(self.batch_start_h), (grid.shape[0], count))
        low = np.column_stack([low, np.maximum(switch, low[:, -1])])
        high = np.column_stack([low[:, 1:], np.full(grid.shape[0], np.inf)])
        rate = np.column_stack([self.rate[rows], self.fresh[rows]])
        total = np.zeros(grid.shape)
        for b in range(count + 1):
            begun = np.isfinite(low[:, b])  # a batch that never comes burns no hours
            if begun.any():
                start = low[begun, b : b + 1]
                until = np.clip(grid[begun], start, high[begun, b : b + 1])
                gained = law_course(until, *law, self.span_h) - law_course(start, *law, self.span_h)
                total[begun] += rate[begun, b : b + 1] * gained
        return total


def draw_courses(course: FoulingCourse, draws: int, rng: np.random.Generator) -> CourseDraws:
    """Draw whole courses from the fitted mixture; deposits do not shrink, so rates below zero become zero.

    Parameter spread is widened by a Student factor for the noise level that was itself estimated.
    Raises: OutOfRange
    Source: the fitted mixture of `fit_fouling`.
    """
    weights = np.array([c.weight for c in course.components])
    pick = rng.choice(weights.size, size=draws, p=weights)
    widths = np.sqrt(course.degrees_of_freedom / rng.chisquare(course.degrees_of_freedom, draws))
    mean = np.array([c.mean for c in course.components])
    factor = np.linalg.cholesky([c.covariance for c in course.components])
    order = np.argsort(pick, kind="stable")  # draws of one component after another
    normal = rng.standard_normal((draws, mean.shape[1])) * widths[order, None]
    coefficients = np.empty_like(normal)
    coefficients[order] = mean[pick[order]] + (factor[pick[order]] @ normal[..., None])[..., 0]
    chosen = tuple(course.components[i] for i in pick)
    spread = np.array([c.batch_sd for c in chosen])
    rate = np.maximum(0.0, coefficients[:, 1:2] + coefficients[:, 2:])
    fresh = np.maximum(0.0, coefficients[:, 1] + spread * rng.standard_normal(draws))
    return CourseDraws(chosen, coefficients[:, 0], rate, course.span_h, course.batch_start_h, fresh)
