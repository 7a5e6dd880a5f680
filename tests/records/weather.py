"""Outdoor temperature and wind on a ten-minute grid: season, weather systems, days and nights."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

STEP_S = 600.0


@dataclass(frozen=True)
class Climate:
    """What makes the weather of one place: temperatures [degC, K], wind [m/s]."""

    january_mean_C: float
    season_swing_K: float
    day_swing_K: float
    system_sd_K: float
    wind_mean: float


@dataclass(frozen=True)
class Spell:
    """A spell that is colder (or warmer) by ``shift_K`` from ``start_s`` to ``end_s``."""

    start_s: float
    end_s: float
    shift_K: float


def weather(
    climate: Climate, day_of_year: float, hour: float, days: float, spells: list[Spell], rng: np.random.Generator
) -> tuple[list[float], list[float]]:
    """Outdoor temperature [degC] and wind [m/s], one value for each ten minutes of ``days`` days and one more."""
    count = int(days * 86400.0 / STEP_S) + 2
    t = np.arange(count) * STEP_S
    season = climate.january_mean_C + climate.season_swing_K * (
        1.0 - np.cos(2.0 * math.pi * (day_of_year + t / 86400.0 - 20.0) / 365.25)
    )
    clock = (hour + t / 3600.0) % 24.0
    cloud = walk(count, 30.0 * 3600.0, rng)
    swing = climate.day_swing_K * np.clip(1.0 + 0.5 * cloud, 0.2, 1.8) * np.cos(2.0 * math.pi * (clock - 15.0) / 24.0)
    outdoor = season + swing + climate.system_sd_K * walk(count, 50.0 * 3600.0, rng) + 0.4 * walk(count, 2400.0, rng)
    for spell in spells:
        ramp = 6.0 * 3600.0
        outdoor += spell.shift_K * np.clip((t - spell.start_s) / ramp, 0, 1) * np.clip((spell.end_s - t) / ramp, 0, 1)
    gust = walk(count, 5.0 * 3600.0, rng)
    wind = climate.wind_mean * np.exp(0.6 * gust - 0.18) + 0.3 * np.abs(walk(count, 1500.0, rng))
    return outdoor.tolist(), wind.tolist()


def walk(count: int, memory_s: float, rng: np.random.Generator) -> np.ndarray:
    """Ornstein-Uhlenbeck walk of unit variance."""
    keep = math.exp(-STEP_S / memory_s)
    kicks = (rng.standard_normal(count) * math.sqrt(1.0 - keep * keep)).tolist()
    value = float(rng.standard_normal())
    out = np.empty(count)
    for i, kick in enumerate(kicks):
        value = keep * value + kick
        out[i] = value
    return out
