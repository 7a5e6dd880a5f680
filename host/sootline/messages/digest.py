"""The daily digest and the weekly note of one contact; the note is also the test of the way to him."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from sootline import wording
from sootline.alarms import PRIORITIES, Alarm
from sootline.lifecycle import stands
from sootline.messages.contacts import Contact
from sootline.messages.hours import last_ms, next_ms, quiet_until_ms
from sootline.messages.message import Message, What, code_of, message_id
from sootline.now import FurnaceNow
from sootline.units import clock

DAY_MS = 86_400_000
LATE_MS = DAY_MS // 2  # a host that comes back later than this after the time of a digest leaves it out
CONFIRM_MS = DAY_MS  # so long a person has to say that a test has come
DIGEST_MOST = 1600
SOON_MS = 600_000  # what is found within this of its end was found in time


@dataclass(frozen=True, slots=True)
class Past:
    """What a digest is made of: alarms and messages of the last days, and lines on the furnaces for the weekly note."""

    alarms: Sequence[Alarm]
    messages: Sequence[Message]
    lines: tuple[str, ...] = ()
    page: str = ""


def daily_due_ms(contact: Contact, now_ms: int, zone: tzinfo | None) -> int | None:
    """When the newest daily digest that can still go out was due."""
    if contact.daily is None:
        return None
    due_ms = last_ms(now_ms, contact.daily, zone)
    return due_ms if now_ms - due_ms < LATE_MS else None


def weekly_due_ms(contact: Contact, now_ms: int, zone: tzinfo | None) -> int | None:
    """When the newest weekly note that can still go out was due."""
    if contact.weekly is None:
        return None
    due_ms = last_ms(now_ms, contact.weekly[1], zone, contact.weekly[0])
    return due_ms if now_ms - due_ms < LATE_MS else None


def next_daily_ms(contact: Contact, now_ms: int, zone: tzinfo | None) -> int | None:
    return next_ms(now_ms, contact.daily, zone) if contact.daily else None


def next_weekly_ms(contact: Contact, now_ms: int, zone: tzinfo | None) -> int | None:
    return next_ms(now_ms, contact.weekly[1], zone, contact.weekly[0]) if contact.weekly else None


def daily(contact: Contact, due_ms: int, past: Past, zone: tzinfo | None) -> Message | None:
    """The digest of the day before due_ms; None when it would tell nothing that the contact does not know."""
    new, still = _day(contact, due_ms, past)
    told = [_told(contact, alarm, past) for alarm in new]
    if not any(told) and not any(alarm.acknowledged is None for alarm in still):
        return None
    lines = [f"{_line(alarm, due_ms, zone)}{how}" for alarm, how in zip(new, told, strict=True)]
    if still:
        lines += ["Still standing:", *(_line(alarm, due_ms, zone) for alarm in still)]
    count = f"{len(new)} new alarm{'s' if len(new) != 1 else ''}"
    title = f"sootline, the last day: {count}, {len(still)} from before"
    return _digest(contact, "daily", due_ms, title, lines)


def _day(contact: Contact, due_ms: int, past: Past) -> tuple[list[Alarm], list[Alarm]]:
    """(found in the day before, still standing from before), the worst first; low ones wait for the weekly note."""
    mine = [
        alarm
        for alarm in past.alarms
        if contact.cares_for(alarm.furnace) and alarm.state != "suppressed" and alarm.priority != "low"
    ]
    mine.sort(key=lambda alarm: (-PRIORITIES.index(alarm.priority), alarm.raised_ms))
    new = [alarm for alarm in mine if due_ms - DAY_MS < alarm.found_ms <= due_ms]
    return new, [alarm for alarm in mine if stands(alarm) and alarm.found_ms <= due_ms - DAY_MS]


def weekly(contact: Contact, due_ms: int, past: Past, zone: tzinfo | None) -> Message:
    """The note of the week before due_ms. It always goes out: that it comes is what it tests."""
    number = message_id(contact.name, "weekly", str(due_ms))
    code = code_of(number)
    lines = [confirm_line(code, past.page), *_week(contact, due_ms, past, zone)]
    title = f"sootline weekly note, confirm it with {code}"
    return _digest(contact, "weekly", due_ms, title, lines, code)


def _week(contact: Contact, due_ms: int, past: Past, zone: tzinfo | None) -> list[str]:
    start_ms = due_ms - 7 * DAY_MS
    roots = [a for a in past.alarms if contact.cares_for(a.furnace) and a.state != "suppressed"]
    new = [alarm for alarm in roots if start_ms < alarm.found_ms <= due_ms]
    by = ", ".join(f"{n} {p}" for p in reversed(PRIORITIES) if (n := sum(a.priority == p for a in new)))
    sent = [m for m in past.messages if m.contact == contact.name and start_ms < m.made_ms <= due_ms and m.key]
    calls = {m.key for m in sent}
    woken = {m.key for m in sent if quiet_until_ms(m.made_ms, contact.quiet, zone)}
    lines = [
        f"Alarms of the week: {by or 'none'}. Told by itself: {len(calls)}, in quiet hours: {len(woken)}.",
        *_line_up("Standing", [alarm for alarm in roots if stands(alarm)], due_ms, zone),
        *_line_up("For the next round", [a for a in new if a.priority == "low" and not stands(a)], due_ms, zone),
    ]
    return [*lines, *past.lines]


def _line_up(head: str, alarms: Sequence[Alarm], now_ms: int, zone: tzinfo | None) -> list[str]:
    return [f"{head}:", *(_line(alarm, now_ms, zone) for alarm in alarms)] if alarms else []


def eyes(furnace: FurnaceNow) -> tuple[str, ...]:
    """What a furnace's alarms do not see yet, or at all."""
    learning = [one for one in furnace.readiness if one.state == "learning"]
    blind = [one for one in furnace.readiness if one.state == "blind"]
    name = wording.furnace_name(furnace.furnace)
    told = []
    if learning:
        told.append(f"{name} still learns {len(learning)} of {len(furnace.readiness)} alarms.")
    if blind:
        told.append(f"{name} is blind to: {', '.join(wording.alarm_title(one.alarm).lower() for one in blind)}.")
    return tuple(told)


def confirm_line(code: str, page: str) -> str:
    """What to do with the code."""
    return f"Confirm that this came with code {code} on {page + '/messages' if page else 'the page Messages'}."


def _line(alarm: Alarm, now_ms: int, zone: tzinfo | None) -> str:
    channel = f" {wording.channel_label(alarm.channel).lower()}" if alarm.channel else ""
    span = clock(alarm.raised_ms, now_ms, zone)
    if alarm.cleared_ms is not None:
        span += f" to {clock(alarm.cleared_ms, now_ms, zone)}"
    cleaning = alarm.detail.get("clean_from"), alarm.detail.get("clean_to")
    advice = ""
    if all(isinstance(day, str) for day in cleaning):
        days = [datetime.fromisoformat(str(day)) for day in cleaning]
        advice = f", clean between {days[0].day} {days[0]:%b} and {days[1].day} {days[1]:%b}"
    taken = f", {alarm.acknowledged.by} had it" if alarm.acknowledged else ""
    name = wording.furnace_name(alarm.furnace)
    return f"- {name}: {wording.alarm_title(alarm.alarm)}{channel}, {span}{advice}{taken}"


def _told(contact: Contact, alarm: Alarm, past: Past) -> str:
    told = any(m.key == alarm.key and m.contact == contact.name and m.state == "sent" for m in past.messages)
    if told:
        return ""
    late = alarm.cleared_ms is not None and alarm.found_ms - alarm.cleared_ms > SOON_MS
    return " (found only when data came late)" if late else " (not told by itself)"


def _digest(
    contact: Contact, what: What, due_ms: int, title: str, lines: Sequence[str], code: str | None = None
) -> Message:
    number = message_id(contact.name, what, str(due_ms))
    kept: list[str] = []
    length = len(number) + 40
    for line in lines:
        if length + len(line) > DIGEST_MOST:
            kept.append(f"and {len(lines) - len(kept)} more lines on the page")
            break
        kept.append(line)
        length += len(line) + 1
    body = "" if contact.form == "short" else "\n".join((*kept, f"#{number}"))
    return Message(number, contact.name, what, due_ms, due_ms, title, body, code=code)


def unconfirmed(messages: Sequence[Message], now_ms: int) -> list[Message]:
    """Of each contact the newest note or test, where the time to confirm it has passed and nobody did."""
    newest: dict[str, Message] = {}
    for message in sorted(messages, key=lambda one: (one.made_ms, one.confirmed_ms is not None)):
        if message.code is not None:
            newest[message.contact] = message
    return [one for one in newest.values() if one.confirmed_ms is None and now_ms - one.made_ms > CONFIRM_MS]
