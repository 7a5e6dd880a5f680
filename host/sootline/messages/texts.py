"""What a message says: what, since when, what it probably is, what to do first, and the danger; in few characters.

Two rules hold: nothing says that a furnace is safe to run, nothing advises a second press of the primary reset.
"""

from collections.abc import Mapping
from datetime import datetime, tzinfo
from typing import Any

from sootline import wording
from sootline.alarms import Alarm, Hazard
from sootline.messages.message import What
from sootline.units import clock

TITLE_MOST, BODY_MOST = 60, 320
NO_HAZARD = "Nothing dangerous seen by these sensors."
DO_NOT_RESET = (
    "The primary reset was pressed already: do NOT press it again. Leave it off; look in the chamber for pooled oil, "
    "door open, standing aside."
)

HAZARD_LINES: dict[Hazard, str] = {
    "none": NO_HAZARD,
    "fire": "UNSAFE: fire. Smoke or flames: leave, call the fire service.",
    "spill": "UNSAFE: oil may spill. Keep flames away, do not step in it.",
    "co": "UNSAFE: exhaust. CO alarm or headache: all out, call for help.",
    "burn": "UNSAFE: hot oil and metal. Let it cool first.",
    "mains": "UNSAFE: mains. Off at the breaker, proved dead by a competent person.",
}


def title(alarm: Alarm, now_ms: int, zone: tzinfo | None, mark: str = "") -> str:
    """The furnace, the fault and since when in at most TITLE_MOST characters; `mark` is kept at the end."""
    since = clock(alarm.raised_ms, now_ms, zone)
    what = f"{wording.alarm_title(alarm.alarm)} {since}"
    left = alarm.detail.get("fire_left_min")
    if isinstance(left, int | float):
        more = f", ~{left:.0f} min of fire left"
        what += more if len(what) + len(more) + len(mark) <= TITLE_MOST - 12 else ""
    return f"{_fit(wording.furnace_name(alarm.furnace).upper(), TITLE_MOST - len(what) - len(mark) - 2)}: {what}{mark}"


def short(alarm: Alarm, mark: str, now_ms: int, zone: tzinfo | None) -> str:
    """All of it in one line of TITLE_MOST characters, for text messages."""
    return title(alarm, now_ms, zone, f" #{mark}")


def body(alarm: Alarm, what: What, mark: str, now_ms: int, zone: tzinfo | None, nth: int = 0, of: int = 0) -> str:
    """The rest in at most BODY_MOST characters. nth, of: which repetition of how many."""
    begin = _begin(alarm, what, now_ms, zone, nth, of)
    first = f"First: {first_step(alarm)}"
    end = f"{HAZARD_LINES[alarm.hazard]} #{mark}"
    room = BODY_MOST - len(begin) - len(first) - len(end) - 2
    between = []
    for part in (*_then(alarm, now_ms, zone), _likely(alarm), _blind(alarm)):
        if part and room > len(part):
            between.append(part)
            room -= len(part) + 1
    return _fit(" ".join((begin, *between, first)), BODY_MOST - len(end) - 1) + " " + end


def first_step(alarm: Alarm) -> str:
    """What to do first; a lock-out that was reset before is not to be reset again."""
    resets = alarm.detail.get("resets_24h")
    pressed = alarm.detail.get("do_not_reset") or (isinstance(resets, int | float) and resets >= 1)
    return DO_NOT_RESET if alarm.alarm == "lockout" and pressed else alarm.first_step


def _begin(alarm: Alarm, what: What, now_ms: int, zone: tzinfo | None, nth: int, of: int) -> str:
    since = f"Since {clock(alarm.raised_ms, now_ms, zone)}"
    if alarm.channel:
        since += f", {wording.channel_label(alarm.channel).lower()}"
    if what == "again":
        return f"{since}. Message {nth} of {of}: nobody has taken it."
    if what == "worse":
        return f"{since}. It got worse: {wording.PRIORITY_WORDS[alarm.priority].word.lower()}."
    if alarm.found_ms - alarm.raised_ms > 600_000:
        return f"{since}, found {clock(alarm.found_ms, now_ms, zone)}."
    return f"{since}."


def _then(alarm: Alarm, now_ms: int, zone: tzinfo | None) -> list[str]:
    """What happens if nobody acts."""
    told = []
    left = alarm.detail.get("fire_left_min")
    if isinstance(left, int | float):
        told.append(f"Fire out about {clock(alarm.raised_ms + round(left * 60_000), now_ms, zone)}.")
    for key, words in (("freeze_at", "Room freezes about"), ("runs_out_at", "Oil runs out about")):
        moment = alarm.detail.get(key)
        if isinstance(moment, str) and wording.is_time(moment):
            told.append(f"{words} {clock(round(datetime.fromisoformat(moment).timestamp() * 1000), now_ms, zone)}.")
    return told


def _likely(alarm: Alarm) -> str:
    causes = alarm.detail.get("causes")
    best: Any = causes[0] if isinstance(causes, list | tuple) and causes else None
    if not isinstance(best, Mapping) or best.get("id") == "other" or not best.get("cause"):
        return ""
    share = best.get("probability")
    return f"Likely: {best['cause']}{f' ({share:.0%})' if isinstance(share, int | float) else ''}."


def _blind(alarm: Alarm) -> str:
    blind = alarm.detail.get("blind_to")
    if not isinstance(blind, list | tuple) or not blind:
        return ""
    more = f" and {len(blind) - 2} more" if len(blind) > 2 else ""
    return f"Blind to: {', '.join(wording.alarm_title(str(one)).lower() for one in blind[:2])}{more}."


def _fit(text: str, most: int) -> str:
    return text if len(text) <= most else text[: max(most - 1, 0)].rstrip() + "…"
