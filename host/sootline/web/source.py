"""What the pages need of the running service."""

from collections.abc import Mapping
from typing import Protocol

from sootline.analysis.watch import Key
from sootline.logbook import Answer, Logged, Search
from sootline.now import FurnaceNow
from sootline.profile import Profile


class Live(Protocol):
    """The present state of all furnaces. Every method may be called from any thread."""

    @property
    def version(self) -> int:
        """Rises with each change."""

    @property
    def profiles(self) -> Mapping[str, Profile]:
        """The profiles that the analysis works with, of the furnaces that have one."""

    def reread(self, furnace: str) -> None:
        """Take up the profile of a furnace as it lies in its file now. Raises UserError."""

    @property
    def troubles(self) -> tuple[str, ...]:
        """What keeps the host from watching, in one line each."""

    def wait(self, version: int, timeout_s: float) -> int:
        """Return the version as soon as it is above `version`, or the present one after `timeout_s`."""

    def furnaces(self) -> tuple[FurnaceNow, ...]:
        """All furnaces, by name."""

    def acknowledge(self, key: Key, by: str) -> bool:
        """Note that `by` has the alarm; False when there is no such alarm any more."""

    def shelve(self, key: Key, until_ms: int, by: str, reason: str) -> bool:
        """Put the alarm on the shelf until until_ms, for a reason; False when there is no such alarm any more."""

    def serve(self, furnace: str, until_ms: int, by: str, reason: str) -> bool:
        """Service mode until until_ms, or its end with a time in the past."""

    def confirm(self, contact: str, code: str, by: str) -> bool:
        """Note that the message with this code has come; False when the contact was sent no such code."""

    def try_way(self, contact: str) -> bool:
        """Send a test to the contact; False when there is no such contact."""

    def log(self, logged: Logged, photo: bytes | None = None) -> bool:
        """Keep what somebody did at a furnace, once; False when the id belongs to another line."""

    def tell(self, search: Search, answer: Answer) -> bool:
        """Keep an answer in a search for a cause; False when it is for a step that is not the present one."""

    def undo(self, id: str, by: str) -> bool:
        """Take back a line of the logbook; False when it is too late or undone already."""
