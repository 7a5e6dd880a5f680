"""Heating degree days, the fuel they explain, and how long the stock lasts in the weather ahead."""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from sootline.errors import OutOfRange
from sootline.heat.elementwise import FloatArray, check_range

BASE_65F_C = (65.0 - 32.0) / 1.8


def degree_days(mean_C: FloatArray, base_C: float = BASE_65F_C) -> FloatArray:
    """Heating degree days [K d] of each day from its mean outdoor temperature [°C].

    HDD = max(0, Tb - Tmean). The base must be told with the number: 65 °F is 18.33 °C, not 18 °C.
    Raises: OutOfRange
    Source: definition with daily means; integrating hours, or (max + min)/2, gives up to 8 % different sums.
    """
    check_range("outdoor temperature", mean_C, -70.0, 60.0, "°C")
    check_range("base temperature", base_C, -10.0, 30.0, "°C")
    days: FloatArray = np.maximum(0.0, base_C - mean_C)
    return days


@dataclass(frozen=True)
class FuelLine:
    """Fuel per day = alpha + beta HDD, fitted.

    alpha [L/d], beta [L/(K d)], base [°C]; residual_sd is the scatter of one day or, with periods, per sqrt(day) [L/d];
    covariance is that of (alpha, beta).
    """

    alpha: float
    beta: float
    base_C: float
    r2: float
    residual_sd: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    periods: int

    def per_day(self, hdd: FloatArray) -> FloatArray:
        """Expected fuel [L/d] on days of `hdd` [K d]; not below zero.

        Source: PRISM line.
        """
        fuel: FloatArray = np.maximum(0.0, self.alpha + self.beta * hdd)
        return fuel

    def normalised_annual(self, mean_year_hdd: float) -> float:
        """Normalised annual consumption [L] in a year of `mean_year_hdd` [K d] to the same base.

        NAC = 365 alpha + beta H0.
        Source: Fels, PRISM: an introduction, Energy and Buildings 9 (1986) 5-18.
        """
        return 365.0 * self.alpha + self.beta * mean_year_hdd


def fuel_line(fuel_l: FloatArray, days: FloatArray, hdd: FloatArray, base_C: float = BASE_65F_C) -> FuelLine:
    """Straight line of fuel against degree days, by least squares weighted with the days of each period.

    fuel_l: fuel of each period [L]; days: its length [d]; hdd: its degree days [K d] to `base_C` [°C].
    F/d = alpha + beta HDD/d. Valid: at least 4 periods with different degree days.
    Raises: OutOfRange
    Source: Fels, PRISM: an introduction, Energy and Buildings 9 (1986) 5-18; 12 monthly readings are best, below 9
    take care.
    """
    if fuel_l.size < 4 or np.any(days <= 0.0):
        raise OutOfRange("a fuel line needs at least 4 periods of positive length")
    y, x, w = fuel_l / days, hdd / days, np.sqrt(days)
    if np.ptp(x) < 1e-9:
        raise OutOfRange("all periods have the same degree days per day: no line can be drawn")
    design = np.column_stack([np.ones_like(x), x]) * w[:, None]
    normal = np.linalg.inv(design.T @ design)
    alpha, beta = normal @ design.T @ (y * w)
    residual = (y - alpha - beta * x) * w
    variance = float(residual @ residual) / (y.size - 2)
    mean = float(np.sum(days * y) / np.sum(days))
    total = float(np.sum(days * (y - mean) ** 2))
    (c_aa, c_ab), (c_ba, c_bb) = (normal * variance).tolist()
    return FuelLine(
        alpha=float(alpha),
        beta=float(beta),
        base_C=base_C,
        r2=1.0 - float(residual @ residual) / total if total > 0.0 else 0.0,
        residual_sd=sqrt(variance),
        covariance=((c_aa, c_ab), (c_ba, c_bb)),
        periods=int(y.size),
    )


def fuel_line_best_base(
    fuel_l: FloatArray, mean_C_by_period: list[FloatArray], bases_C: FloatArray | None = None
) -> FuelLine:
    """Fuel line with the base temperature that explains most.

    fuel_l: fuel of each period [L]; mean_C_by_period: daily mean temperatures [°C] of each period.
    The base is that of the highest R2 on a 0.5 K grid from 8 to 22 °C unless `bases_C` [°C] is given.
    Raises: OutOfRange
    Source: Fels, PRISM: an introduction, Energy and Buildings 9 (1986) 5-18.
    """
    grid = np.arange(8.0, 22.01, 0.5) if bases_C is None else bases_C
    days = np.array([float(m.size) for m in mean_C_by_period])
    lines = []
    for base in grid:
        hdd = np.array([float(np.sum(degree_days(m, float(base)))) for m in mean_C_by_period])
        if np.ptp(hdd / days) > 1e-9:
            lines.append(fuel_line(fuel_l, days, hdd, float(base)))
    if not lines:
        raise OutOfRange("no base temperature gives degree days that differ between periods")
    return max(lines, key=lambda line: line.r2)


@dataclass(frozen=True)
class DaysLeft:
    """Days until the stock is used [d]: 10 %, 50 %, 90 % points; infinite where it outlasts the forecast."""

    low: float
    median: float
    high: float


def days_to_empty(
    stock_l: float,
    line: FuelLine,
    forecast_C: FloatArray,
    forecast_sd_K: FloatArray,
    rng: np.random.Generator,
    stock_sd_l: float = 0.0,
    draws: int = 2000,
) -> DaysLeft:
    """Days until `stock_l` [L] is burned in the weather ahead, with uncertainty.

    forecast_C, forecast_sd_K: daily mean temperature and its standard error [°C, K]. Each draw takes a line from its
    covariance, a forecast error that persists from day to day (correlation 0.7), and the daily scatter.
    Raises: OutOfRange
    Source: sampling of the PRISM line; persistence of forecast errors assumed.
    """
    check_range("stock", stock_l, 0.0, 1e6, "L")
    days = forecast_C.size
    alpha, beta = rng.multivariate_normal([line.alpha, line.beta], np.array(line.covariance), draws).T
    shock = rng.standard_normal((draws, days))
    error = np.empty_like(shock)
    error[:, 0] = shock[:, 0]
    for day in range(1, days):
        error[:, day] = 0.7 * error[:, day - 1] + sqrt(1.0 - 0.49) * shock[:, day]
    hdd = np.maximum(0.0, line.base_C - (forecast_C + forecast_sd_K * error))
    scatter = line.residual_sd * rng.standard_normal((draws, days))
    used = np.cumsum(np.maximum(0.0, alpha[:, None] + beta[:, None] * hdd + scatter), axis=1)
    stock = np.maximum(0.0, stock_l + stock_sd_l * rng.standard_normal(draws))
    left = first_crossing(used, stock)
    low, median, high = np.quantile(left, [0.1, 0.5, 0.9], method="nearest")
    return DaysLeft(float(low), float(median), float(high))


def first_crossing(cumulated: FloatArray, level: FloatArray) -> FloatArray:
    """Day [d] on which each row of `cumulated` (at the ends of days 1, 2, ...) reaches its `level`; inf if never.

    Source: linear interpolation between day ends, day 0 at zero.
    """
    reached = cumulated >= level[:, None]
    index = np.argmax(reached, axis=1)
    rows = np.arange(cumulated.shape[0])
    before = np.where(index > 0, cumulated[rows, np.maximum(index - 1, 0)], 0.0)
    step = cumulated[rows, index] - before
    part = np.where(step > 0.0, (level - before) / np.where(step > 0.0, step, 1.0), 0.0)
    day = index + np.clip(part, 0.0, 1.0)
    result: FloatArray = np.where(reached.any(axis=1), day, np.inf)
    return result
