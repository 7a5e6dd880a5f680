"""Refills, firings and warm-ups as tables: what was measured of each, and what the last days came to."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

from sootline import units, wording
from sootline.events import Event
from sootline.units import NO_READING, System

KINDS = {"firings": "firing", "refills": "refill", "warm-ups": "preheat"}
_EMPTY = {
    "firing": "No finished firing yet. One is shown here when the flame has gone out again.",
    "refill": "No refill yet. One is shown here a few minutes after the pump has stopped.",
    "preheat": "No finished warm-up yet. One is shown here when cold oil has reached its set point.",
}
_FIRST = (
    "channel",
    "on_time_s",
    "burned_s",
    "time_to_flame_s",
    "dip_K",
    "start_C",
    "end_C",
    "rate_K_per_min",
    "stack_end",
)
_TWICE = {"firing": ("burned_s",), "refill": ("on_time_s",)}  # what the column of its length says already


@dataclass(frozen=True, slots=True)
class EventRow:
    """One event. bad: whether it went wrong (a refill that stalled)."""

    t_ms: int
    when: str
    lasted: str
    cells: tuple[str, ...]
    bad: bool


@dataclass(frozen=True, slots=True)
class DayRow:
    day: str
    count: int
    total: str
    middle: str


@dataclass(frozen=True, slots=True)
class EventTable:
    """Newest first. days: per day how many, their time together, and the middle one."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[EventRow, ...]
    days: tuple[DayRow, ...]
    empty: str


def event_table(kind: str, events: Sequence[Event], now_ms: int, system: System, most: int = 60) -> EventTable:
    """`events` of one kind in order of time; the newest `most` of them in rows, all of them in days."""
    newest = list(reversed(events))[:most]
    keys = [key for key in _columns(newest) if key not in _TWICE.get(kind, ())]
    rows = tuple(
        EventRow(
            event.start_ms,
            units.clock(event.start_ms, now_ms),
            _length(event, system),
            tuple(_cell(key, event, system) for key in keys),
            event.features.get("stalled") is True,
        )
        for event in newest
    )
    return EventTable(
        wording.EVENT_WORDS[kind][1],
        tuple(_heading(key) for key in keys),
        rows,
        tuple(_days(events, now_ms)),
        _EMPTY[kind],
    )


def _columns(events: Iterable[Event]) -> tuple[str, ...]:
    """Features that at least one event has a value of, the telling ones first."""
    found: dict[str, None] = {}
    for event in events:
        found |= dict.fromkeys(key for key, value in event.features.items() if value is not None)
    first = [key for key in _FIRST if key in found]
    return (*first, *(key for key in found if key not in first))


def _heading(key: str) -> str:
    words = "since last, burned" if key == "burned_s" else wording.key_words(key)
    return words[0].upper() + words[1:]


def _cell(key: str, event: Event, system: System) -> str:
    value = event.features.get(key)
    if value is None:
        return NO_READING
    if key == "burned_s" and isinstance(value, int | float):
        return units.duration(value)
    return wording.key_value(key, value, system)


def _length(event: Event, system: System) -> str:
    """A refill is counted in tenths of a second, everything else in minutes."""
    return (
        units.show(event.duration_s, "seconds", system) if event.kind == "refill" else units.duration(event.duration_s)
    )


def _days(events: Sequence[Event], now_ms: int) -> Iterable[DayRow]:
    by_day: dict[str, list[Event]] = {}
    for event in reversed(events):
        by_day.setdefault(f"{datetime.fromtimestamp(event.start_ms / 1000):%a %d %b}", []).append(event)
    for day, those in by_day.items():
        lengths = [event.duration_s for event in those]
        middle = median(lengths)
        shown = units.show(middle, "seconds") if middle < 120 else units.duration(middle)
        yield DayRow(day, len(those), units.duration(sum(lengths)), shown)
