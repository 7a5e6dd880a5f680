"""The alarm record: what the analysis found, in the form that is stored, published, shown and sent."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Literal

Priority = Literal["critical", "high", "medium", "low"]
State = Literal["unacknowledged", "acknowledged", "returned", "shelved", "suppressed"]
Hazard = Literal["none", "fire", "spill", "co", "burn", "mains"]

PRIORITIES: tuple[Priority, ...] = ("low", "medium", "high", "critical")


def iso(t_ms: int | None) -> str | None:
    """ISO 8601 UTC with milliseconds, or None."""
    if t_ms is None:
        return None
    return datetime.fromtimestamp(t_ms / 1000, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    by: str
    at_ms: int


@dataclass(frozen=True, slots=True)
class Shelf:
    """Somebody wants to hear no more of an alarm until until_ms, for a reason."""

    by: str
    reason: str
    at_ms: int
    until_ms: int


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm of one furnace. Times are milliseconds since the Unix epoch, UTC.

    raised_ms: when the condition became true at the furnace; found_ms: when the host knew (later after back-fill)
    detail:    the numbers that show why, unit in each key
    """

    furnace: str
    alarm: str
    channel: str | None
    priority: Priority
    state: State
    raised_ms: int
    cleared_ms: int | None
    found_ms: int
    hazard: Hazard
    first_step: str
    detail: Mapping[str, Any] = field(default_factory=dict)
    suppressed_by: str | None = None
    acknowledged: Acknowledgement | None = None
    shelved: Shelf | None = None

    @property
    def key(self) -> tuple[str, str, str | None, int]:
        return (self.furnace, self.alarm, self.channel, self.raised_ms)

    def record(self) -> dict[str, Any]:
        """The JSON form of the contract; `shelved` (by, at, reason) stands in it only while it lies on the shelf."""
        acknowledged, shelved = self.acknowledged, self.shelved
        return {
            "furnace": self.furnace,
            "alarm": self.alarm,
            "channel": self.channel,
            "priority": self.priority,
            "state": self.state,
            "raised": iso(self.raised_ms),
            "cleared": iso(self.cleared_ms),
            "found": iso(self.found_ms),
            "acknowledged": acknowledged and {"by": acknowledged.by, "at": iso(acknowledged.at_ms)},
            "shelved_until": iso(shelved.until_ms) if shelved else None,
            "suppressed_by": self.suppressed_by,
            "hazard": self.hazard,
            "first_step": self.first_step,
            "detail": dict(self.detail),
        } | ({"shelved": {"by": shelved.by, "at": iso(shelved.at_ms), "reason": shelved.reason}} if shelved else {})
