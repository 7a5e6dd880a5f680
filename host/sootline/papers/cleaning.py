"""The cleaning decision as it is read: when, what waiting costs, what the evidence is and lacks, what cleanings did."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import tzinfo
from math import isinf

import numpy as np

from sootline.advice.burned import DAY_MS
from sootline.advice.cleaning import AHEAD_DAYS, Picture, figures
from sootline.advice.limits import LEARNED_FROM
from sootline.advice.proof import Cleaning
from sootline.advice.rises import LEARN_DAYS, Rises
from sootline.heat.cleaning_date import Range
from sootline.heat.elementwise import FloatArray
from sootline.heat.proof import Ledger, verdict
from sootline.papers.words import LIMITS, FigureView, figure_views, plain
from sootline.report.plots import Flag, Panel, Series, plot
from sootline.units import System, convert, day, said, show, shown, unit_of
from sootline.wording import furnace_name

FLAG_WORDS = {"cleaning": "cleaned", "batch": "batch", "nozzle": "nozzle", "blower": "blower", "shutter": "air"}


@dataclass(frozen=True, slots=True)
class LimitView:
    name: str
    earliest: str
    likely: str
    latest: str
    first: str


@dataclass(frozen=True, slots=True)
class OtherCause:
    cause: str
    result: str
    evidence: str


@dataclass(frozen=True, slots=True)
class CleaningRow:
    """One cleaning: how far the stack fell, or why that is not known; and what had been written down before it."""

    when: str
    note: str
    drop: str
    predicted: str
    verdict: str


@dataclass(frozen=True, slots=True)
class CleaningView:
    """state: `learning` or `dated`; written: the prediction that is open, "" where none is; lacks: what is not known;
    overlay: when the latest and the first clean firing began [ms]
    """

    furnace: str
    name: str
    state: str
    as_of_ms: int
    since: str
    headline: str
    because: str
    evidence: tuple[str, ...]
    window: str
    waiting: tuple[tuple[str, str], ...]
    a_week: str
    figures: tuple[FigureView, ...]
    limits: tuple[LimitView, ...]
    causes: tuple[OtherCause, ...]
    lacks: tuple[str, ...]
    cleanings: tuple[CleaningRow, ...]
    hits: str
    written: str
    overlay: tuple[int, int] | None
    may_predict: bool
    may_prove: bool
    wide: str
    narrow: str


def cleaning_view(
    picture: Picture, course: Rises, done: list[Cleaning], kept: Ledger, system: System, zone: tzinfo | None
) -> CleaningView:
    """Everything that is told of the cleaning of one furnace."""
    seen, due = picture.seen, picture.due
    since = "Cleaned" if seen.declared else "Nobody has said that it was clean; first seen"
    written = _open(kept, system, zone)
    return CleaningView(
        furnace=seen.furnace,
        name=furnace_name(seen.furnace),
        state="learning" if due is None else "dated",
        as_of_ms=seen.now_ms,
        since=f"{since} {day(seen.clean_ms, zone)}",
        headline=_learning(picture, course) if due is None else _headline(picture, due.date, zone),
        because="" if due is None else _because(picture, zone),
        evidence=tuple(_evidence(picture, course, system)),
        window=_window(picture, zone),
        waiting=tuple(_waiting(picture)),
        a_week=_a_week(picture, course),
        figures=figure_views(figures(picture), system),
        limits=tuple(_limits(picture, zone)),
        causes=tuple(OtherCause(c.cause, c.result, said(c.evidence, system)) for c in picture.causes),
        lacks=tuple(plain(note, system) for note in (*picture.limits.notes, *picture.notes)),
        cleanings=cleaning_rows(done, system, zone),
        hits=_hits(kept),
        written=written,
        overlay=(seen.steady[-1].start_ms, seen.steady[0].start_ms) if len(seen.steady) > 1 else None,
        may_predict=due is not None and not written,
        may_prove=bool(written) and any(one.predicted is not None and one.drop_K is not None for one in done),
        wide=_plot(picture, course, system, zone, 760),
        narrow=_plot(picture, course, system, zone, 380),
    )


def _learning(picture: Picture, course: Rises) -> str:
    firings, days = course.learned
    if firings >= LEARNED_FROM and days >= LEARN_DAYS:
        return f"No date yet: {picture.refused}"
    return f"No date yet: learning the clean stack, {firings} of {LEARNED_FROM} firings and {days} of {LEARN_DAYS} days"


def _headline(picture: Picture, span: Range, zone: tzinfo | None) -> str:
    now_ms = picture.seen.now_ms
    if isinf(span.low):
        return f"Not within {AHEAD_DAYS} days"
    if span.high < 1.0:
        return "Due now"
    if isinf(span.high):
        return f"From {_on(now_ms, span.low, zone)} on"
    return f"Between {_on(now_ms, span.low, zone)} and {_on(now_ms, span.high, zone)}"


def _because(picture: Picture, zone: tzinfo | None) -> str:
    assert picture.due is not None
    due, now_ms = picture.due, picture.seen.now_ms
    if isinf(due.date.low):
        return "No limit that is known comes in sight."
    likely = "later" if isinf(due.date.median) else _on(now_ms, due.date.median, zone)
    share = due.share_first[due.binding]
    return f"8 chances in 10; most likely {likely}. First comes {LIMITS[due.binding]} ({share:.0%} of the courses)."


def _evidence(picture: Picture, course: Rises, system: System) -> Iterator[str]:
    if course.clean_K is not None:
        level, scatter = (shown(v, "difference", system) for v in course.clean_K)
        n = course.learned[0]
        yield f"Clean level {level.text} ± {scatter} over the air, from {n} firing{'' if n == 1 else 's'}."
    if picture.course is None:
        return
    rise, sd = (shown(v, "difference", system) for v in picture.rise)
    yield f"Now {rise.text} ± {sd} over it, from {course.judged} firings with the weather taken out."
    yield f"From day to day it scatters by {show(picture.course.noise_sd, 'fine difference', system)}."
    asked = [c for c in picture.causes if c.result != "unlikely"]
    if picture.causes and not asked:
        yield "Nothing else that was tested could fake it: " + ", ".join(c.cause for c in picture.causes) + "."
    elif asked:
        yield "Not ruled out: " + ", ".join(f"{c.cause} ({c.result})" for c in asked) + "."


def _window(picture: Picture, zone: tzinfo | None) -> str:
    if picture.due is None or picture.due.window is None:
        return ""
    now_ms, window = picture.seen.now_ms, picture.due.window
    if isinf(window.start):
        return f"For money alone there is no hurry: its best day is more than {AHEAD_DAYS} days away."
    first = _on(now_ms, window.start, zone)
    span = f"from {first} on" if isinf(window.end) else f"between {first} and {_on(now_ms, window.end, zone)}"
    return f"For money alone any time {span} costs at most 5 % more than the best day."


def _waiting(picture: Picture) -> Iterator[tuple[str, str]]:
    if picture.due is None:
        return
    for days, lost in sorted(picture.due.waiting.items()):
        yield f"{abs(days)} days {'early' if days < 0 else 'late'}", f"{lost:.2f}"


def _a_week(picture: Picture, course: Rises) -> str:
    """What the rise costs in oil a week now, in the money of the profile."""
    money = picture.limits.money
    if money is None or picture.course is None:
        return ""
    hours = picture.seen.course().recent_h()
    if not hours.size:
        return ""
    lost = money.loss_per_K_h * picture.rise[0] * float(hours.mean()) * 7.0
    return f"About {lost:.2f} a week of oil goes up the stack for it now (in the money of the profile)."


def _limits(picture: Picture, zone: tzinfo | None) -> Iterator[LimitView]:
    if picture.due is None:
        return
    now_ms = picture.seen.now_ms
    for name, span in sorted(picture.due.by_limit.items(), key=lambda item: item[1].median):
        first, likely, last = (
            "later" if isinf(days) else _on(now_ms, days, zone) for days in (span.low, span.median, span.high)
        )
        words = LIMITS[name]
        yield LimitView(words[:1].upper() + words[1:], first, likely, last, f"{picture.due.share_first[name]:.0%}")


def _on(now_ms: int, days: float, zone: tzinfo | None) -> str:
    return day(now_ms + days * DAY_MS, zone)


def cleaning_rows(done: list[Cleaning], system: System, zone: tzinfo | None) -> tuple[CleaningRow, ...]:
    """Cleanings and what each did, the newest first."""
    return tuple(_row(one, system, zone) for one in reversed(done))


def _row(one: Cleaning, system: System, zone: tzinfo | None) -> CleaningRow:
    drop = f"not known: {said(one.unknown, system)}"
    if one.drop_K is not None:
        fell, error = (shown(v, "difference", system) for v in one.drop_K)
        drop = f"{fell.text} ± {error}"
    predicted, result = "", ""
    if one.predicted is not None:
        should, sd = (shown(v, "difference", system) for v in (one.predicted.drop_K, one.predicted.sd_K))
        predicted = f"{should.text} ± {sd}, written {day(one.predicted.written_ms, zone)}"
        result = "not compared yet" if one.outcome is None else verdict(one.predicted, one.outcome).result
    return CleaningRow(day(one.at_ms, zone), one.note, drop, predicted, result)


def _hits(kept: Ledger) -> str:
    hits, closed = kept.hits()
    return "" if not closed else f"Hits: {hits} of {closed} predictions; misses stay in the list."


def _open(kept: Ledger, system: System, zone: tzinfo | None) -> str:
    """What is written down and not compared yet."""
    if not kept.rows or kept.rows[-1].outcome is not None:
        return ""
    prediction = kept.rows[-1].prediction
    drop, sd = (shown(v, "difference", system) for v in (prediction.drop_K, prediction.sd_K))
    return f"Written down on {day(prediction.written_ms, zone)}: a cleaning should bring {drop.text} ± {sd}."


def _plot(picture: Picture, course: Rises, system: System, zone: tzinfo | None, width: int) -> str:
    if course.t_ms.size < 2:
        return ""
    seen, degree = picture.seen, unit_of("difference", system).label
    start_ms = float(course.t_ms[0]) - DAY_MS / 2
    end_ms = float(max(seen.now_ms, course.band.t_ms[-1] if course.band is not None else 0.0))
    band: list[Series] = []
    if course.band is not None:
        t_ms = course.band.t_ms
        low, middle, high = (_shown(v, system) for v in (course.band.low_K, course.band.middle_K, course.band.high_K))
        ahead = t_ms >= seen.now_ms
        join = np.maximum.accumulate(ahead | np.roll(ahead, -1)) if ahead.any() else ahead
        band = [
            Series("80 % range of the course", "band", t_ms, low, high),
            Series("fitted course", "line", t_ms[~ahead], middle[~ahead]),
            Series("carried on", "dashed", t_ms[join], middle[join]),
        ]
    ends = np.array([start_ms, end_ms])
    limits = [
        Series(f"limit: {LIMITS[name]}", "limit", ends, _shown(np.full(2, limit.rise_K), system))
        for name, limit in picture.limits.at_rise.items()
    ]
    panels = (
        Panel(f"Stack over the air, {degree}, mean of each day", (Series("as measured", "dots", course.t_ms,
              _shown(course.net_K, system)),), 100),
        Panel(f"Rise over the clean level, {degree}, weather taken out", (
            *band, *limits, Series("rise", "dots", course.t_ms, _shown(course.rise_K, system))), 170, True),
    )  # fmt: skip
    flags = [Flag(e.at_ms, FLAG_WORDS[e.kind]) for e in seen.profile.log if e.kind in FLAG_WORDS]
    label = "Stack temperature from day to day, its rise over the clean level, and the fitted course; in numbers below"
    return plot(panels, flags, start_ms, end_ms, zone, width, label)


def _shown(values: FloatArray, system: System) -> FloatArray:
    scaled: FloatArray = values * convert(1.0, "difference", system)
    return scaled
