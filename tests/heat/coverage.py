"""How good the cleaning dates are: `python -m tests.heat.coverage [SEASONS]`.

For every seeded season a vent limit in kelvin of rise is drawn, for every other one also a cleaning cost; 14 days
before the day on which the first of them is really met, a date is forecast from what had been read until then.
Reported: how often the truth lies inside the 80 % range, and how far the median misses.
"""

import sys
from dataclasses import dataclass

import numpy as np

from sootline.heat.burning_hours import sample_burning_hours
from sootline.heat.cleaning_date import CleaningDate, Limits, MoneyLimit, cleaning_date
from sootline.heat.cleaning_limits import RiseLimit
from sootline.heat.fouling_fit import FoulingRecord, fit_fouling
from tests.heat.seasons import Season, crossing_day, money_day, season, usual_outdoor_C

AHEAD_D = 14
HORIZON_D = 150
LOSS_PER_K_H = 0.0025  # 4 L/h, 0.80 a litre, O2 7 %, efficiency 0.75


@dataclass(frozen=True)
class Score:
    """Share of truths inside, below and above the range [-], median absolute error and median width [d]."""

    seasons: int
    inside: float
    early: float
    late: float
    median_error_d: float
    median_width_d: float


def seen_by(s: Season, today: int) -> FoulingRecord:
    """What had been read by the end of `today`."""
    days = np.flatnonzero(np.isfinite(s.reading_K[: today + 1]))
    burned = s.burned_h
    begun = [float(burned[d - 1]) if d else 0.0 for d in s.batch_start_day if d <= today]
    return FoulingRecord(days + 1.0, burned[days], s.reading_K[days], tuple(np.unique(begun)))


def forecast(s: Season, today: int, limits: Limits, seed: int, draws: int = 400) -> CleaningDate:
    """Cleaning date seen from the end of `today`, with only what had been read by then."""
    rng = np.random.default_rng(seed)
    recent = slice(max(0, today - 20), today + 1)
    usual = np.append(17.0 - usual_outdoor_C(), np.full(HORIZON_D, 17.0 - usual_outdoor_C()[-1]))
    expected = usual[today + 1 : today + 1 + HORIZON_D] * s.hours[recent].mean() / usual[recent].mean()
    ahead = sample_burning_hours(s.hours[recent], HORIZON_D, draws, rng, expected)
    next_batch = rng.exponential(200.0, draws)
    return cleaning_date(fit_fouling(seen_by(s, today)), float(s.burned_h[today]), ahead, limits, rng, next_batch)


def owner(s: Season, seed: int) -> tuple[Limits, float]:
    """The limits one owner has, and the day on which the first of them is really met [d]."""
    rng = np.random.default_rng(seed + 500_000)
    limit_K, cost = float(rng.uniform(35.0, 90.0)), float(rng.uniform(20.0, 60.0))
    vent = {"vent": RiseLimit(limit_K)}
    if seed % 2:
        return Limits(at_rise=vent), crossing_day(s, limit_K)
    truth = min(crossing_day(s, limit_K), money_day(s, cost, LOSS_PER_K_H))
    return Limits(at_rise=vent, money=MoneyLimit(cost, LOSS_PER_K_H)), truth


def study(seasons: int, first_seed: int = 1000) -> Score:
    """Score of `seasons` seeded seasons whose limit is met between day 35 and the end of the season."""
    truths, ranges = [], []
    seed = first_seed
    while len(truths) < seasons:
        seed += 1
        s = season(seed)
        limits, truth = owner(s, seed)
        if not 35.0 <= truth < 205.0:
            continue
        today = int(truth) - AHEAD_D
        found = forecast(s, today, limits, seed).date
        truths.append(truth - today)
        ranges.append((found.low, found.median, found.high))
    truth_d, (low, median, high) = np.array(truths), np.array(ranges).T
    return Score(
        seasons=seasons,
        inside=float(np.mean((low <= truth_d) & (truth_d <= high))),
        early=float(np.mean(truth_d < low)),
        late=float(np.mean(truth_d > high)),
        median_error_d=float(np.median(np.abs(median - truth_d))),
        median_width_d=float(np.median(high - low)),
    )


if __name__ == "__main__":
    print(study(int(sys.argv[1]) if len(sys.argv) > 1 else 400))
