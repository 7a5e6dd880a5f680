"""The stack from day to day: as measured, over its clean level, and the fitted course with the days ahead."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sootline.advice.burned import DAY_MS
from sootline.advice.cleaning import AHEAD_DAYS, Picture
from sootline.advice.limits import LEARNED_FROM, column
from sootline.analysis.course import generator
from sootline.events import Event
from sootline.heat.elementwise import FloatArray
from sootline.heat.fouling_fit import draw_courses
from sootline.store import Store

BACK_DAYS, LEARN_DAYS = 400, 7
DRAWS, LEAST_AHEAD_DAYS, MOST_AHEAD_DAYS = 400, 14, 60


@dataclass(frozen=True)
class Band:
    """10 %, 50 % and 90 % points of the rise [K] at moments t_ms; from `now_ms` on it is a forecast."""

    t_ms: FloatArray
    low_K: FloatArray
    middle_K: FloatArray
    high_K: FloatArray


@dataclass(frozen=True)
class Rises:
    """Means of each day with a steady firing: stack over the air, and rise over clean (NaN while that is learned) [K].

    clean_K: mean stack over the air of the firings that stand for clean, and their scatter, since the last cleaning
    learned: firings and days since then that teach the clean stack, of LEARNED_FROM and LEARN_DAYS that are needed
    band: None where there is no fit
    """

    t_ms: FloatArray
    net_K: FloatArray
    rise_K: FloatArray
    clean_K: tuple[float, float] | None
    learned: tuple[int, int]
    judged: int
    band: Band | None


def rises(store: Store, picture: Picture) -> Rises:
    """The days of the last 400 and what the picture's fit says of them and of the days ahead."""
    seen = picture.seen
    steady = store.events(seen.furnace, "steady", seen.now_ms - BACK_DAYS * DAY_MS, seen.now_ms + 1)
    t_ms, net_K, rise_K = _days(steady)
    first = seen.steady[:LEARNED_FROM]
    clean = column(first, "net_K")
    known = clean[np.isfinite(clean)]
    days = (seen.steady[-1].end_ms - seen.clean_ms) // DAY_MS if seen.steady else 0
    return Rises(
        t_ms, net_K, rise_K,
        (float(known.mean()), float(known.std())) if known.size else None,
        (min(len(seen.steady), LEARNED_FROM), min(int(days), LEARN_DAYS)),
        sum(e.number("residual_K") is not None for e in seen.steady),
        _band(picture),
    )  # fmt: skip


def _days(steady: Sequence[Event]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middle of the day's firings, mean stack over the air, mean rise where it is known."""
    by_day: dict[int, list[Event]] = {}
    for event in steady:
        by_day.setdefault(event.end_ms // DAY_MS, []).append(event)
    t_ms = np.array([np.mean([e.end_ms for e in those]) for those in by_day.values()])
    net = np.array([_mean(column(those, "net_K")) for those in by_day.values()])
    rise = np.array([_mean(column(those, "residual_K")) for those in by_day.values()])
    return t_ms, net, rise


def _mean(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else float("nan")


def _band(picture: Picture) -> Band | None:
    """Quantiles of draws of the fitted course, carried on at the burning hours of late.

    Source: `fouling_fit.draw_courses`.
    """
    if picture.course is None:
        return None
    seen = picture.seen
    course = seen.course()
    per_day = course.recent_h()
    ahead_h = float(per_day.mean()) if per_day.size else 0.0
    ahead_days = MOST_AHEAD_DAYS
    if picture.due is not None and picture.due.date.high < AHEAD_DAYS:
        ahead_days = int(min(max(picture.due.date.high * 1.1, LEAST_AHEAD_DAYS), MOST_AHEAD_DAYS))
    days = np.arange(1.0, ahead_days + 1.0)
    known = [day for day in course.days if day.count]
    t_ms = np.array([*(float(day.t_ms) for day in known), *(seen.now_ms + days * DAY_MS)])
    hours = np.array([*(day.burned_h for day in known), *(course.now_h + ahead_h * days)])
    drawn = draw_courses(picture.course, DRAWS, generator(seen.furnace, seen.now_ms)).rise_at(hours)
    low, middle, high = np.quantile(drawn, [0.1, 0.5, 0.9], axis=0)
    return Band(t_ms, low, middle, high)
