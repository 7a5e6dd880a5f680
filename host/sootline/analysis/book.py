"""The book of alarms of one furnace: raising, repeating, escalating, returning, and standing under a cause."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from sootline.alarms import PRIORITIES, Alarm, Priority, iso
from sootline.analysis.catalogue import HIDES, KINDS, NEVER_SUPPRESSED, ONLY_WHEN_LOW, SERVICE_MODE

LATCHED_REPEAT_MS = 4 * 3600 * 1000  # a latched alarm waits for a person; until then it comes back, not anew
WORSE = 1.2  # times the number it last sounded with: common practice, a fifth more is worth saying again


@dataclass(slots=True, eq=False)
class Entry:
    """One alarm in the book, from its raise to its return."""

    alarm: str
    channel: str | None
    priority: Priority
    raised_ms: int
    found_ms: int
    detail: dict[str, Any]
    cleared_ms: int | None = None
    suppressed_by: str | None = None
    hidden: list["Entry"] = field(default_factory=list)
    sounded: float | None = None  # its number when it last asked for attention

    @property
    def stands(self) -> bool:
        return self.cleared_ms is None

    def record(self, furnace: str) -> Alarm:
        kind = KINDS[self.alarm]
        state = "suppressed" if self.suppressed_by else "unacknowledged" if self.stands else "returned"
        return Alarm(
            furnace,
            self.alarm,
            self.channel,
            self.priority,
            state,  # type: ignore[arg-type]  # mypy widens the conditional to str
            self.raised_ms,
            self.cleared_ms,
            self.found_ms,
            kind.hazard,
            kind.first_step,
            {"act_within_min": kind.act_within_min, **self.detail},
            self.suppressed_by,
        )


class Book:
    """All alarms of one furnace.

    repeat_ms: a further raise within this of the last one counts in `detail.repeats`
    prove_ms:  how long after a cause has gone its consequences still stand under it
    tank_low:  tells whether the day tank has run low, so that a refill fault explains a starving fire
    service_ms: since when somebody works on the furnace, None while nobody does
    """

    def __init__(
        self,
        repeat_ms: int,
        prove_ms: int,
        tank_low: Callable[[], bool],
        service_ms: Callable[[], int | None] = lambda: None,
    ) -> None:
        self.entries: list[Entry] = []
        self.changed: list[Entry] = []
        self._last: dict[tuple[str, str | None], Entry] = {}
        self._repeat_ms = repeat_ms
        self._prove_ms = prove_ms
        self._tank_low = tank_low
        self._service_ms = service_ms

    def standing(self, alarm: str, channel: str | None = None) -> Entry | None:
        entry = self._last.get((alarm, channel))
        return entry if entry is not None and entry.stands else None

    def all_standing(self) -> list[Entry]:
        return [entry for entry in self._last.values() if entry.stands]

    def raise_(
        self, alarm: str, channel: str | None, priority: Priority, at_ms: int, found_ms: int, detail: Mapping[str, Any]
    ) -> Entry:
        """Raise an alarm, or bring the standing one up to date (its priority can only rise)."""
        entry = self._last.get((alarm, channel))
        if entry is not None and (entry.stands or self._repeats(entry, at_ms)):
            if not entry.stands:
                entry.cleared_ms = entry.suppressed_by = None  # its cause may be gone; `_settle` looks
                entry.detail["repeats"] = entry.detail.get("repeats", 0) + 1
            entry.detail.update(detail)
            self._worsen(entry, at_ms)
            self._lift(entry, priority, at_ms)
        else:
            entry = Entry(alarm, channel, priority, at_ms, found_ms, dict(detail))
            entry.sounded = entry.detail.get(KINDS[alarm].number)
            self.entries.append(entry)
            self._last[(alarm, channel)] = entry
        self._touch(entry)
        self._settle(entry, at_ms)
        return entry

    def _repeats(self, entry: Entry, at_ms: int) -> bool:
        """Whether a raise so soon after the last one is the same alarm again. A latched one is still on the list."""
        window_ms = LATCHED_REPEAT_MS if KINDS[entry.alarm].latched else self._repeat_ms
        return at_ms - (entry.cleared_ms or entry.raised_ms) < window_ms

    def clear(self, alarm: str, channel: str | None, at_ms: int) -> Entry | None:
        """The condition is gone. Returns the entry where it had been standing."""
        entry = self.standing(alarm, channel)
        if entry is None:
            return None
        entry.cleared_ms = max(at_ms, entry.raised_ms)
        self._touch(entry)
        return entry

    def release(self, cause: Entry) -> None:
        """The cause has been gone for a while: what it hid and still stands now sounds by itself."""
        if cause.stands:
            return
        for entry in cause.hidden:
            if entry.stands and entry.suppressed_by == cause.alarm:
                entry.suppressed_by = None
                self._touch(entry)
        cause.hidden.clear()

    def service_over(self) -> None:
        """Service mode has been over for a while: what it hid and still stands now sounds by itself."""
        if self._service_ms() is None:
            for entry in self.all_standing():
                if entry.suppressed_by == SERVICE_MODE:
                    entry.suppressed_by = None
                    self._touch(entry)

    def _serve(self, entry: Entry) -> None:
        """While somebody works on the furnace, what comes up is expected, unless it is critical."""
        since_ms = self._service_ms()
        grave = entry.priority == "critical" or entry.alarm in NEVER_SUPPRESSED
        if since_ms is not None and entry.suppressed_by is None and entry.raised_ms >= since_ms and not grave:
            entry.suppressed_by = SERVICE_MODE
            self._touch(entry)
        elif entry.suppressed_by == SERVICE_MODE and grave:
            entry.suppressed_by = None
            self._touch(entry)

    def _touch(self, entry: Entry) -> None:
        if entry not in self.changed:
            self.changed.append(entry)

    def _lift(self, entry: Entry, priority: Priority, at_ms: int) -> None:
        if PRIORITIES.index(priority) > PRIORITIES.index(entry.priority):
            entry.priority = priority
            entry.detail["escalated"] = iso(at_ms)
            self._touch(entry)

    def _worsen(self, entry: Entry, at_ms: int) -> None:
        """Note when its number has grown by a fifth: who put it on the shelf did so for less."""
        number = entry.detail.get(KINDS[entry.alarm].number)
        if number is not None and entry.sounded is not None and number > WORSE * entry.sounded:
            entry.sounded = number
            entry.detail["worsened"] = iso(at_ms)

    def _settle(self, entry: Entry, at_ms: int) -> None:
        """Find the cause the entry stands under, and what stands under it."""
        self._serve(entry)
        for cause in self._causes(at_ms):
            if cause is not entry and self._hides(cause, entry):
                self._hide(cause, entry, at_ms)
                break
        for other in self.all_standing():
            recent = at_ms - other.raised_ms < self._repeat_ms
            if other is not entry and other.suppressed_by is None and recent and self._hides(entry, other):
                self._hide(entry, other, at_ms)

    def _causes(self, at_ms: int) -> list[Entry]:
        """What stands, and what has gone so lately that its consequences may still be coming."""
        return [
            entry
            for entry in self._last.values()
            if entry.cleared_ms is None or (entry.alarm in HIDES and at_ms - entry.cleared_ms < self._prove_ms)
        ]

    def review(self, at_ms: int) -> None:
        """What a cause hides may have changed (the day tank has run low since): look again."""
        for entry in self.all_standing():
            self._settle(entry, at_ms)

    def _hides(self, cause: Entry, entry: Entry) -> bool:
        if entry.alarm in NEVER_SUPPRESSED or cause.suppressed_by == entry.alarm:
            return False
        if cause.alarm == "sensor-fault":
            reads = KINDS[entry.alarm].reads
            return cause.channel in reads or ("*" in reads and cause.channel == entry.channel)
        if entry.alarm not in HIDES.get(cause.alarm, ()):
            return False
        if cause.alarm == "board-offline" and not (cause.stands and entry.raised_ms >= cause.raised_ms):
            return False  # only what comes up while nothing is heard: a guess
        starves = cause.alarm in ONLY_WHEN_LOW and not entry.alarm.startswith("refill")
        return not starves or self._tank_low()

    def _hide(self, cause: Entry, entry: Entry, at_ms: int) -> None:
        if entry.suppressed_by != cause.alarm:
            entry.suppressed_by = cause.alarm
            self._touch(entry)
        if entry not in cause.hidden:
            cause.hidden.append(entry)
        self._lift(cause, entry.priority, at_ms)
        soonest = min(self._act_within(cause), self._act_within(entry))
        if soonest < self._act_within(cause):
            cause.detail["act_within_min"] = soonest
            self._touch(cause)

    @staticmethod
    def _act_within(entry: Entry) -> float:
        return float(entry.detail.get("act_within_min", KINDS[entry.alarm].act_within_min))
