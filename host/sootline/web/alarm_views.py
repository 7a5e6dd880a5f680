"""From an `Alarm` to what a person reads: what, since when, what it probably is, what to do first, how dangerous."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from sootline import units, wording
from sootline.alarms import PRIORITIES, Alarm, Priority
from sootline.analysis.causes.trees import TREES
from sootline.analysis.watch import Key
from sootline.lifecycle import stands
from sootline.units import System

_TOLD_APART = ("causes", "blind_to", "act_within_min", "escalated", "worsened", "repeats")


@dataclass(frozen=True, slots=True)
class CauseView:
    """step: what to do first if this is it; may be empty."""

    cause: str
    percent: str
    evidence: tuple[str, ...]
    step: str = ""


@dataclass(frozen=True, slots=True)
class AlarmView:
    """One alarm. state: one sentence; folded: causes on demand; follows: the alarms that stand suppressed under it."""

    key: Key
    alarm: str
    furnace: str
    channel: str
    raised_ms: int
    name: str
    title: str
    where: str
    meaning: str
    look: str
    standing: bool
    folded: bool
    priority: str
    state: str
    state_id: str
    since: str
    ago: str
    lasted: str
    found: str
    act_within: str
    then: tuple[str, ...]
    causes: tuple[CauseView, ...]
    first_step: str
    hazard: str
    hazard_word: str
    numbers: tuple[tuple[str, str], ...]
    blind_to: tuple[str, ...]
    notes: tuple[str, ...]
    follows: tuple["AlarmView", ...]
    under: str
    can_acknowledge: bool
    guide: str
    shelf_most_min: int


def is_standing(alarm: Alarm) -> bool:
    """Whether the alarm calls for somebody now."""
    return alarm.cleared_ms is None and alarm.state in ("unacknowledged", "acknowledged")


def is_unseen(alarm: Alarm) -> bool:
    """Whether the alarm is gone, but stays until somebody has seen it."""
    return alarm.cleared_ms is not None and alarm.state != "shelved" and stands(alarm)


def shelf_most_min(priority: Priority) -> int:
    """How long an alarm may lie on the shelf [min]: never for ever, a critical one half an hour."""
    return 30 if priority == "critical" else 7 * 24 * 60


def alarm_views(alarms: Iterable[Alarm], now_ms: int, system: System) -> tuple[AlarmView, ...]:
    """Worst first, then newest; what is suppressed stands under its cause, or at the end when that is not in sight."""
    alarms = sorted(
        alarms, key=lambda a: (not is_standing(a), not is_unseen(a), -PRIORITIES.index(a.priority), -a.raised_ms)
    )
    suppressed = [a for a in alarms if a.state == "suppressed"]
    views = []
    for alarm in alarms:
        if alarm.state == "suppressed":
            continue
        follows = [a for a in suppressed if _is_under(a, alarm)]
        suppressed = [a for a in suppressed if a not in follows]
        views.append(alarm_view(alarm, now_ms, system, tuple(alarm_view(a, now_ms, system) for a in follows)))
    return (*views, *(alarm_view(a, now_ms, system) for a in suppressed))


def _is_under(alarm: Alarm, cause: Alarm) -> bool:
    if alarm.suppressed_by is None or alarm.furnace != cause.furnace:
        return False
    name, _, channel = alarm.suppressed_by.partition("/")
    if name != cause.alarm or (channel and channel != cause.channel):
        return False
    return cause.cleared_ms is None or alarm.raised_ms <= cause.cleared_ms


def alarm_view(alarm: Alarm, now_ms: int, system: System, follows: tuple[AlarmView, ...] = ()) -> AlarmView:
    detail = alarm.detail
    priority = wording.PRIORITY_WORDS[alarm.priority]
    standing = is_standing(alarm)
    end_ms = now_ms if alarm.cleared_ms is None else alarm.cleared_ms
    within = detail.get("act_within_min")
    late = alarm.found_ms - alarm.raised_ms > 120_000
    return AlarmView(
        key=alarm.key,
        alarm=alarm.alarm,
        furnace=alarm.furnace,
        channel=alarm.channel or "",
        raised_ms=alarm.raised_ms,
        name=wording.furnace_name(alarm.furnace),
        title=wording.alarm_title(alarm.alarm),
        where=wording.channel_label(alarm.channel) if alarm.channel else "",
        meaning=wording.alarm_meaning(alarm.alarm),
        look=priority.look if standing else "look" if is_unseen(alarm) else "note",
        standing=standing,
        folded=not standing or alarm.priority == "low",
        priority=priority.word if standing else f"Was: {priority.word.lower()}",
        state=_state(alarm, now_ms),
        state_id=alarm.state,
        since=units.clock(alarm.raised_ms, now_ms),
        ago=units.age((now_ms - alarm.raised_ms) / 1000),
        lasted=units.duration((end_ms - alarm.raised_ms) / 1000),
        found=units.clock(alarm.found_ms, now_ms) if late else "",
        act_within=wording.key_value("act_within_min", within, system) if standing and within is not None else "",
        then=tuple(_then(alarm, now_ms)) if standing else (),
        causes=tuple(_causes(detail.get("causes"), system)),
        first_step=units.said(alarm.first_step, system),
        hazard=wording.HAZARDS[alarm.hazard],
        hazard_word=wording.HAZARD_WORD[alarm.hazard],
        numbers=tuple(_numbers(detail, now_ms, system)),
        blind_to=tuple(wording.alarm_title(str(item)) for item in detail.get("blind_to") or ()),
        notes=tuple(_notes(detail, now_ms)),
        follows=follows,
        under=wording.alarm_title(alarm.suppressed_by.partition("/")[0]) if alarm.suppressed_by else "",
        shelf_most_min=shelf_most_min(alarm.priority) if standing else 0,
        guide=_guide(alarm),
        can_acknowledge=alarm.acknowledged is None and alarm.state in ("unacknowledged", "returned"),
    )


def _guide(alarm: Alarm) -> str:
    """Where its cause is looked for step by step; empty for an alarm that is its own cause."""
    if alarm.alarm not in TREES:
        return ""
    query = {"alarm": alarm.alarm, "raised": str(alarm.raised_ms)} | (
        {"channel": alarm.channel} if alarm.channel else {}
    )
    return f"/furnace/{alarm.furnace}/fault?{urlencode(query)}"


def _state(alarm: Alarm, now_ms: int) -> str:
    taken = alarm.acknowledged
    if alarm.state == "suppressed":
        cause = wording.alarm_title(alarm.suppressed_by.partition("/")[0]) if alarm.suppressed_by else "another alarm"
        return f"Follows from: {cause}"
    if alarm.state == "shelved" and alarm.shelved is not None:
        shelf = alarm.shelved
        until = units.clock(shelf.until_ms, now_ms)
        return f"{shelf.by} put it on the shelf until {until}{f': {shelf.reason}' if shelf.reason else ''}"
    if alarm.cleared_ms is not None:
        gone = units.clock(alarm.cleared_ms, now_ms)
        if taken is not None:
            return f"Back to normal {gone}, {taken.by} had it"
        return (
            f"Gone {gone}, stays until somebody has seen it"
            if stands(alarm)
            else f"Back to normal {gone}, nobody saw it"
        )
    if taken is not None:
        return f"{taken.by} has it since {units.clock(taken.at_ms, now_ms)}"
    return "Nobody has it yet"


def _then(alarm: Alarm, now_ms: int) -> Iterable[str]:
    """What happens if nobody acts, and when."""
    left = alarm.detail.get("fire_left_min")
    if isinstance(left, int | float):
        yield f"The fire goes out about {units.clock(alarm.raised_ms + round(left * 60_000), now_ms)}"
    for key, words in (("freeze_at", "The room freezes about"), ("runs_out_at", "The oil runs out about")):
        moment = alarm.detail.get(key)
        if isinstance(moment, str) and wording.is_time(moment):
            yield f"{words} {units.clock(_moment_ms(moment), now_ms)}"


def _causes(causes: object, system: System) -> Iterable[CauseView]:
    if not isinstance(causes, list | tuple):
        return
    for cause in causes:
        if isinstance(cause, Mapping) and cause.get("cause"):
            probability = cause.get("probability")
            percent = f"{probability:.0%}" if isinstance(probability, int | float) else ""
            evidence = cause.get("evidence") or ()
            lines = (evidence,) if isinstance(evidence, str) else dict.fromkeys(str(line) for line in evidence)
            said = tuple(units.said(line, system) for line in lines)
            step = units.said(str(cause.get("first") or ""), system)
            yield CauseView(_sentence(str(cause["cause"])), percent, said, step)
        elif isinstance(cause, str):
            yield CauseView(_sentence(cause), "", ())


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _numbers(detail: Mapping[str, Any], now_ms: int, system: System) -> Iterable[tuple[str, str]]:
    for key, value in detail.items():
        if key in _TOLD_APART or value is None or isinstance(value, Mapping):
            continue
        if isinstance(value, str) and wording.is_time(value):
            text = (
                units.clock(round(datetime.fromisoformat(value).timestamp() * 1000), now_ms) if "T" in value else value
            )
        else:
            text = wording.key_value(key, value, system)
        yield wording.key_words(key), text


def _moment_ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def _notes(detail: Mapping[str, Any], now_ms: int) -> Iterable[str]:
    escalated = detail.get("escalated")
    if escalated:
        when = (
            f" {units.clock(_moment_ms(escalated), now_ms)}" if wording.is_time(escalated) else " since it was raised"
        )
        yield f"It got worse{when}."
    worsened = detail.get("worsened")
    if worsened:
        yield f"Its number grew by a fifth or more by {units.clock(_moment_ms(worsened), now_ms)}."
    repeats = detail.get("repeats")
    if isinstance(repeats, int) and repeats > 0:
        yield f"Came again {repeats} times since." if repeats > 1 else "Came again once since."
