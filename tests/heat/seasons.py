"""Seeded heating seasons with a known deposit: invented, and on purpose not the model that is fitted to them.

Deposits grow day by day at a random gamma-distributed pace, at a rate that changes with every oil batch, adds with
starts and, on some furnaces, slows as deposits break off. Readings carry a baseline error, weather left over after
normalising, autocorrelated residue, heavy-tailed scatter, and gaps.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
DAYS = 210


@dataclass(frozen=True)
class Season:
    """Truth and readings of one season; day 0 is the first burning day after cleaning."""

    hours: FloatArray  # burning hours of each day [h]
    rise_K: FloatArray  # true rise at the end of each day [K]
    reading_K: FloatArray  # normalised reading of each day [K], NaN on days without one
    baseline_K: float  # error of the clean baseline, part of every reading [K]
    batch_start_day: tuple[int, ...]

    @property
    def burned_h(self) -> FloatArray:
        """Burning hours since clean at the end of each day [h]."""
        return np.cumsum(self.hours)


def season(seed: int) -> Season:
    """One season drawn from its seed."""
    rng = np.random.default_rng(seed)
    outdoor_C = usual_outdoor_C() + 4.0 * red_noise(rng, 0.75)
    hours = np.clip(0.42 * (17.0 - outdoor_C) + 0.8 * rng.standard_normal(DAYS), 0.0, 20.0)
    hours[rng.random(DAYS) < 0.08] = 0.0  # nobody there
    batch_start_day, factor = batches(rng)
    per_hour = 0.15 * np.exp(0.45 * rng.standard_normal()) * factor
    starts = rng.poisson(6.0, DAYS) * (hours > 0)
    pace = rng.gamma(6.0, 1.0 / 6.0, DAYS)
    breaks_off_at = rng.choice([np.inf, rng.uniform(90.0, 300.0)])
    rise = np.empty(DAYS)
    dirt = 0.0
    for day in range(DAYS):
        dirt += (per_hour[day] * hours[day] + 0.02 * starts[day]) * pace[day] * max(0.0, 1.0 - dirt / breaks_off_at)
        rise[day] = dirt
    baseline = 2.0 * rng.standard_normal()
    weather = 0.15 * (outdoor_C - outdoor_C.mean()) + 2.5 * red_noise(rng, 0.7)
    reading = rise + baseline + weather + 2.0 * rng.standard_t(5, DAYS)
    reading[(hours < 1.0) | (rng.random(DAYS) < 0.15)] = np.nan
    return Season(hours, rise, reading, baseline, batch_start_day)


def usual_outdoor_C() -> FloatArray:
    """Mean outdoor temperature of each day in the long run [°C]: known to the forecaster, unlike the weather."""
    return 4.0 - 9.0 * np.cos(2 * np.pi * (np.arange(DAYS) - 95) / 365.0)


def red_noise(rng: np.random.Generator, rho: float) -> FloatArray:
    """Autocorrelated unit-variance noise of one season."""
    noise = rng.standard_normal(DAYS)
    for day in range(1, DAYS):
        noise[day] = rho * noise[day - 1] + np.sqrt(1 - rho**2) * noise[day]
    return noise


def batches(rng: np.random.Generator) -> tuple[tuple[int, ...], FloatArray]:
    """First day of each oil batch, and each day's fouling factor of the batch burned."""
    starts, day = [0], 0
    while (day := day + int(rng.integers(12, 45))) < DAYS:
        starts.append(day)
    factor = np.ones(DAYS)
    for start in starts:
        factor[start:] = np.exp(0.3 * rng.standard_normal())
    return tuple(starts), factor


def crossing_day(s: Season, limit_K: float) -> float:
    """Day on which the stack really meets its limit [d]; infinite when it does not."""
    level = s.rise_K + s.baseline_K
    if not np.any(level >= limit_K):
        return float("inf")
    after = int(np.argmax(level >= limit_K))
    before = level[after - 1] if after else 0.0
    return after - 1 + (limit_K - before) / max(level[after] - before, 1e-9)


def money_day(s: Season, cost: float, loss_per_K_h: float) -> float:
    """Day on which the true loss rate reaches the running average cost of a cleaning [d]; infinite when it does not."""
    hours = np.append(0.0, s.burned_h)
    loss = loss_per_K_h * np.append(0.0, s.rise_K)
    spent = np.append(0.0, np.cumsum(np.diff(hours) * 0.5 * (loss[1:] + loss[:-1])))
    excess = (loss * hours - cost - spent)[1:]
    if not np.any(excess >= 0.0):
        return float("inf")
    after = int(np.argmax(excess >= 0.0))
    before = excess[after - 1] if after else -cost
    return after - 1 - before / max(excess[after] - before, 1e-9)
