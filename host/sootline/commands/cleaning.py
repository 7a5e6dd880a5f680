"""When to clean and why: the rise of the stack, every limit with its date, what could fake it, and the proof after.

Reads what is stored; it sets nothing. Ash is hot for long and bad to breathe: let the furnace cool, switch it off at
the service switch, mask and seal the ash as local rules say.
"""

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import isinf
from typing import Any

import numpy as np

from sootline.analysis.course import Course, generator
from sootline.commands import _burned, _ledger, _limits, _probe, _proof
from sootline.commands._burned import DAY_MS, Burned, day_of
from sootline.commands._figures import Figure, entries, rows
from sootline.errors import OutOfRange, UserError
from sootline.heat.ash import AshBudget, ash_budget, retained_share, weighed_verdict
from sootline.heat.burning_hours import sample_burning_hours
from sootline.heat.cleaning_date import CleaningDate, Range, cleaning_date
from sootline.heat.confounders import Finding, Level, Spell, explain
from sootline.heat.elementwise import FloatArray
from sootline.heat.fouling_fit import FoulingCourse, FoulingRecord, fit_fouling
from sootline.heat.fouling_slopes import FoulingSlopes, fouling_slopes
from sootline.heat.oil import Oil
from sootline.heat.proof import predicted_drop
from sootline.heat.refill_use import OilBurned, oil_burned
from sootline.heat.why import origin
from sootline.store import Store

AHEAD_DAYS, DRAWS = 200, 1000
LATER = "later"  # than the days looked ahead
CAUTION = (
    "Ash stays hot and is bad to breathe: service switch off, cool for half an hour, mask on, ash sealed; local rules "
    "say how it is thrown away. Above the furnace's or vent's limit do not wait for a date: turn it down and look."
)


@dataclass(frozen=True)
class Picture:
    """Everything that is told of one furnace. refused: why there is no date, where there is none."""

    seen: Burned
    oil: Oil
    used: OilBurned | None
    ash: AshBudget | None
    limits: _limits.Found
    refused: str = ""
    course: FoulingCourse | None = None
    rise: tuple[float, float] = (0.0, 0.0)
    due: CleaningDate | None = None
    by_batch: FoulingSlopes | None = None
    per_start: FoulingSlopes | None = None
    causes: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()


def main(argv: Sequence[str]) -> int:
    """Print when to clean, or write down a prediction, or prove the last one; returns 0.

    Raises: UserError for a furnace or number that cannot be used.
    """
    options = _parser().parse_args(argv)
    try:
        with _burned.opened(options.data, options.furnace) as (store, profile, now_ms):
            if options.prove:
                said = _proof.prove(store, profile, now_ms, options.data, options.ash_kg)
                print(json.dumps(said) if options.json else said["text"])
                return 0
            picture = draw(store, _burned.burned(store, profile, now_ms), options)
    except OutOfRange as error:
        raise UserError(str(error)) from error
    written = _predict(picture, options) if options.predict else None
    print(_json(picture, written, options) if options.json else "\n".join(_text(picture, written, options)))
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="sootline cleaning", description=(__doc__ or "").splitlines()[0])
    add = parser.add_argument
    add("furnace", metavar="FURNACE")
    _burned.add_arguments(parser)
    add("--season-end", metavar="DATE", help="the day on which the season ends and it is cleaned anyway")
    add("--coldest", type=float, metavar="C", help="coldest day ahead [°C] (default: the coldest firing stored)")
    add("--smoke", action="append", metavar="DATE=NUMBER", help="a smoke spot test since the cleaning; repeat")
    add("--ash-full-kg", type=float, metavar="KG", help="ash in the exchanger at which you clean [kg]")
    add("--ash-kg", type=float, metavar="KG", help="ash weighed at the cleaning [kg]: compared with the budget")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--predict", action="store_true", help="write down, before cleaning, what it should bring")
    what.add_argument("--prove", action="store_true", help="after cleaning: compare the drop with what was predicted")
    return parser


def draw(store: Store, seen: Burned, options: argparse.Namespace) -> Picture:
    """The whole picture; without a date where the fit refuses.

    Raises: OutOfRange, UserError
    """
    oil, oil_note = _burned.oil_named(options.oil, options.data)
    used = seen.oil(oil, seen.clean_ms, seen.now_ms + 1)
    random = generator(seen.furnace, seen.now_ms)
    limits = _limits.find(store, seen, oil, used, options, random.standard_normal(DRAWS))
    ash = None if used is None else ash_budget(
        [_limits.burned_batch(oil, used)], *retained_share([], []), options.ash_full_kg
    )  # fmt: skip
    course = seen.course()
    try:
        record = course.record()
        ahead_h = sample_burning_hours(course.recent_h(), AHEAD_DAYS, DRAWS, random)
        fitted = fit_fouling(record)
        rise = predicted_drop(fitted, course.now_h, random)
        due = cleaning_date(fitted, course.now_h, ahead_h, limits.limits(), random)
    except OutOfRange as error:
        return Picture(seen, oil, used, ash, limits, str(error), notes=(oil_note,))
    by_batch, per_start, notes = _slopes(seen, course, record)
    causes: tuple[Finding, ...] = ()
    try:
        causes = tuple(_causes(store, seen, fitted.noise_sd))
    except OutOfRange as error:
        notes.append(f"other causes: not tested: {error}")
    return Picture(seen, oil, used, ash, limits, "", fitted, rise, due, by_batch, per_start, causes, (oil_note, *notes))


def _slopes(
    seen: Burned, course: Course, record: FoulingRecord
) -> tuple[FoulingSlopes | None, FoulingSlopes | None, list[str]]:
    """Slopes by batch, and with the starts beside the hours; None and a note where they cannot be told apart."""
    edges = [*record.batch_start_h, np.inf]
    hours = np.column_stack([
        np.clip(record.hours, low, high) - low for low, high in pairwise(edges)
    ])  # fmt: skip
    names = [f"batch {i + 1}" for i in range(hours.shape[1])]
    told = np.ptp(hours, axis=0) > 0.0  # a batch burned up while the clean stack was learned tells nothing
    by_batch = per_start = None
    notes = []
    try:
        by_batch = fouling_slopes(
            record.day, hours[:, told], record.value, [n for n, is_told in zip(names, told, strict=True) if is_told]
        )
    except OutOfRange as error:
        notes.append(f"slope by batch: not known: {error}")
    try:
        starts = seen.starts_at(record.hours)
        per_start = fouling_slopes(record.day, record.hours[:, None], record.value, ["all"], starts)
    except OutOfRange as error:
        notes.append(f"slope by start: not known: {error}")
    return by_batch, per_start, notes


def _causes(store: Store, seen: Burned, noise_sd_K: float) -> list[Finding]:
    """What could fake the rise, from the firings that stand for clean and the latest ones."""
    until_ms = _limits.clean_until_ms(seen)
    known = [e for e in seen.steady if e.number("residual_K") is not None]
    since_ms = seen.steady[-min(len(seen.steady), _limits.LEARNED_FROM)].start_ms
    rises = _limits.column(known, "residual_K")
    changed = [e.at_ms for e in seen.log("batch")]
    change = None if not changed else sum(e.end_ms <= changed[-1] for e in known)
    clean, now = (seen.clean_ms, until_ms), (max(since_ms, until_ms), seen.now_ms)
    before, after = _spell(seen, *clean), _spell(seen, *now)
    probe = _probe.check(store, seen, clean, now)
    before = replace(before, lag_s=probe.lag_s[0], cold_offset_K=probe.cold_offset_K[0])
    after = replace(after, lag_s=probe.lag_s[1], cold_offset_K=probe.cold_offset_K[1])
    found = explain(before, after, rises, change, min(noise_sd_K, 100.0))
    few = f"; only {probe.few}" if probe.few else ""
    return [replace(f, evidence=f.evidence + few) if f.cause == "probe" else f for f in found]


def _spell(seen: Burned, start_ms: int, end_ms: int) -> Spell:
    steady = [e for e in seen.steady if start_ms <= e.start_ms and e.end_ms <= end_ms]
    ends = {e.start_ms for e in steady}
    firings = [e for e in seen.firings if e.start_ms in ends]
    stack = _level(_limits.column(firings, "stack_end"))
    if stack is None:
        raise OutOfRange("too few firings with a stack temperature to look for other causes")
    differential = seen.profile.refill.differential_l
    burned_s = _limits.column([e for e in seen.refills if start_ms <= e.start_ms <= end_ms], "burned_s")
    rate = None if differential is None else _level(3600.0 * differential / burned_s[burned_s > 0])
    return Spell(
        stack,
        air_rise_K=_level(_limits.column(steady, "supply_rise_K")),
        rate_l_h=rate,
        return_C=_level(_limits.column(firings, "return_air_end")),
    )


def _level(values: FloatArray) -> Level | None:
    """Mean and standard error; None with fewer than 5."""
    known = values[np.isfinite(values)]
    return None if known.size < 5 else Level(float(known.mean()), float(known.std(ddof=1) / known.size**0.5))


def _predict(picture: Picture, options: argparse.Namespace) -> str:
    if picture.course is None:
        raise UserError(f"nothing can be predicted yet: {picture.refused}")
    path = _ledger.path_of(options.data, picture.seen.furnace)
    return _proof.predict(path, picture.seen.now_ms, picture.rise, picture.ash)


def _figures(picture: Picture, options: argparse.Namespace) -> Iterator[Figure]:
    seen, used, ash = picture.seen, picture.used, picture.ash
    yield Figure("hours", "burning hours", seen.hours, "hours", "", Burned.hours.fget)  # type: ignore[attr-defined]
    yield Figure("starts", "starts", float(seen.starts), "count", "", Burned.starts.fget)  # type: ignore[attr-defined]
    if used is None:
        yield Figure("oil", "oil burned", None, "oil", "set refill.differential_l in the profile", oil_burned)
    else:
        yield Figure(
            "oil", "oil burned", used.litres, "oil", f"at 15 °C, {used.refills} refills", oil_burned,
            used.standard_error_l,
        )  # fmt: skip
    if ash is not None:
        yield Figure("ash_brought", "ash brought by the oil", ash.brought_kg, "mass", "", ash_budget)
        yield Figure("ash_low", "ash kept, at least", ash.kept_low_kg, "mass", "10 % below", ash_budget)
        yield Figure("ash_kept", "ash kept, likely", ash.kept_kg, "mass", "", ash_budget)
        yield Figure("ash_high", "ash kept, at most", ash.kept_high_kg, "mass", "10 % above", ash_budget)
        if options.ash_kg is not None and ash.kept_kg > 0:
            result = weighed_verdict(options.ash_kg, ash.kept_kg)
            words = {"agrees": "agrees within a factor 2", "more": "more than expected", "less": "less than expected"}
            yield Figure("ash_weighed", "ash weighed", options.ash_kg, "mass", words[result], weighed_verdict)
    if picture.course is None:
        return
    rise_K, sd_K = picture.rise
    yield Figure("rise", "stack over clean now", rise_K, "difference", "", predicted_drop, sd_K)
    for name, slope in ({} if picture.by_batch is None else picture.by_batch.by_batch).items():
        key = f"slope_{name.replace(' ', '_')}"
        yield Figure(
            key, f"slope, {name}", 100 * slope.value, "growth", "" if slope.told_apart else "not told apart from zero",
            fouling_slopes, 100 * slope.standard_error,
        )  # fmt: skip
    per_start = None if picture.per_start is None else picture.per_start.per_start
    if per_start is not None:
        note = "" if per_start.told_apart else "not told apart from zero"
        yield Figure("per_start", "per start", per_start.value, "step", note, fouling_slopes, per_start.standard_error)
    for law, weight in picture.course.law_weights().items():
        yield Figure(f"law_{law}", f"law: {law}", 100 * weight, "percent", "", FoulingCourse.law_weights)


def _text(picture: Picture, written: str | None, options: argparse.Namespace) -> Iterator[str]:
    seen = picture.seen
    since = "cleaned on" if seen.declared else "first seen (nobody has said that it was clean) on"
    yield f"{seen.furnace} as of {day_of(seen.now_ms)}, {since} {day_of(seen.clean_ms)}"
    yield from rows(_figures(picture, options), options.us, options.why)
    yield ""
    if picture.due is None:
        yield f"No date yet: {picture.refused} (after a week and 30 firings that teach the clean stack)"
    else:
        yield from _dates(picture, picture.due, options.why)
        yield from ("", "Could it be something else?")
        for cause in picture.causes:
            yield f"  {cause.cause:<13}{cause.result:<12}{cause.evidence}"
        if not picture.causes:
            yield "  not tested; see the notes"
        if options.why:
            yield _origin(explain)
    yield from ("", "Notes:", *(f"  {note}" for note in (*picture.limits.notes, *picture.notes)))
    yield from ("", CAUTION)
    if written is not None:
        yield from ("", written)


def _dates(picture: Picture, due: CleaningDate, why: bool) -> Iterator[str]:
    now_ms = picture.seen.now_ms
    low, middle, high = _days(now_ms, due.date)
    yield f"Clean {_between(low, high)} (80 %), most likely {middle}; what comes first: {due.binding}"
    yield f"  {'limit':<14}{'earliest':<12}{'likely':<12}{'latest':<12}comes first"
    for name, span in sorted(due.by_limit.items(), key=lambda item: item[1].median):
        low, middle, high = _days(now_ms, span)
        yield f"  {name:<14}{low:<12}{middle:<12}{high:<12}{due.share_first[name]:.0%}"
        if why:
            yield _origin(picture.limits.behind[name])
    if due.window is not None:
        first, last = _day(now_ms, due.window.start), _day(now_ms, due.window.end)
        yield f"Money: any time {_between(first, last)} costs at most 5 % more than the best day"
        for days, lost in sorted(due.waiting.items()):
            yield f"  {abs(days)} days {'early' if days < 0 else 'late'} of its best day costs {lost:.2f}"
    if why:
        yield _origin(cleaning_date)


def _origin(function: Any) -> str:
    found = origin(function)
    return f"    {found.function}: {found.source}"


def _day(now_ms: int, days: float) -> str:
    return LATER if isinf(days) else day_of(now_ms + days * DAY_MS)


def _between(first: str, last: str) -> str:
    if first == LATER:
        return f"more than {AHEAD_DAYS} days from now"
    return f"from {first} on" if last == LATER else f"between {first} and {last}"


def _days(now_ms: int, span: Range) -> tuple[str, str, str]:
    return _day(now_ms, span.low), _day(now_ms, span.median), _day(now_ms, span.high)


def _json(picture: Picture, written: str | None, options: argparse.Namespace) -> str:
    seen, due = picture.seen, picture.due
    record: dict[str, Any] = {
        "furnace": seen.furnace,
        "as_of": day_of(seen.now_ms),
        "clean_since": day_of(seen.clean_ms),
        "declared_clean": seen.declared,
        "figures": entries(_figures(picture, options), options.why),
        "refused": picture.refused or None,
        "causes": [
            {"cause": c.cause, "result": c.result, "explains_K": c.explains_K, "evidence": c.evidence}
            for c in picture.causes
        ],
        "notes": [*picture.limits.notes, *picture.notes],
        "written": written,
        "caution": CAUTION,
    }
    if due is not None:
        record |= {
            "date": _days(seen.now_ms, due.date),
            "binding": due.binding,
            "limits": [_limit(picture, name, span, options.why) for name, span in due.by_limit.items()],
            "money_window": due.window
            and [_day(seen.now_ms, days) for days in (due.window.start, due.window.best, due.window.end)],
            "waiting": {str(days): lost for days, lost in sorted(due.waiting.items())},
        }
    return json.dumps(record, ensure_ascii=False, indent=1)


def _limit(picture: Picture, name: str, span: Range, why: bool) -> dict[str, Any]:
    assert picture.due is not None
    made: dict[str, Any] = {
        "limit": name,
        "date": _days(picture.seen.now_ms, span),
        "share_first": picture.due.share_first[name],
    }
    if why:
        found = origin(picture.limits.behind[name])
        made |= {"function": found.function, "source": found.source}
    return made
