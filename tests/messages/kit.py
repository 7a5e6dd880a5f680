"""Alarms and contacts of the invented workshop, for the tests of what is said to whom."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from sootline.alarms import Acknowledgement, Alarm
from sootline.analysis.catalogue import KINDS
from sootline.messages.contacts import Contact, Contacts
from sootline.messages.freezing import Outlook
from sootline.messages.message import Message
from sootline.messages.policy import Decision, Situation, decide

MINUTE_MS, HOUR_MS, DAY_MS = 60_000, 3_600_000, 86_400_000
MAUD, JORY = Contact("Maud", ("json://maud.example",)), Contact("Jory", ("json://jory.example",), turn=2)
BOTH = Contacts((MAUD, JORY))


def at(text: str) -> int:
    """`2026-01-09 06:52` UTC in milliseconds."""
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


NOON, NIGHT = at("2026-01-09 12:00"), at("2026-01-10 02:00")


def alarm(name: str, priority: Any, raised_ms: int, furnace: str = "engine-shed", **more: Any) -> Alarm:
    kind = KINDS[name]
    given = {"state": "unacknowledged", "cleared_ms": None, "found_ms": raised_ms, "detail": {}, **more}
    return Alarm(
        furnace, name, given.pop("channel", None), priority, given.pop("state"), raised_ms, given.pop("cleared_ms"),
        given.pop("found_ms"), kind.hazard, kind.first_step, **given,
    )  # fmt: skip


def taken(one: Alarm, by: str = "Maud", at_ms: int | None = None) -> Alarm:
    return replace(one, state="acknowledged", acknowledged=Acknowledgement(by, at_ms or one.raised_ms))


def over(one: Alarm, cleared_ms: int) -> Alarm:
    return replace(one, state="returned", cleared_ms=cleared_ms)


def said(messages: Iterable[Message]) -> list[tuple[str, str, str]]:
    """(contact, what, alarm) of messages."""
    return [(m.contact, m.what, m.key[1] if m.key else "") for m in messages]


class Clock:
    """Runs the policy as the courier does, on a clock of its own; every message is delivered at once."""

    def __init__(self, contacts: Contacts = BOTH, outlook: Outlook | None = None, reaches: bool = True) -> None:
        self.contacts = contacts
        self.outlook = outlook or Outlook()
        self.reaches = reaches
        self.messages: list[Message] = []
        self.in_service: frozenset[str] = frozenset()

    def look(self, now_ms: int, *alarms: Alarm) -> Decision:
        outlooks = {one.furnace: self.outlook for one in alarms}
        made = decide(self.contacts, Situation(now_ms, alarms, outlooks, self.in_service, UTC), self.messages)
        state: Any = "sent" if self.reaches else "waiting"
        self.messages += [replace(one, state=state, tries=1) for one in made.messages]
        return made

    def run(self, from_ms: int, to_ms: int, *alarms: Alarm, step_ms: int = MINUTE_MS) -> list[tuple[str, str, str]]:
        """What is said in a span of time in which the alarms do not change."""
        before = len(self.messages)
        for now_ms in range(from_ms, to_ms + 1, step_ms):
            self.look(now_ms, *alarms)
        return said(self.messages[before:])
