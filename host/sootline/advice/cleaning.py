"""When to clean and why: the rise of the stack, every limit with its date, what could fake it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from sootline.advice import limits, probe
from sootline.advice.burned import Burned, oil_named
from sootline.advice.figure import Figure
from sootline.advice.limits import Found, Given
from sootline.analysis.course import Course, generator
from sootline.errors import OutOfRange
from sootline.heat.ash import AshBudget, ash_budget, retained_share, weighed_verdict
from sootline.heat.burning_hours import sample_burning_hours
from sootline.heat.cleaning_date import CleaningDate, cleaning_date
from sootline.heat.confounders import Finding, Level, Spell, explain
from sootline.heat.elementwise import FloatArray
from sootline.heat.fouling_fit import FoulingCourse, FoulingRecord, fit_fouling
from sootline.heat.fouling_slopes import FoulingSlopes, fouling_slopes
from sootline.heat.oil import Oil
from sootline.heat.proof import predicted_drop
from sootline.heat.refill_use import OilBurned, oil_burned
from sootline.store import Store

AHEAD_DAYS, DRAWS = 200, 1000
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
    limits: Found
    refused: str = ""
    course: FoulingCourse | None = None
    rise: tuple[float, float] = (0.0, 0.0)
    due: CleaningDate | None = None
    by_batch: FoulingSlopes | None = None
    per_start: FoulingSlopes | None = None
    causes: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()


def draw(store: Store, seen: Burned, given: Given) -> Picture:
    """The whole picture; without a date where the fit refuses.

    Raises: OutOfRange, UserError
    """
    oil, oil_note = oil_named(given.oil, store.folder)
    used = seen.oil(oil, seen.clean_ms, seen.now_ms + 1)
    random = generator(seen.furnace, seen.now_ms)
    found = limits.find(store, seen, oil, used, given, random.standard_normal(DRAWS))
    ash = None if used is None else ash_budget(
        [limits.burned_batch(oil, used)], *retained_share([], []), given.ash_full_kg
    )  # fmt: skip
    course = seen.course()
    try:
        record = course.record()
        ahead_h = sample_burning_hours(course.recent_h(), AHEAD_DAYS, DRAWS, random)
        fitted = fit_fouling(record)
        rise = predicted_drop(fitted, course.now_h, random)
        due = cleaning_date(fitted, course.now_h, ahead_h, found.limits(), random)
    except OutOfRange as error:
        return Picture(seen, oil, used, ash, found, str(error), notes=(oil_note,))
    by_batch, per_start, notes = _slopes(seen, course, record)
    causes: tuple[Finding, ...] = ()
    try:
        causes = tuple(_causes(store, seen, fitted.noise_sd))
    except OutOfRange as error:
        notes.append(f"other causes: not tested: {error}")
    return Picture(seen, oil, used, ash, found, "", fitted, rise, due, by_batch, per_start, causes, (oil_note, *notes))


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
    until_ms = limits.clean_until_ms(seen)
    known = [e for e in seen.steady if e.number("residual_K") is not None]
    since_ms = seen.steady[-min(len(seen.steady), limits.LEARNED_FROM)].start_ms
    rises = limits.column(known, "residual_K")
    changed = [e.at_ms for e in seen.log("batch")]
    change = None if not changed else sum(e.end_ms <= changed[-1] for e in known)
    clean, now = (seen.clean_ms, until_ms), (max(since_ms, until_ms), seen.now_ms)
    before, after = _spell(seen, *clean), _spell(seen, *now)
    tested = probe.check(store, seen, clean, now)
    before = replace(before, lag_s=tested.lag_s[0], cold_offset_K=tested.cold_offset_K[0])
    after = replace(after, lag_s=tested.lag_s[1], cold_offset_K=tested.cold_offset_K[1])
    found = explain(before, after, rises, change, min(noise_sd_K, 100.0))
    few = f"; only {tested.few}" if tested.few else ""
    return [replace(f, evidence=f.evidence + few) if f.cause == "probe" else f for f in found]


def _spell(seen: Burned, start_ms: int, end_ms: int) -> Spell:
    steady = [e for e in seen.steady if start_ms <= e.start_ms and e.end_ms <= end_ms]
    ends = {e.start_ms for e in steady}
    firings = [e for e in seen.firings if e.start_ms in ends]
    stack = _level(limits.column(firings, "stack_end"))
    if stack is None:
        raise OutOfRange("too few firings with a stack temperature to look for other causes")
    differential = seen.profile.refill.differential_l
    burned_s = limits.column([e for e in seen.refills if start_ms <= e.start_ms <= end_ms], "burned_s")
    rate = None if differential is None else _level(3600.0 * differential / burned_s[burned_s > 0])
    return Spell(
        stack,
        air_rise_K=_level(limits.column(steady, "supply_rise_K")),
        rate_l_h=rate,
        return_C=_level(limits.column(firings, "return_air_end")),
    )


def _level(values: FloatArray) -> Level | None:
    """Mean and standard error; None with fewer than 5."""
    known = values[np.isfinite(values)]
    return None if known.size < 5 else Level(float(known.mean()), float(known.std(ddof=1) / known.size**0.5))


def figures(picture: Picture, ash_kg: float | None = None) -> Iterator[Figure]:
    """Every figure of the picture; ash_kg: what was weighed, to be compared with the budget [kg]."""
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
        if ash_kg is not None and ash.kept_kg > 0:
            result = weighed_verdict(ash_kg, ash.kept_kg)
            words = {"agrees": "agrees within a factor 2", "more": "more than expected", "less": "less than expected"}
            yield Figure("ash_weighed", "ash weighed", ash_kg, "mass", words[result], weighed_verdict)
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
