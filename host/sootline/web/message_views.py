"""From contacts and messages to what a person reads: who is told of what, whether it gets through, what was said."""

from collections.abc import Sequence
from dataclasses import dataclass

from sootline import units
from sootline.messages import digest
from sootline.messages.contacts import Contact, plan
from sootline.messages.digest import Past
from sootline.messages.message import Message, What

WHAT_WORDS: dict[What, str] = {
    "raised": "Alarm",
    "worse": "Got worse",
    "again": "Repeated",
    "daily": "Daily digest",
    "weekly": "Weekly note",
    "test": "Test",
}


@dataclass(frozen=True, slots=True)
class MessageView:
    """One message by one way, as it lies in the log of deliveries. look: colour and shape of its state."""

    id: str
    way: int
    contact: str
    what: str
    when: str
    title: str
    body: str
    state: str
    look: str
    furnace: str


@dataclass(frozen=True, slots=True)
class ContactView:
    """One person. plan: what they get and when; health: whether messages reach them; to_confirm: a code is awaited."""

    name: str
    plan: tuple[tuple[str, str], ...]
    health: str
    look: str
    test: str
    to_confirm: bool
    digest: str
    digest_at: str
    weekly_at: str


def message_view(message: Message, now_ms: int, ways: int = 1) -> MessageView:
    state, look = _state(message, now_ms)
    return MessageView(
        message.id,
        message.way,
        message.contact,
        WHAT_WORDS[message.what] + (f", way {message.way + 1}" if ways > 1 else ""),
        units.clock(message.made_ms, now_ms),
        message.title,
        message.body,
        state,
        look,
        message.key[0] if message.key else "",
    )


def _state(message: Message, now_ms: int) -> tuple[str, str]:
    tries = f" after {message.tries} tries" if message.tries > 1 else ""
    done = units.clock(message.done_ms, now_ms) if message.done_ms is not None else ""
    if message.state == "sent":
        late_s = ((message.done_ms or message.made_ms) - message.made_ms) / 1000
        late = f" ({units.duration(late_s)} late)" if late_s > 60 and message.what not in ("daily", "weekly") else ""
        return f"Sent {done}{late}{tries}", "calm"
    if message.state == "overtaken":
        return f"Not sent: no longer so at {done}", "note"
    if message.state == "failed":
        return f"Given up {done}{tries}: {message.error}", "act"
    if message.tries:
        again = units.clock(message.due_ms, now_ms)
        return f"Not through yet{tries}, again at {again}: {message.error}", "look"
    return "Is being sent", "look"


def contact_view(contact: Contact, past: Past, now_ms: int) -> ContactView:
    """One person, with the daily digest as it would be now. past: its messages the newest first."""
    mine = [message for message in past.messages if message.contact == contact.name]
    health, look = _health(mine, now_ms)
    test, to_confirm = _test(mine, now_ms)
    preview = digest.daily(contact, now_ms, past, None) if contact.daily else None
    daily_ms, weekly_ms = (next_ms(contact, now_ms, None) for next_ms in (digest.next_daily_ms, digest.next_weekly_ms))
    return ContactView(
        contact.name,
        tuple(plan(contact).items()),
        health,
        look,
        test,
        to_confirm,
        "" if preview is None else f"{preview.title}\n{preview.body}".rstrip(),
        "" if daily_ms is None else units.clock(daily_ms, now_ms),
        "" if weekly_ms is None else units.clock(weekly_ms, now_ms),
    )


def _health(mine: Sequence[Message], now_ms: int) -> tuple[str, str]:
    stuck = next((message for message in mine if message.state == "waiting" and message.tries), None)
    if stuck is not None:
        return f"A message has not got through since {units.clock(stuck.made_ms, now_ms)}: {stuck.error}", "act"
    last = next((message for message in mine if message.state in ("sent", "failed")), None)
    if last is None:
        return "Nothing was sent lately: send a test.", "note"
    return (_state(last, now_ms)[0], "calm" if last.state == "sent" else "act")


def _test(mine: Sequence[Message], now_ms: int) -> tuple[str, bool]:
    """What became of the newest note or test, and whether its code is still awaited."""
    tests = [message for message in mine if message.code is not None]
    if not tests:
        return "No test of this way yet.", False
    confirmed = next((one for one in tests if one.id == tests[0].id and one.confirmed_ms is not None), None)
    when = units.clock(tests[0].made_ms, now_ms)
    if confirmed is not None and confirmed.confirmed_ms is not None:
        seen = units.clock(confirmed.confirmed_ms, now_ms)
        return f"The test of {when} came, says {confirmed.confirmed_by} ({seen}).", False
    if digest.unconfirmed(tests, now_ms):
        return f"Nobody has said that the test of {when} came: the way may be broken.", True
    return f"The test of {when} waits for its code.", True
