"""What befalls a furnace in one record: timed edits, drifts, sensor faults, gaps, the owner's log, and blame.

A fault is a function that writes into a ``Story``. What it changes goes into ``edits`` and ``ramps``;
what a judge must know goes into ``blames`` (which alarm conditions it explains or hides) and ``claims``
(functions that work out, from the true log, when the contract's condition came true).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from tests.records.simulate import Edit, Ramp, Simulation
from tests.records.weather import Spell

if TYPE_CHECKING:
    from tests.records.plant import Plant
    from tests.records.truth import Truth

HOUR = 3600.0
DAY = 86400.0


@dataclass(frozen=True)
class SensorFault:
    """A reading gone wrong from ``start`` to ``end`` [s]: open, short, absent, frozen, spikes, drift, stuck-off."""

    channel: str
    kind: str
    start: float
    end: float
    size: float = 0.0


@dataclass(frozen=True)
class Gap:
    """No word from the board: ``lost`` for ever, or ``late`` (buffered and sent after); ``reboot`` ends it."""

    start: float
    end: float
    kind: str
    reboot: bool = False


@dataclass(frozen=True)
class ClockStep:
    """The board's clock is off by ``shift_s`` from ``start`` to ``end`` [s]."""

    start: float
    end: float
    shift_s: float


@dataclass(frozen=True)
class Blame:
    """Between ``start`` and ``end`` conditions of ``alarm`` come from ``cause``; hidden under ``under`` where given."""

    alarm: str
    start: float
    end: float
    cause: str
    under: str | None = None


@dataclass
class Story:
    """All that happens in one record, in seconds from its start."""

    end: float
    plant: Plant
    edits: list[Edit] = field(default_factory=list)
    ramps: list[Ramp] = field(default_factory=list)
    spells: list[Spell] = field(default_factory=list)
    sensors: list[SensorFault] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    clock: list[ClockStep] = field(default_factory=list)
    entries: list[dict[str, Any]] = field(default_factory=list)
    blames: list[Blame] = field(default_factory=list)
    tolerated: list[dict[str, Any]] = field(default_factory=list)
    claims: list[Callable[[Truth], None]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def at(self, t: float, action: Callable[[Simulation], None]) -> None:
        """Do something to the simulation at ``t``."""
        self.edits.append((t, action))

    def set(self, t: float, **conditions: Any) -> None:
        """Set conditions at ``t``."""

        def action(sim: Simulation) -> None:
            for name, value in conditions.items():
                setattr(sim.condition, name, value)

        self.at(t, action)

    def ramp(self, start: float, end: float, name: str, before: float, after: float) -> None:
        """Let a condition drift."""
        self.ramps.append(Ramp(start, end, name, before, after))

    def entry(self, t: float, kind: str, **more: Any) -> None:
        """The owner writes something down."""
        self.entries.append({"t": t, "kind": kind, **more})

    def blame(self, alarms: str, start: float, end: float, cause: str, under: str | None = None) -> None:
        """Say what explains conditions of the named alarms (space separated)."""
        self.blames.extend(Blame(alarm, start, end, cause, under) for alarm in alarms.split())

    def tolerate(self, alarms: str, start: float, end: float, why: str) -> None:
        """Alarms a fair judge lets pass (space separated)."""
        self.tolerated.extend({"alarm": alarm, "start": start, "end": end, "why": why} for alarm in alarms.split())

    def reset_all(self, t: float) -> None:
        """The owner has repaired it and pushes whatever is latched."""

        def action(sim: Simulation) -> None:
            sim.limiter.latched = False
            sim.primary.reset()
            sim.tank_switch.tripped = sim.nozzle_switch.tripped = False

        self.at(t, action)
