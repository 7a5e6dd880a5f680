"""The day to clean: the earliest of several limits, each a distribution, with the one that binds named.

Money has a flat optimum and never hurries anyone; draft, the vent's temperature limit, smoke, a full ash budget and
the season's end do. A date is a draw from: the fouling course, the weather ahead, the next oil batch.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf, isfinite

import numpy as np

from sootline.errors import OutOfRange
from sootline.heat.cleaning_limits import RiseLimit
from sootline.heat.economics import Window, flat_window
from sootline.heat.elementwise import FloatArray, check_positive
from sootline.heat.fouling_fit import CourseDraws, FoulingCourse, draw_courses

LOW, HIGH = 0.1, 0.9


@dataclass(frozen=True)
class MoneyLimit:
    """What decides the money optimum.

    cost: of one cleaning [money]; loss_per_K_h: money lost per kelvin of rise and burning hour [money/(K h)].
    """

    cost: float
    loss_per_K_h: float


@dataclass(frozen=True)
class Limits:
    """All limits that are known; what is left out cannot bind and is listed as unknown.

    at_rise: name to limit in kelvin of rise; at_hours: name to draws of burning hours from now [h] (ash budget, smoke);
    season_end_day: days from now [d]; money: see `MoneyLimit`.
    """

    at_rise: Mapping[str, RiseLimit] = field(default_factory=dict)
    at_hours: Mapping[str, FloatArray] = field(default_factory=dict)
    season_end_day: float | None = None
    money: MoneyLimit | None = None


@dataclass(frozen=True)
class Range:
    """10 %, 50 %, 90 % points in days from now [d]; infinite where the limit is not reached within the forecast."""

    low: float
    median: float
    high: float


@dataclass(frozen=True)
class CleaningDate:
    """When to clean, counted in days from now [d].

    now_K: mean of the drawn courses now [K];
    date: 80 % range of the earliest limit; by_limit: the same for each; binding: the limit most often first;
    share_first: how often each is first [-]; window: any day between costs at most 5 % more (None without money), a
    start already past is day 0;
    waiting: money lost by cleaning so many days after the best day (before it: negative key) over one interval.
    """

    now_K: float
    date: Range
    by_limit: dict[str, Range]
    binding: str
    share_first: dict[str, float]
    window: Window | None
    waiting: dict[int, float]


def cleaning_date(
    course: FoulingCourse,
    now_h: float,
    hours_ahead: FloatArray,
    limits: Limits,
    rng: np.random.Generator,
    next_batch_in_h: FloatArray | None = None,
) -> CleaningDate:
    """When to clean, as a distribution, and what binds.

    course: fitted fouling; now_h: burning hours since clean [h]; hours_ahead: draws [draws, days] of burning hours of
    each day ahead [h/d]; next_batch_in_h: draws of burning hours from now to the next oil batch [h], none by default.
    Each draw takes a course, a weather path and an error of each limit; the earliest crossing is its date.
    Raises: OutOfRange without any limit
    Source: sampling of `fouling_fit.draw_courses` against the limits; money by L = J of `heat.economics`.
    """
    draws = hours_ahead.shape[0]
    sampled = draw_courses(course, draws, rng)
    now = np.zeros((draws, 1)) + now_h
    path_h = np.concatenate([now, now_h + np.cumsum(hours_ahead, axis=1)], axis=1)
    switch = None if next_batch_in_h is None else now_h + next_batch_in_h
    rise = sampled.value_at(path_h, switch)
    crossing = _rise_crossings(rise, limits, rng)
    for name, left_h in limits.at_hours.items():
        crossing[name] = _crossing_day(path_h - now_h, np.broadcast_to(np.asarray(left_h), (draws,)))
    if limits.season_end_day is not None:
        crossing["season end"] = np.full(draws, max(0.0, limits.season_end_day))
    window: Window | None = None
    waiting: dict[int, float] = {}
    if limits.money is not None:
        crossing["money"] = _money_crossing(sampled, path_h, rise, limits.money)
        window, waiting = _money_window(sampled, path_h, rise, limits.money)
    if not crossing:
        raise OutOfRange("no limit is known: give a stack limit, a cleaning cost or a season end")
    names = list(crossing)
    table = np.column_stack([crossing[n] for n in names])
    first = np.argmin(table, axis=1)
    reached = np.isfinite(table.min(axis=1))
    share = {n: float(np.mean((first == i) & reached)) for i, n in enumerate(names)}
    return CleaningDate(
        now_K=float(rise[:, 0].mean()),
        date=_range(table.min(axis=1)),
        by_limit={n: _range(crossing[n]) for n in names},
        binding=max(share, key=lambda n: share[n]),
        share_first=share,
        window=window,
        waiting=waiting,
    )


def _range(days: FloatArray) -> Range:
    low, median, high = np.quantile(days, [LOW, 0.5, HIGH], method="nearest")
    return Range(float(low), float(median), float(high))


def _crossing_day(path: FloatArray, level: FloatArray) -> FloatArray:
    """Day from now on which each row of `path` (day 0, 1, ...) first reaches its level; inf if never."""
    reached = path >= level[:, None]
    rows = np.arange(path.shape[0])
    index = np.argmax(reached, axis=1)
    before = path[rows, np.maximum(index - 1, 0)]
    step = path[rows, index] - before
    part = np.where(step > 0.0, (level - before) / np.where(step > 0.0, step, 1.0), 1.0)
    day = np.where(index == 0, 0.0, index - 1 + np.clip(part, 0.0, 1.0))
    result: FloatArray = np.where(reached.any(axis=1), day, inf)
    return result


def _rise_crossings(rise: FloatArray, limits: Limits, rng: np.random.Generator) -> dict[str, FloatArray]:
    crossing = {}
    for name, limit in limits.at_rise.items():
        level = limit.rise_K + limit.sd_K * rng.standard_normal((rise.shape[0],))
        crossing[name] = _crossing_day(rise, level)
    return crossing


def _past(sampled: CourseDraws, now_h: float, points: int = 60) -> tuple[FloatArray, FloatArray]:
    """Grid of past burning hours [h] and the rise of each draw on it [K], not below zero."""
    grid = np.linspace(0.0, now_h, points)
    return grid, sampled.rise_at(grid)


def _money_crossing(sampled: CourseDraws, path_h: FloatArray, rise: FloatArray, money: MoneyLimit) -> FloatArray:
    """Day from now on which each draw's present loss rate reaches its running average cost."""
    check_positive("cleaning cost", money.cost, "")
    check_positive("loss per kelvin and hour", money.loss_per_K_h, "")
    past_h, past_rise = _past(sampled, float(path_h[0, 0]))
    spent0 = money.loss_per_K_h * np.sum(np.diff(past_h) * 0.5 * (past_rise[:, 1:] + past_rise[:, :-1]), axis=1)
    loss = money.loss_per_K_h * np.maximum(0.0, rise - sampled.baseline[:, None])
    steps = np.diff(path_h, axis=1) * 0.5 * (loss[:, 1:] + loss[:, :-1])
    spent = np.concatenate([np.zeros((loss.shape[0], 1)), np.cumsum(steps, axis=1)], axis=1) + spent0[:, None]
    excess: FloatArray = loss * path_h - money.cost - spent
    return _crossing_day(excess, np.zeros(excess.shape[0]))


def _money_window(
    sampled: CourseDraws, path_h: FloatArray, rise: FloatArray, money: MoneyLimit
) -> tuple[Window, dict[int, float]]:
    """Flat window in days from now from the mean course, and the money lost by being early or late."""
    past_h, past_rise = _past(sampled, float(path_h[0, 0]))
    ahead_h = path_h.mean(axis=0)
    keep = np.append(True, np.diff(ahead_h) > 0.0)
    hours = np.concatenate([past_h, ahead_h[keep][1:]])
    mean_rise = np.maximum(0.0, (rise - sampled.baseline[:, None]).mean(axis=0))
    loss = money.loss_per_K_h * np.concatenate([past_rise.mean(axis=0), mean_rise[keep][1:]])
    window = flat_window(hours, loss, money.cost)
    days = np.arange(ahead_h.size)[keep]

    def day_of(h: float) -> float:
        return float(np.interp(h, ahead_h[keep], days)) if isfinite(h) else inf

    in_days = Window(day_of(window.best), day_of(window.start), day_of(window.end), window.best_rate)
    return in_days, _cost_of_waiting(hours, loss, money.cost, window, ahead_h, days)


def _cost_of_waiting(
    hours: FloatArray, loss: FloatArray, cost: float, window: Window, ahead_h: FloatArray, days: FloatArray
) -> dict[int, float]:
    """Money over one interval lost by cleaning a week, two or four earlier (negative key) or later than best."""
    per_day = float((ahead_h[-1] - ahead_h[0]) / max(1, days[-1]))
    if not isfinite(window.best) or per_day <= 0.0:
        return {}
    spent = np.concatenate([[0.0], np.cumsum(np.diff(hours) * 0.5 * (loss[1:] + loss[:-1]))])
    lost = {}
    for shift in (-28, -14, -7, 7, 14, 28):
        at = window.best + shift * per_day
        if ahead_h[0] <= at <= hours[-1]:
            average = (cost + float(np.interp(at, hours, spent))) / at
            lost[shift] = (average - window.best_rate) * at
    return lost
