"""What is true of a furnace at this moment, in one immutable picture that the service makes and the pages read."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from sootline.alarms import Alarm

Phase = Literal[
    "off", "standby", "preheat", "purge", "ignition", "firing", "recycle", "limit", "cool-down", "lockout",
    "service", "unknown",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reading:
    """The newest word on a channel: a value [contract unit; on/off 0.0/1.0], or the fault that took its place."""

    t_ms: int
    value: float | None
    fault: str | None = None


@dataclass(frozen=True, slots=True)
class Readiness:
    """How far one alarm can be relied on at this furnace.

    state: `ready`, `learning` (have of need) or `blind` (needs names the channel or profile key that would help)
    """

    alarm: str
    state: Literal["ready", "learning", "blind"]
    have: int = 0
    need: int = 0
    needs: str | None = None


@dataclass(frozen=True, slots=True)
class SetAside:
    """A message that could not be used."""

    received_ms: int
    topic: str
    reason: str
    size: int


@dataclass(frozen=True, slots=True)
class InService:
    """Somebody works on the furnace: until until_ms only critical alarms call."""

    by: str
    reason: str
    since_ms: int
    until_ms: int


@dataclass(frozen=True, slots=True)
class FurnaceNow:
    """One furnace.

    last_word_ms: receipt of the newest message from its board, None before the first
    board:        the board's last announcement, as received
    alarms:       standing alarms, and returned ones that nobody has acknowledged yet
    learned:      what the analysis has found out by itself, by the key of the profile in whose place it stands
    set_aside:    how many messages were set aside, by reason, and the last few of them
    service:      who works on it, None while nobody does
    freeze_at_ms: when the room reaches its limit at the rate of the last hour; None when it does not fall
    """

    furnace: str
    phase: Phase
    phase_since_ms: int | None
    readings: Mapping[str, Reading]
    alarms: tuple[Alarm, ...]
    readiness: tuple[Readiness, ...]
    last_word_ms: int | None
    board: Mapping[str, Any] = field(default_factory=dict)
    learned: Mapping[str, float] = field(default_factory=dict)
    set_aside: Mapping[str, int] = field(default_factory=dict)
    last_set_aside: tuple[SetAside, ...] = ()
    service: InService | None = None
    freeze_at_ms: int | None = None
