"""A season, or a week, in numbers: what a furnace burned, how often it was lit, what went wrong, what was done."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from itertools import pairwise
from statistics import fmean, median

import numpy as np

from sootline.alarms import PRIORITIES, Alarm, Priority
from sootline.events import Event
from sootline.heat.oil import Oil
from sootline.heat.refill_use import OilBurned, oil_burned
from sootline.profile import LogEntry, Profile

DAY_MS = 86_400_000
DIFFERENTIAL_SHARE = 0.05  # standard error of a float differential measured with a jug (common practice)
NIGHT_H = (22.0, 6.5)
LATEST = 10  # firings whose mean rise stands for a moment


@dataclass(frozen=True, slots=True)
class Batch:
    """What was burned of one batch, or before the first one was logged."""

    name: str
    from_ms: int
    burned: OilBurned


@dataclass(frozen=True, slots=True)
class Calls:
    """Alarms raised in the span. by_priority: those that called for somebody; consequences: kept quiet under them.

    at_night: critical or high between 22:00 and 06:30; answered_s: middle of the times until somebody had one
    """

    by_priority: Mapping[Priority, int]
    consequences: int
    at_night: int
    answered: int
    answered_s: float | None
    most: tuple[tuple[str, int], ...]
    standing: tuple[Alarm, ...]

    @property
    def total(self) -> int:
        return sum(self.by_priority.values())


@dataclass(frozen=True, slots=True)
class Season:
    """One furnace in [start_ms, end_ms).

    days: on which it was lit; oil: burned [L at 15 °C], None where the profile does not say what a refill holds;
    heat_GJ: in that oil, gross; rise_K: mean of the last ten known rises over the clean stack, and their scatter [K]
    """

    furnace: str
    start_ms: int
    end_ms: int
    days: int
    hours: float
    starts: int
    refills: int
    oil: OilBurned | None
    heat_GJ: float | None
    batches: tuple[Batch, ...]
    calls: Calls
    log: tuple[LogEntry, ...]
    rise_K: tuple[float, float] | None

    def done(self, kind: str) -> tuple[LogEntry, ...]:
        """Log entries of one kind in the span."""
        return tuple(entry for entry in self.log if entry.kind == kind)


def season(
    profile: Profile,
    events: Sequence[Event],
    alarms: Iterable[Alarm],
    oil: Oil,
    start_ms: int,
    end_ms: int,
    zone: tzinfo = UTC,
) -> Season:
    """The numbers of one furnace.

    profile: with its whole log; events: firings, refills and steady stacks that began in the span, in order of time;
    oil: what a litre of it holds; zone: of the owner's clock, for the nights
    Raises: OutOfRange
    """
    firings = [e for e in events if e.kind == "firing" and start_ms <= e.start_ms < end_ms]
    refills = [
        e for e in events if e.kind == "refill" and start_ms <= e.start_ms < end_ms and not e.features.get("stalled")
    ]
    rises = [e.number("residual_K") for e in events if e.kind == "steady" and start_ms <= e.start_ms < end_ms]
    known = [rise for rise in rises if rise is not None][-LATEST:]
    total = _oil(profile, refills, oil)
    return Season(
        furnace=profile.furnace.id,
        start_ms=start_ms,
        end_ms=end_ms,
        days=len({e.start_ms // DAY_MS for e in firings}),
        hours=sum(e.number("burned_s") or 0.0 for e in firings) / 3600.0,
        starts=len(firings),
        refills=len(refills),
        oil=total,
        heat_GJ=None if total is None else total.litres * oil.density15_kg_m3 / 1000.0 * oil.gross_MJ_kg / 1000.0,
        batches=tuple(_batches(profile, refills, oil, start_ms, end_ms)),
        calls=calls(alarms, start_ms, end_ms, zone),
        log=tuple(entry for entry in profile.log if start_ms <= entry.at_ms < end_ms),
        rise_K=(fmean(known), float(np.std(known))) if known else None,
    )


def _oil(profile: Profile, refills: Sequence[Event], oil: Oil) -> OilBurned | None:
    differential_l = profile.refill.differential_l
    if differential_l is None:
        return None
    tank_C = [e.number("tank_C") for e in refills]
    filled = np.array([np.nan if value is None else value for value in tank_C], dtype=np.float64)
    return oil_burned(filled, differential_l, oil.density15_kg_m3, DIFFERENTIAL_SHARE * differential_l)


def _batches(profile: Profile, refills: Sequence[Event], oil: Oil, start_ms: int, end_ms: int) -> Iterable[Batch]:
    """The span cut where a new batch was logged."""
    if profile.refill.differential_l is None:
        return
    logged = [entry for entry in profile.log if entry.kind == "batch" and entry.at_ms < end_ms]
    earlier = [entry for entry in logged if entry.at_ms < start_ms]
    first = earlier[-1].note if earlier else None
    cuts = [(first or "what was in the tank", start_ms)]
    cuts += [(entry.note or f"batch {i}", entry.at_ms) for i, entry in enumerate(logged, 1) if entry.at_ms >= start_ms]
    for (name, from_ms), (_, to_ms) in pairwise([*cuts, ("", end_ms)]):
        burned = _oil(profile, [e for e in refills if from_ms <= e.start_ms < to_ms], oil)
        if burned is not None and burned.refills:
            yield Batch(name, from_ms, burned)


def calls(alarms: Iterable[Alarm], start_ms: int, end_ms: int, zone: tzinfo = UTC) -> Calls:
    """The alarms raised in [start_ms, end_ms)."""
    within = [alarm for alarm in alarms if start_ms <= alarm.raised_ms < end_ms]
    called = [alarm for alarm in within if alarm.state != "suppressed"]
    counts = Counter(alarm.priority for alarm in called)
    waits = [(a.acknowledged.at_ms - a.raised_ms) / 1000.0 for a in called if a.acknowledged is not None]
    return Calls(
        by_priority={priority: counts[priority] for priority in reversed(PRIORITIES)},
        consequences=len(within) - len(called),
        at_night=sum(a.priority in ("critical", "high") and _is_night(a.raised_ms, zone) for a in called),
        answered=len(waits),
        answered_s=median(waits) if waits else None,
        most=tuple(Counter(alarm.alarm for alarm in called).most_common(5)),
        standing=tuple(a for a in called if a.cleared_ms is None),
    )


def _is_night(t_ms: int, zone: tzinfo) -> bool:
    at = datetime.fromtimestamp(t_ms / 1000, zone)
    hour = at.hour + at.minute / 60.0
    return hour >= NIGHT_H[0] or hour < NIGHT_H[1]
