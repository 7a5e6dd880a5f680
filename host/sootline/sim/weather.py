"""Outdoor temperature from a seed: days that differ, nights colder than afternoons, fronts that last a few days."""

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field

DAY_MS = 86_400_000
HOUR_MS = 3_600_000
COLDEST_H, WARMEST_H = 6.5, 14.5


@dataclass(frozen=True, slots=True)
class Weather:
    """Weather of a cold season; the same seed gives the same weather, from whatever moment it is asked.

    mean_C: long-term mean; spread_K: standard deviation of the daily mean; swing_K: afternoon above dawn
    days: (dawn °C, afternoon °C) of days given outright, by whole days since the Unix epoch
    """

    seed: int = 0
    mean_C: float = -2.0
    spread_K: float = 4.0
    swing_K: float = 7.0
    days: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    _drawn: dict[int, tuple[float, float]] = field(default_factory=dict, init=False, repr=False, compare=False)

    def day(self, number: int) -> tuple[float, float]:
        """Dawn and afternoon temperature [°C] of one day, counted from the Unix epoch."""
        if number in self.days:
            return self.days[number]
        if number not in self._drawn:
            self._drawn[number] = self._draw(number)
        return self._drawn[number]

    def _draw(self, number: int) -> tuple[float, float]:
        # Five neighbouring draws averaged: fronts that last some days, without having to start anywhere.
        draws = [random.Random(f"{self.seed}/{number + k}").gauss(0.0, 1.0) for k in range(-2, 3)]
        daily = random.Random(f"{self.seed}/{number}/swing").uniform(0.4, 1.6)
        middle = self.mean_C + self.spread_K * sum(draws) / math.sqrt(5.0)
        return middle - 0.5 * daily * self.swing_K, middle + 0.5 * daily * self.swing_K

    def outdoor_C(self, t_ms: int) -> float:
        """Outdoor temperature [°C]: half-waves between dawn and afternoon, and half a kelvin of passing cloud."""
        number, within = divmod(t_ms, DAY_MS)
        hour = within / HOUR_MS
        if hour < COLDEST_H:
            left, right, share = self.day(number - 1)[1], self.day(number)[0], (hour + 24 - WARMEST_H) / 16.0
        elif hour < WARMEST_H:
            left, right, share = *self.day(number), (hour - COLDEST_H) / 8.0
        else:
            left, right, share = self.day(number)[1], self.day(number + 1)[0], (hour - WARMEST_H) / 16.0
        cloud = 0.5 * math.sin(t_ms / 1.7e6 + self.seed) * math.sin(t_ms / 4.1e6)
        return left + (right - left) * 0.5 * (1.0 - math.cos(math.pi * share)) + cloud
