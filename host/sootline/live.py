"""What is true now, for the pages: written by the service's worker, read from any thread."""

import threading
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any

from sootline.analysis.watch import Key
from sootline.errors import UserError
from sootline.logbook import Answer, Logged, Search
from sootline.now import FurnaceNow
from sootline.profile import Profile

_ACT_TIMEOUT_S = 10.0


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """Somebody has the alarm."""

    key: Key
    by: str
    done: "Future[bool]"


@dataclass(frozen=True, slots=True)
class Shelve:
    """Somebody wants to hear no more of an alarm until until_ms; a time in the past takes it off the shelf."""

    key: Key
    until_ms: int
    by: str
    reason: str
    done: "Future[bool]"


@dataclass(frozen=True, slots=True)
class Log:
    """Somebody has done something at a furnace; photo [JPEG]. Answered with False when the id is taken by another."""

    logged: Logged
    photo: bytes | None
    done: "Future[bool]"


@dataclass(frozen=True, slots=True)
class Undo:
    """Somebody takes back a line of the logbook. Answered with False when it is too late, or undone already."""

    id: str
    by: str
    done: "Future[bool]"


@dataclass(frozen=True, slots=True)
class Confirm:
    """Somebody says that the message with this code has come to the contact."""

    contact: str
    code: str
    by: str
    done: "Future[bool]"


@dataclass(frozen=True, slots=True)
class Try:
    """Somebody wants a test sent to the contact."""

    contact: str
    done: "Future[bool]"


@dataclass(frozen=True, slots=True)
class Serve:
    """Somebody works on the furnace until until_ms; a time in the past ends it."""

    furnace: str
    until_ms: int
    by: str
    reason: str
    done: "Future[bool]"


@dataclass(frozen=True, slots=True)
class Reread:
    """The profile of a furnace has been changed: read it again. Answered once it is read; the analysis follows."""

    furnace: str
    done: "Future[bool]"


@dataclass(frozen=True, slots=True)
class Tell:
    """Somebody answers a step of a search for a cause, which begins with its first answer.

    Answered with False when the search has gone on meanwhile.
    """

    search: Search
    answer: Answer
    done: "Future[bool]"


Act = Acknowledge | Shelve | Log | Undo | Tell | Confirm | Try | Serve | Reread


class Live:
    """The present state of all furnaces. Every method may be called from any thread.

    submit: hands an act to the worker, which answers through its future
    """

    def __init__(self, submit: Callable[[Act], None]) -> None:
        self._submit = submit
        self._changed = threading.Condition()
        self._version = 0
        self._furnaces: dict[str, FurnaceNow] = {}
        self._troubles: tuple[str, ...] = ()
        self.profiles: Mapping[str, Profile] = {}

    @property
    def version(self) -> int:
        """Rises with each change."""
        return self._version

    @property
    def troubles(self) -> tuple[str, ...]:
        """What keeps the host from watching, in one line each; empty when all is well."""
        return self._troubles

    def wait(self, version: int, timeout_s: float) -> int:
        """Return the version as soon as it is above `version`, or the present one after `timeout_s`."""
        with self._changed:
            self._changed.wait_for(lambda: self._version > version, timeout_s)
            return self._version

    def furnaces(self) -> tuple[FurnaceNow, ...]:
        """All furnaces, by name."""
        with self._changed:
            return tuple(self._furnaces[name] for name in sorted(self._furnaces))

    def now(self, furnace: str) -> FurnaceNow | None:
        """One furnace, or None when nothing is known of it."""
        return self._furnaces.get(furnace)

    def show(self, furnaces: Iterable[FurnaceNow] = (), troubles: tuple[str, ...] | None = None) -> None:
        """Put new pictures in the place of the old ones (the worker's side)."""
        with self._changed:
            before = self._version
            for furnace in furnaces:
                if self._furnaces.get(furnace.furnace) != furnace:
                    self._furnaces[furnace.furnace] = furnace
                    self._version = before + 1
            if troubles is not None and troubles != self._troubles:
                self._troubles = troubles
                self._version = before + 1
            if self._version != before:
                self._changed.notify_all()

    def acknowledge(self, key: Key, by: str) -> bool:
        """Note that `by` has the alarm; False when there is no such alarm any more. Raises UserError."""
        return self._ask(lambda done: Acknowledge(key, by, done))

    def shelve(self, key: Key, until_ms: int, by: str, reason: str) -> bool:
        """Shelve an alarm until until_ms; False when there is no such alarm any more. Raises UserError."""
        return self._ask(lambda done: Shelve(key, until_ms, by, reason, done))

    def log(self, logged: Logged, photo: bytes | None = None) -> bool:
        """Keep what somebody did at a furnace and let the analysis know; once, however often it is sent.

        photo: JPEG
        Returns False when the id belongs to another line. Raises UserError.
        """
        return self._ask(lambda done: Log(logged, photo, done))

    def undo(self, id: str, by: str) -> bool:
        """Take back a line of the logbook; False when it is too late or undone already. Raises UserError."""
        return self._ask(lambda done: Undo(id, by, done))

    def tell(self, search: Search, answer: Answer) -> bool:
        """Keep an answer in a search; False when it is for a step that is not the present one. Raises UserError."""
        return self._ask(lambda done: Tell(search, answer, done))

    def serve(self, furnace: str, until_ms: int, by: str, reason: str) -> bool:
        """Service mode until until_ms, or its end with a time in the past. Raises UserError."""
        return self._ask(lambda done: Serve(furnace, until_ms, by, reason, done))

    def confirm(self, contact: str, code: str, by: str) -> bool:
        """Note that the message with this code has come; False when the contact was sent no such code."""
        return self._ask(lambda done: Confirm(contact, code, by, done))

    def try_way(self, contact: str) -> bool:
        """Send a test to the contact; False when there is no such contact. Raises UserError."""
        return self._ask(lambda done: Try(contact, done))

    def reread(self, furnace: str) -> None:
        """Take up the profile of a furnace as it lies in its file now. Raises UserError."""
        self._ask(lambda done: Reread(furnace, done))

    def _ask(self, act: Callable[[Any], Act]) -> bool:
        done: Future[bool] = Future()
        self._submit(act(done))
        try:
            return done.result(_ACT_TIMEOUT_S)
        except TimeoutError:
            raise UserError(
                "not stored yet: the host is busy, or its store cannot be written; look at its disk if this lasts"
            ) from None
