"""What the pages need of the running service."""

from typing import Protocol

from sootline.now import FurnaceNow
from sootline.profile import LogEntry

AlarmKey = tuple[str, str, str | None, int]


class Live(Protocol):
    """The present state of all furnaces. Every method may be called from any thread."""

    @property
    def version(self) -> int:
        """Rises with each change."""

    def wait(self, version: int, timeout_s: float) -> int:
        """Return the version as soon as it is above `version`, or the present one after `timeout_s`."""

    def furnaces(self) -> tuple[FurnaceNow, ...]:
        """All furnaces, by name."""

    def acknowledge(self, key: AlarmKey, by: str) -> bool:
        """Note that `by` has the alarm; False when there is no such alarm any more."""

    def log(self, furnace: str, entry: LogEntry, by: str) -> None:
        """Store what `by` did at the furnace and let the analysis know."""
