"""One message to one contact by one of his ways, from when it was made until it is gone or given up."""

import hashlib
from dataclasses import dataclass
from typing import Literal

from sootline.alarms import Priority
from sootline.analysis.watch import Key

What = Literal["raised", "worse", "again", "daily", "weekly", "test"]
State = Literal["waiting", "sent", "failed", "overtaken"]

ABOUT_AN_ALARM: tuple[What, ...] = ("raised", "worse", "again")


@dataclass(frozen=True, slots=True)
class Message:
    """Times are milliseconds since the Unix epoch, UTC.

    id:       the same however often it is made anew, so that nothing is sent twice for a restart
    way:      which of the contact's addresses, from 0
    key:      of the alarm it is about; None for digests and tests
    priority: of the alarm at that time; None for digests and tests
    due_ms:   when it is to be tried (again)
    state:    `overtaken`: no longer true before it could be sent
    done_ms:  when it went out or was given up
    error:    why the last try failed
    code:     of a weekly note or test, to be confirmed on the page
    """

    id: str
    contact: str
    what: What
    made_ms: int
    due_ms: int
    title: str
    body: str
    way: int = 0
    key: Key | None = None
    priority: Priority | None = None
    state: State = "waiting"
    tries: int = 0
    done_ms: int | None = None
    error: str | None = None
    code: str | None = None
    confirmed_by: str | None = None
    confirmed_ms: int | None = None


def message_id(contact: str, what: str, about: str) -> str:
    """Seven letters and digits that no two messages of a lifetime share but by bad luck of 1 in 30 thousand million."""
    digest = hashlib.blake2b(f"{contact}\n{what}\n{about}".encode(), digest_size=8).digest()
    number = int.from_bytes(digest, "big")
    letters = ""
    for _ in range(7):
        number, rest = divmod(number, 32)
        letters += "0123456789ABCDEFGHJKMNPQRSTVWXYZ"[rest]  # none that is taken for another
    return letters


def about(key: Key) -> str:
    """An alarm's key as text."""
    furnace, alarm, channel, raised_ms = key
    return f"{furnace}/{alarm}/{channel or ''}/{raised_ms}"


def code_of(message: str) -> str:
    """The four digits by which a person confirms the message of this id."""
    return f"{int.from_bytes(hashlib.blake2b(message.encode(), digest_size=4).digest(), 'big') % 10_000:04d}"
