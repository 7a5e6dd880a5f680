"""Who is told of which alarm, and when. A function: the same alarms, contacts, past and time give the same messages.

- A critical alarm wakes; it is said again every 5 min, 6 times, until somebody has it; then the second contact is told.
- A high one waits for the end of quiet hours, unless it keeps the furnace from heating and the room freezes before
  anybody would be there. A medium one always waits; some of these, and low ones, only come with a digest.
- What is suppressed, shelved or acknowledged, what is over, and what service mode expects, calls nobody.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo

from sootline.alarms import PRIORITIES, Alarm
from sootline.analysis.watch import Key
from sootline.lifecycle import stands
from sootline.messages import texts
from sootline.messages.contacts import Contact, Contacts
from sootline.messages.freezing import Outlook, freezes_at_ms
from sootline.messages.hours import quiet_until_ms
from sootline.messages.message import Message, What, about, message_id

MINUTE_MS = 60_000
REPEAT_MS = 5 * MINUTE_MS
REPEATS = 6
SETTLE_MS = MINUTE_MS  # what is not critical waits this long for the cause it may turn out to follow from
OVER_MS = 30 * MINUTE_MS  # found later than this after it was over: for the digest
FORGONE_MS = 24 * 60 * MINUTE_MS  # over for longer than this: for the digest, also where nobody has seen it
COLD_FAULTS = frozenset({"no-heat", "lockout", "refill-timeout", "freeze-risk"})
DIGEST_ONLY = frozenset(
    {"preheat-slow", "ignition-delayed", "stack-step", "oil-use-high", "overfiring", "stack-rising"}
)
SAME_AGAIN_MS = 24 * 60 * MINUTE_MS  # a medium alarm that comes back within this is for the digest


@dataclass(frozen=True, slots=True)
class Situation:
    """What is known at now_ms.

    alarms:     of all furnaces, as people meet them
    outlooks:   furnace -> the cold there; in_service: furnaces somebody works on
    zone:       of local times; None is that of the machine
    """

    now_ms: int
    alarms: Sequence[Alarm] = ()
    outlooks: Mapping[str, Outlook] = field(default_factory=dict)
    in_service: frozenset[str] = frozenset()
    zone: tzinfo | None = None


@dataclass(slots=True)
class Decision:
    """New messages, and when to look again though nothing has happened (None: no need)."""

    messages: list[Message] = field(default_factory=list)
    next_ms: int | None = None

    def later(self, t_ms: int) -> None:
        self.next_ms = t_ms if self.next_ms is None else min(self.next_ms, t_ms)


def decide(contacts: Contacts, now: Situation, earlier: Sequence[Message]) -> Decision:
    """What is to be said now. earlier: all messages about these alarms so far, those of today among them."""
    decision = Decision()
    said = _by_alarm(earlier)
    for alarm in sorted(now.alarms, key=lambda one: -PRIORITIES.index(one.priority)):
        if not calls(alarm, now):
            continue
        ready_ms = alarm.found_ms + (0 if alarm.priority == "critical" else SETTLE_MS)
        if now.now_ms < ready_ms:
            decision.later(ready_ms)
            continue
        for contact in contacts.people:
            if contact.cares_for(alarm.furnace):
                _tell(contacts, contact, alarm, now, said, decision)
    return decision


def calls(alarm: Alarm, now: Situation) -> bool:
    """Whether the alarm, at this moment, is one to tell somebody about."""
    if alarm.state in ("suppressed", "shelved", "acknowledged") or alarm.acknowledged is not None or not stands(alarm):
        return False
    if alarm.cleared_ms is not None and (
        alarm.found_ms - alarm.cleared_ms > OVER_MS or now.now_ms - alarm.cleared_ms > FORGONE_MS
    ):
        return False
    return alarm.priority == "critical" or alarm.furnace not in now.in_service


def may_be_told_ms(contacts: Contacts, contact: Contact, alarm: Alarm, now: Situation) -> int | None:
    """From when on the contact may get a message of its own about the alarm; None: it is for the digest."""
    if alarm.priority == "critical":
        return now.now_ms
    if alarm.priority == "low" or (alarm.priority == "medium" and alarm.alarm in DIGEST_ONLY):
        return None
    if PRIORITIES.index(alarm.priority) < PRIORITIES.index(contact.least):
        return None
    quiet_ms = quiet_until_ms(now.now_ms, contact.quiet, now.zone)
    if quiet_ms is None:
        return now.now_ms
    if alarm.alarm in COLD_FAULTS and alarm.priority == "high":
        freezes_ms = freezes_at_ms(alarm, now.outlooks.get(alarm.furnace, Outlook()), now.now_ms)
        if freezes_ms is not None and freezes_ms < quiet_ms + round(contacts.response_h * 3_600_000):
            return now.now_ms
    return quiet_ms


def _by_alarm(earlier: Sequence[Message]) -> dict[tuple[str, Key], list[Message]]:
    found: dict[tuple[str, Key], list[Message]] = {}
    for message in earlier:
        if message.key is not None:
            found.setdefault((message.contact, message.key), []).append(message)
    return found


def _tell(
    contacts: Contacts,
    contact: Contact,
    alarm: Alarm,
    now: Situation,
    said: Mapping[tuple[str, Key], list[Message]],
    decision: Decision,
) -> None:
    told = said.get((contact.name, alarm.key), [])
    worst = max((PRIORITIES.index(message.priority or "low") for message in told), default=-1)
    if told and worst >= PRIORITIES.index(alarm.priority):
        if alarm.priority == "critical" and alarm.cleared_ms is None and not _follows(alarm, now):
            _repeat(contact, alarm, told, now, decision)
        return
    if not told and alarm.priority != "critical" and _known_already(contact, alarm, now, said):
        return
    if contact.turn > 1:
        due_ms = _second_turn_ms(contacts, alarm, now, said)
    else:
        due_ms = may_be_told_ms(contacts, contact, alarm, now)
    if due_ms is None:
        return
    if due_ms > now.now_ms:
        decision.later(due_ms)
        if alarm.alarm in COLD_FAULTS:  # it may grow colder than it was feared
            decision.later(now.now_ms + REPEAT_MS)
        return
    what: What = "worse" if told else "raised"
    decision.messages.append(_message(contact, alarm, what, f"{about(alarm.key)}/{alarm.priority}", now))


def _known_already(
    contact: Contact, alarm: Alarm, now: Situation, said: Mapping[tuple[str, Key], list[Message]]
) -> bool:
    """Whether the contact has been told of it under another name: one message for one cause, unless it is worse news.

    That is what stands under it now, and, where it is medium, the same alarm within a day.
    """
    for (name, key), told in said.items():
        same = name == contact.name and key[:3] == alarm.key[:3] and alarm.priority == "medium"
        if same and any(now.now_ms - message.made_ms < SAME_AGAIN_MS for message in told):
            return True
    for other in now.alarms:
        under = other.furnace == alarm.furnace and other.suppressed_by == alarm.alarm
        if under and (told := said.get((contact.name, other.key), [])):
            worst = max(PRIORITIES.index(message.priority or "low") for message in told)
            if worst >= PRIORITIES.index(alarm.priority) and alarm.hazard in ("none", other.hazard):
                return True
    return False


# of two critical alarms with one cause only the first is said again and again; both are said
_LEADS_TO = {"pump-overrun": ("leak",), "heater-stuck-on": ("oil-overtemperature",)}


def _follows(alarm: Alarm, now: Situation) -> bool:
    return any(
        other.furnace == alarm.furnace
        and alarm.alarm in _LEADS_TO.get(other.alarm, ())
        and other.raised_ms <= alarm.raised_ms
        and other.cleared_ms is None
        and other.state in ("unacknowledged", "acknowledged")
        for other in now.alarms
    )


def _repeat(contact: Contact, alarm: Alarm, told: Sequence[Message], now: Situation, decision: Decision) -> None:
    grave = [message for message in told if message.priority == "critical"]
    mine = [message for message in grave if message.way == 0]
    if len(mine) > REPEATS:
        return
    if all(message.state == "waiting" and message.tries > 0 for message in grave):
        return  # nothing has got through by any way; another would only wait behind it
    # made later than now: the host's clock was set back since
    last_ms = max((message.made_ms for message in mine if message.made_ms <= now.now_ms), default=0)
    if now.now_ms < last_ms + REPEAT_MS:
        decision.later(last_ms + REPEAT_MS)
        return
    nth = len(mine)
    mark = f"{about(alarm.key)}/again/{nth}"
    decision.messages.append(_message(contact, alarm, "again", mark, now, nth + 1, REPEATS + 1))


def _second_turn_ms(
    contacts: Contacts, alarm: Alarm, now: Situation, said: Mapping[tuple[str, Key], list[Message]]
) -> int | None:
    """When the second contact is due: all of turn 1 were told often enough, or could not be told."""
    if alarm.priority != "critical" or alarm.cleared_ms is not None:
        return None
    firsts = [one for one in contacts.people if one.turn == 1 and one.cares_for(alarm.furnace)]
    moments = [now.now_ms]
    for first in firsts:
        told = [one for one in said.get((first.name, alarm.key), ()) if one.priority == "critical"]
        if not told:
            return now.now_ms + REPEAT_MS
        began_ms, last_ms = min(one.made_ms for one in told), max(one.made_ms for one in told)
        if not any(one.state == "sent" for one in told):
            moments.append(began_ms + REPEAT_MS)  # no message has reached this one
        elif sum(one.way == 0 for one in told) > REPEATS:
            moments.append(last_ms + REPEAT_MS)
        else:
            moments.append(began_ms + (REPEATS + 1) * REPEAT_MS)
    return max(moments)


def _message(
    contact: Contact, alarm: Alarm, what: What, mark: str, now: Situation, nth: int = 0, of: int = 0
) -> Message:
    number = message_id(contact.name, what, mark)
    if contact.form == "short":
        title, body = texts.short(alarm, number, now.now_ms, now.zone), ""
    else:
        title = texts.title(alarm, now.now_ms, now.zone)
        body = texts.body(alarm, what, number, now.now_ms, now.zone, nth, of)
    return Message(
        number, contact.name, what, now.now_ms, now.now_ms, title, body, key=alarm.key, priority=alarm.priority
    )
