"""What would have been said: the policy run over a past that is known, on the clock of that past."""

import heapq
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, tzinfo

from sootline.alarms import PRIORITIES, Acknowledgement, Alarm
from sootline.analysis.watch import Key
from sootline.messages import digest
from sootline.messages.contacts import Contact, Contacts
from sootline.messages.digest import DAY_MS, Past
from sootline.messages.freezing import Outlook
from sootline.messages.hours import last_ms
from sootline.messages.message import Message
from sootline.messages.policy import SETTLE_MS, Situation, decide

Outlooks = Callable[[int], Mapping[str, Outlook]]


def rehearse(
    contacts: Contacts,
    alarms: Sequence[Alarm],
    start_ms: int,
    end_ms: int,
    *,
    outlooks: Outlooks,
    taken_after_ms: int | None = None,
    zone: tzinfo | None = None,
) -> list[Message]:
    """The messages of start_ms <= t < end_ms in order, as if each had gone out at once.

    outlooks:       the cold at each furnace at a moment
    taken_after_ms: whoever is told first has the alarm so long after; None: only who really acknowledged counts
    """
    said: list[Message] = []
    taken: dict[Key, Acknowledgement] = {}
    moments = sorted({*_moments(alarms), *_dues(contacts, start_ms, end_ms, zone)})
    heapq.heapify(moments)
    done_ms = start_ms - 1
    while moments:
        t_ms = heapq.heappop(moments)
        if not done_ms < t_ms < end_ms:
            continue
        done_ms = t_ms
        seen = [_as_of(alarm, t_ms, taken.get(alarm.key)) for alarm in alarms if _known(alarm, t_ms)]
        decision = decide(contacts, Situation(t_ms, seen, outlooks(t_ms) if seen else {}, zone=zone), said)
        for message in (*decision.messages, *_digests(contacts, alarms, said, taken, t_ms, zone)):
            said.append(replace(message, state="sent", tries=1, done_ms=t_ms))
            if message.key is not None and taken_after_ms is not None and message.key not in taken:
                taken[message.key] = Acknowledgement(message.contact, t_ms + taken_after_ms)
                heapq.heappush(moments, t_ms + taken_after_ms)
        if decision.next_ms is not None:
            heapq.heappush(moments, decision.next_ms)
    return said


def _moments(alarms: Sequence[Alarm]) -> list[int]:
    """When something changes in what is known."""
    found = []
    for alarm in alarms:
        found += [alarm.found_ms, alarm.found_ms + SETTLE_MS]
        found += [at for at in (_escalated_ms(alarm), alarm.cleared_ms) if at is not None]
    return found


def _dues(contacts: Contacts, start_ms: int, end_ms: int, zone: tzinfo | None) -> list[int]:
    days = range(start_ms, end_ms + DAY_MS, DAY_MS)
    return [
        due_ms
        for contact in contacts.people
        for day_ms in days
        for due_ms in (_daily_ms(contact, day_ms, zone), _weekly_ms(contact, day_ms, zone))
        if due_ms is not None and start_ms <= due_ms < end_ms
    ]


def _daily_ms(contact: Contact, t_ms: int, zone: tzinfo | None) -> int | None:
    return last_ms(t_ms, contact.daily, zone) if contact.daily else None


def _weekly_ms(contact: Contact, t_ms: int, zone: tzinfo | None) -> int | None:
    return last_ms(t_ms, contact.weekly[1], zone, contact.weekly[0]) if contact.weekly else None


def _digests(
    contacts: Contacts,
    alarms: Sequence[Alarm],
    said: Sequence[Message],
    taken: Mapping[Key, Acknowledgement],
    t_ms: int,
    zone: tzinfo | None,
) -> list[Message]:
    made: list[Message] = []
    for contact in contacts.people:
        daily, weekly = _daily_ms(contact, t_ms, zone) == t_ms, _weekly_ms(contact, t_ms, zone) == t_ms
        if not daily and not weekly:
            continue
        known = [_as_of(one, t_ms, taken.get(one.key)) for one in alarms if one.found_ms <= t_ms]
        past = Past(known, said, (), contacts.page)
        if daily and (note := digest.daily(contact, t_ms, past, zone)) is not None:
            made.append(note)
        if weekly:
            made.append(digest.weekly(contact, t_ms, past, zone))
    return made


def _known(alarm: Alarm, t_ms: int) -> bool:
    return alarm.found_ms <= t_ms and (alarm.cleared_ms is None or t_ms - alarm.cleared_ms < DAY_MS)


def _as_of(alarm: Alarm, t_ms: int, taken: Acknowledgement | None) -> Alarm:
    """The record as it stood at a moment, as far as its last form tells."""
    escalated_ms = _escalated_ms(alarm)
    priority = alarm.priority
    if escalated_ms is not None and escalated_ms > t_ms:
        priority = PRIORITIES[max(PRIORITIES.index(priority) - 1, 0)]
    cleared_ms = alarm.cleared_ms if alarm.cleared_ms is not None and alarm.cleared_ms <= t_ms else None
    acts = [act for act in (taken, alarm.acknowledged) if act is not None and (escalated_ms or 0) <= act.at_ms <= t_ms]
    state = alarm.state
    if state != "suppressed":
        state = "returned" if cleared_ms is not None else "acknowledged" if acts else "unacknowledged"
    act = acts[0] if acts else None
    return replace(alarm, priority=priority, cleared_ms=cleared_ms, state=state, acknowledged=act, shelved=None)


def _escalated_ms(alarm: Alarm) -> int | None:
    text = alarm.detail.get("escalated")
    return round(datetime.fromisoformat(text).timestamp() * 1000) if isinstance(text, str) else None
