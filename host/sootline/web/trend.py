"""How refills, firings and warm-ups change from day to day: the middle of each day between its lowest and highest."""

from collections.abc import Iterable, Sequence
from datetime import datetime, time
from statistics import median
from typing import Any

from sootline.events import Event
from sootline.profile import LogEntry
from sootline.units import System, unit_of
from sootline.wording import LOG_WORDS, channel_label

# kind -> (feature, quantity, label); a feature of `length` is the event's own length, burned_min its burned_s
_FEATURES: dict[str, tuple[tuple[str, str, str], ...]] = {
    "firing": (
        ("stack_end", "temperature", "Stack at the end"),
        ("time_to_flame_s", "seconds", "Time to flame"),
        ("length", "minutes", "Length"),
    ),
    "refill": (
        ("on_time_s", "seconds", "Pump ran"),
        ("dip_K", "fine difference", "Tank temperature dip"),
        ("burned_min", "minutes", "Burned since the last"),
    ),
    "preheat": (("rate_K_per_min", "rate", "Rate"),),
}


def trend(kind: str, events: Sequence[Event], log: Iterable[LogEntry], system: System) -> dict[str, Any]:
    """Per day the lowest, middle and highest of each telling feature, ready for JSON.

    What was never measured is left out. t: noon of each day [s]
    """
    by_day: dict[float, list[Event]] = {}
    for event in events:
        day = datetime.fromtimestamp(event.start_ms / 1000).date()
        by_day.setdefault(datetime.combine(day, time(12)).timestamp(), []).append(event)
    noons = sorted(by_day)
    panels = []
    for feature, quantity, label in _FEATURES[kind]:
        for channel in _channels(kind, events):
            days = [_values(by_day[noon], feature, channel, quantity, system) for noon in noons]
            if any(days):
                unit = "min" if quantity == "minutes" else unit_of(quantity, system).label
                name = f"{channel_label(channel)}, {label.lower()}" if channel else label
                panels.append({"label": name, "unit": unit, "lines": _lines(days)})
    first = events[0].start_ms if events else 0
    done = [
        {"t": entry.at_ms / 1000, "look": "log", "text": LOG_WORDS[entry.kind]} for entry in log if entry.at_ms >= first
    ]
    return {"t": noons, "marks": done, "panels": panels}


def _channels(kind: str, events: Sequence[Event]) -> list[str | None]:
    """Warm-ups are told apart by what is warmed."""
    if kind != "preheat":
        return [None]
    return [*sorted({str(event.features["channel"]) for event in events if event.features.get("channel")})]


def _values(events: Iterable[Event], feature: str, channel: str | None, quantity: str, system: System) -> list[float]:
    found = []
    for event in events:
        if channel is not None and event.features.get("channel") != channel:
            continue
        value = _number(event, feature)
        if value is not None:
            unit = unit_of("number" if quantity == "minutes" else quantity, system)
            found.append(round(value * unit.scale + unit.offset, 2))
    return found


def _number(event: Event, feature: str) -> float | None:
    if feature == "length":
        return event.duration_s / 60
    if feature == "burned_min":
        burned_s = event.number("burned_s")
        return None if burned_s is None else burned_s / 60
    return event.number(feature)


def _lines(days: Sequence[Sequence[float]]) -> dict[str, list[float | None]]:
    return {
        "low": [min(day) if day else None for day in days],
        "middle": [round(median(day), 2) if day else None for day in days],
        "high": [max(day) if day else None for day in days],
    }
