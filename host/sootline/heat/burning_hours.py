"""Burning hours in the days ahead, as draws: what turns hours of deposit into a date."""

from itertools import pairwise
from math import sqrt

import numpy as np

from sootline.errors import OutOfRange
from sootline.heat.elementwise import FloatArray, check_range


def sample_burning_hours(
    recent_h: FloatArray,
    days: int,
    draws: int,
    rng: np.random.Generator,
    expected_h: FloatArray | None = None,
) -> FloatArray:
    """Draws [draws, days] of the burning hours of each day ahead [h/d].

    recent_h: hours of the last days [h/d], NaN for missing ones, at least 5; expected_h: [days] of hours expected from
    a forecast or the season [h/d], taken as the mean of the recent days when left out. Each draw errs by a level
    that stays (standard error of the recent mean, and 10 % a month ahead for the season) and by day-to-day weather
    of the recent spread with correlation 0.6; hours stay between 0 and 24.
    Raises: OutOfRange
    Source: first-order autoregression; correlation and seasonal drift are assumed, common practice.
    """
    known = recent_h[np.isfinite(recent_h)]
    if known.size < 5:
        raise OutOfRange("at least 5 recent days of burning hours are needed")
    check_range("burning hours", known, 0.0, 24.0, "h/d")
    rho, mean = 0.6, float(known.mean())
    spread = float(known.std(ddof=1))
    level_se = spread * sqrt((1.0 + rho) / (1.0 - rho) / known.size)
    centre = np.full(days, mean) if expected_h is None else expected_h
    if centre.size != days:
        raise OutOfRange(f"expected hours for {centre.size} days given, {days} needed")
    weather = rng.standard_normal((draws, days)).T.copy()  # a day a row
    weather[1:] *= sqrt(1.0 - rho * rho)
    for before, day in pairwise(weather):
        day += rho * before
    drift = rng.standard_normal((draws, 1)) * 0.10 * np.arange(1, days + 1) / 30.0
    level = rng.standard_normal((draws, 1)) * level_se
    hours: FloatArray = np.clip(centre * (1.0 + drift) + level + spread * weather.T, 0.0, 24.0)
    return hours
