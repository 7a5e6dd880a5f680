"""The courier: one thread that decides what is to be said, keeps it, sends it, and tries again.

What is to be said is committed before it is sent and what became of it after: a crash in between says it once more,
with the same number at its end, and never not at all.
"""

import logging
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import tzinfo
from typing import Protocol

from sootline.alarms import Alarm
from sootline.analysis.watch import Key
from sootline.courier.heartbeat import Beat
from sootline.courier.ways import send
from sootline.errors import SootlineError
from sootline.files.contacts import ContactsFile
from sootline.messages import digest, policy
from sootline.messages.contacts import Contact, Contacts
from sootline.messages.digest import Past
from sootline.messages.freezing import Outlook
from sootline.messages.message import ABOUT_AN_ALARM, Message, code_of, message_id
from sootline.messages.policy import Situation, decide
from sootline.now import FurnaceNow
from sootline.store import Store
from sootline.units import clock

log = logging.getLogger(__name__)

FIRST_RETRY_S = 15.0
CALM_S, URGENT_S = 1800.0, 300.0  # longest wait between two tries
LONGEST_MS = 2_000_000  # a try that is further off was planned before the clock was set back: it is due
GIVE_UP_MS = 24 * 3_600_000
LOOK_S = 30.0  # at least this often
STOP_S = 0.3  # it notices that it is to stop within this
SETTLE_MS = 1000  # pictures of the furnaces come several a second; one look a second will do
HEALTH_MS = 10_000  # so often it looks whether its messages get through
OLD_MS = 60_000  # older than this it is asked again whether it is still so
PAST_MS = 8 * digest.DAY_MS

Send = Callable[[str, str, str, bool], str | None]


class Live(Protocol):
    """What the courier needs of the running service."""

    @property
    def version(self) -> int: ...

    def wait(self, version: int, timeout_s: float) -> int: ...

    def furnaces(self) -> tuple[FurnaceNow, ...]: ...


@dataclass(frozen=True, slots=True)
class Around:
    """What the courier asks of the service around it.

    outlooks: the cold at each furnace; chain: what keeps the host from watching, None while all works
    lines:    the weekly note's lines on the furnaces one contact cares for, in the week before a moment
    trouble:  takes what people must know of the courier itself, None when there is nothing
    """

    outlooks: Callable[[Iterable[FurnaceNow]], Mapping[str, Outlook]]
    chain: Callable[[], str | None]
    lines: Callable[[Contact, int], tuple[str, ...]]
    trouble: Callable[[str | None], None]


class Courier:
    """start() and stop() run the thread; look() is one round of it, on whatever clock `now` is."""

    def __init__(
        self,
        store: Store,
        live: Live,
        file: ContactsFile,
        around: Around,
        *,
        now: Callable[[], int],
        zone: tzinfo | None = None,
        send: Send = send,
    ) -> None:
        self._store = store
        self._live = live
        self._file = file
        self._around = around
        self._now = now
        self._zone = zone
        self._send = send
        self._stopping = threading.Event()
        self._digested: set[tuple[str, str, int]] = set()  # digests that need no second look
        self._health_ms = 0
        self.beat = Beat()
        self._thread = threading.Thread(target=self._run, name="courier", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(30)

    def _run(self) -> None:
        version = self._live.version
        while not self._stopping.is_set():
            try:
                wait_ms = self.look() - self._now()
            except SootlineError as error:
                log.warning("messages wait: %s", error)
                wait_ms = SETTLE_MS
            except Exception:  # the one thread that calls for help does not end for an error of ours
                log.exception("the courier has failed in a round")
                self._around.trouble("messages cannot be made, by an error of the program; see its log")
                wait_ms = round(LOOK_S * 1000)
            self._stopping.wait(SETTLE_MS / 1000)
            version = self._wait(version, min((wait_ms - SETTLE_MS) / 1000, LOOK_S))

    def _wait(self, version: int, seconds: float) -> int:
        """Until something has happened, time is up, or it is all over."""
        until_s = time.monotonic() + seconds
        while not self._stopping.is_set() and (left_s := until_s - time.monotonic()) > 0:
            if (newer := self._live.wait(version, min(left_s, STOP_S))) != version:
                return newer
        return version

    def look(self) -> int:
        """One round. Returns when the next is due at the latest [ms]."""
        contacts = self._file.again()
        due = [self._now() + round(LOOK_S * 1000)]
        due += self._say(contacts)
        due += self._deliver(contacts)
        due += self._heartbeat(contacts)
        due += self._digests(contacts)  # for the next round; what goes wrong in them keeps no alarm waiting
        if self._now() >= self._health_ms:
            self._health_ms = self._now() + HEALTH_MS
            self._around.trouble(self._problem(contacts))
        return min(due)

    # what is to be said

    def _situation(self) -> Situation:
        furnaces = self._live.furnaces()
        return Situation(
            self._now(),
            [alarm for furnace in furnaces for alarm in furnace.alarms],
            self._around.outlooks(furnaces),
            frozenset(furnace.furnace for furnace in furnaces if furnace.service is not None),
            self._zone,
        )

    def _say(self, contacts: Contacts) -> list[int]:
        now = self._situation()
        calling = [alarm for alarm in now.alarms if policy.calls(alarm, now)]
        if not contacts.people or not calling:
            return []
        since_ms = min(now.now_ms - policy.SAME_AGAIN_MS, *(alarm.raised_ms for alarm in now.alarms))
        decision = decide(contacts, now, self._store.messages(since_ms))
        self._keep(contacts, decision.messages)
        return [] if decision.next_ms is None else [decision.next_ms]

    def _keep(self, contacts: Contacts, messages: Iterable[Message]) -> None:
        """Commit messages, one for each way of their contact."""
        expanded = [
            replace(message, way=way)
            for message in messages
            if (contact := contacts.person(message.contact)) is not None
            for way in range(len(contact.ways))
        ]
        if expanded:
            with self._store.batch() as batch:
                batch.messages(expanded)

    def _digests(self, contacts: Contacts) -> list[int]:
        now_ms, due = self._now(), []
        for contact in contacts.people:
            for what, due_ms in (
                ("daily", digest.daily_due_ms(contact, now_ms, self._zone)),
                ("weekly", digest.weekly_due_ms(contact, now_ms, self._zone)),
            ):
                if due_ms is not None and (contact.name, what, due_ms) not in self._digested:
                    past = self.past(contacts, contact, due_ms, lines=what == "weekly")
                    made = (digest.daily if what == "daily" else digest.weekly)(contact, due_ms, past, self._zone)
                    self._keep(contacts, () if made is None else (made,))
                    self._digested.add((contact.name, what, due_ms))
                    due += [] if made is None else [now_ms]
        return due

    def past(self, contacts: Contacts, contact: Contact, due_ms: int, lines: bool) -> Past:
        """What a digest due at a moment is made of."""
        since_ms = due_ms - PAST_MS
        return Past(
            self._store.alarms(since_ms=since_ms),
            self._store.messages(since_ms),
            self._around.lines(contact, due_ms) if lines else (),
            contacts.page,
        )

    def test(self, name: str) -> bool:
        """Send a test to a contact at once; False when there is no such contact. Called from the worker."""
        contacts = self._file.contacts
        contact, now_ms = contacts.person(name), self._now()
        if contact is None:
            return False
        number = message_id(name, "test", str(now_ms))
        code = code_of(number)
        body = f"{digest.confirm_line(code, contacts.page)} Nothing is wrong; somebody tests the way to you. #{number}"
        title = f"sootline test, confirm it with {code}"
        self._keep(contacts, [Message(number, name, "test", now_ms, now_ms, title, body, code=code)])
        return True

    # sending

    def _deliver(self, contacts: Contacts) -> list[int]:
        """Send what is due, critical alarms first; stop for newer ones."""
        version = self._live.version
        waiting = self._store.waiting_messages(self._now(), self._now() + LONGEST_MS)
        newest = {(one.contact, one.key, one.way): one for one in sorted(waiting, key=lambda one: one.made_ms)}
        for message in waiting:
            if self._stopping.is_set():
                break
            said_since = message.key is not None and newest[(message.contact, message.key, message.way)] != message
            done = self._past_it(message) if said_since else self._attempt(contacts, message)
            with self._store.batch() as batch:
                batch.message(done)
            if self._live.version != version and done.error is not None:
                break  # a way that does not answer has taken its time: look first whether something has happened
        next_ms = self._store.next_message_ms()
        return [] if next_ms is None else [next_ms]

    def _attempt(self, contacts: Contacts, message: Message) -> Message:
        contact, now_ms = contacts.person(message.contact), self._now()
        if self._overtaken(message, now_ms):
            return self._past_it(message)
        if contact is None or message.way >= len(contact.ways):
            return replace(message, state="failed", done_ms=now_ms, error="the contact has no such way any more")
        error = self._send(contact.ways[message.way], message.title, message.body, message.priority == "critical")
        now_ms = self._now()
        tried = replace(message, tries=message.tries + 1, error=error)
        if error is None:
            log.info("told %s: %s #%s", message.contact, message.what, message.id)
            return replace(tried, state="sent", done_ms=now_ms)
        log.warning("could not tell %s (#%s, try %d): %s", message.contact, message.id, tried.tries, error)
        if now_ms - message.made_ms > GIVE_UP_MS:
            return replace(tried, state="failed", done_ms=now_ms)
        longest_s = URGENT_S if message.priority == "critical" else CALM_S
        wait_s = min(FIRST_RETRY_S * 2.0 ** min(tried.tries - 1, 20), longest_s)
        return replace(tried, due_ms=now_ms + round(wait_s * 1000))

    def _past_it(self, message: Message) -> Message:
        return replace(message, state="overtaken", done_ms=self._now())

    def _overtaken(self, message: Message, now_ms: int) -> bool:
        """Whether it has waited and what it says is not so any more: over, taken by somebody, or on the shelf."""
        if message.what not in ABOUT_AN_ALARM or now_ms - message.made_ms < OLD_MS:
            return False
        now = self._situation()
        alarm = _find(now.alarms, message.key)
        return alarm is None or not policy.calls(alarm, now)

    # the courier's own health

    def _heartbeat(self, contacts: Contacts) -> list[int]:
        if contacts.heartbeat is None:
            self.beat = Beat()
            return []
        now_ms = self._now()
        if now_ms >= self.beat.next_ms:
            broken = self._around.chain()
            if broken is None:
                with self._store.batch() as batch:  # a commit that works is part of what is reported
                    batch.remember("heartbeat", {"at_ms": now_ms})
            self.beat.go(contacts.heartbeat, broken, now_ms)
        return [self.beat.next_ms]

    def _problem(self, contacts: Contacts) -> str | None:
        """What people must know: contacts that cannot be read or reached, tests that nobody confirmed."""
        if self._file.problem:
            return self._file.problem
        now_ms = self._now()
        recent = self._store.messages(now_ms - PAST_MS)
        lines = []
        for contact in contacts.people:
            stuck = [m for m in recent if m.contact == contact.name and m.state == "waiting" and m.tries >= 3]
            if stuck:
                lines.append(f"messages to {contact.name} cannot be delivered: {stuck[0].error}")
        for message in digest.unconfirmed(recent, now_ms):
            if contacts.person(message.contact) is not None:
                when = clock(message.made_ms, now_ms, self._zone)
                lines.append(
                    f"{message.contact} has not confirmed the test message of {when}; the way there may be broken"
                )
        if self.beat.problem and contacts.heartbeat is not None:
            lines.append(f"no sign of life was sent: {self.beat.problem}")
        return "; ".join(lines) or None


def _find(alarms: Iterable[Alarm], key: Key | None) -> Alarm | None:
    return next((alarm for alarm in alarms if alarm.key == key), None)
