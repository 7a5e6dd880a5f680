"""Two boards under one furnace's name: which of them is believed.

A board that boots anew draws a new boot id, and packs of an earlier boot may come late. There are two boards only when
two boots live at once: each one's uptime keeps step with the clock at moments after the other's start. Then the one
that was heard first is believed, and the newcomer's packs are set aside until the first has been silent for long.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

STEP_MS = 30_000  # an uptime must keep step with the clock at least this long ...
SLACK_MS = 5_000  # ... and this well; a backlog that is sent in a burst does not
SILENCE_MS = 600_000  # after this the newcomer takes the place of the first
BOOTS_KEPT = 20
_NEVER = -(2**62)


@dataclass(slots=True)
class _Boot:
    """from_ms, uptime_ms: where receipt and uptime stood when they began to keep step; alive_ms: the last moment, by
    receipt, and alive_at_ms, by the pack's own time, at which they had done so for long enough."""

    started_ms: int = _NEVER
    from_ms: int = _NEVER
    uptime_ms: int = 0
    alive_ms: int = _NEVER
    alive_at_ms: int = _NEVER

    def heard(self, uptime_ms: int, base_ms: int, received_ms: int) -> None:
        self.started_ms = base_ms - uptime_ms
        passed_ms = received_ms - self.from_ms
        if abs(passed_ms - (uptime_ms - self.uptime_ms)) > SLACK_MS:
            self.from_ms, self.uptime_ms = received_ms, uptime_ms
        elif passed_ms >= STEP_MS:
            self.alive_ms, self.alive_at_ms = received_ms, base_ms


class Rivals:
    """The boots heard under one furnace's name, in the order in which they were first heard.

    kept: what `state` gave before a restart
    """

    def __init__(self, kept: Mapping[str, Any] | None = None) -> None:
        self._boots: dict[str, _Boot] = {name: _Boot() for name in (kept or {}).get("boots", [])}
        self._set_aside: set[str] = set((kept or {}).get("set_aside", []))

    @property
    def state(self) -> dict[str, Any]:
        """What must be kept over a restart."""
        return {"boots": list(self._boots), "set_aside": sorted(self._set_aside)}

    def admits(self, name: str, uptime_ms: int, base_ms: int, received_ms: int) -> bool:
        """Whether a pack of this boot is to be believed; base_ms is where it stands on the Unix clock."""
        boot = self._boots.setdefault(name, _Boot())
        boot.heard(uptime_ms, base_ms, received_ms)
        others = {n: b for n, b in self._boots.items() if n != name and n not in self._set_aside}
        if name in self._set_aside:
            if any(received_ms - other.alive_ms <= SILENCE_MS for other in others.values()):
                return False
            if not _in_step(boot):
                return False  # right after a restart nobody is known to live yet
            self._set_aside.clear()
        order = list(self._boots)
        for other_name, other in others.items():
            if _at_once(boot, other) and abs(boot.alive_ms - other.alive_ms) <= SILENCE_MS:
                later = max(name, other_name, key=order.index)
                self._set_aside.add(later)
        for old in order[:-BOOTS_KEPT]:
            del self._boots[old]
            self._set_aside.discard(old)
        return name not in self._set_aside


def _in_step(boot: _Boot) -> bool:
    return boot.alive_ms > _NEVER


def _at_once(a: _Boot, b: _Boot) -> bool:
    """Whether each was alive at a moment after the other's start."""
    return (
        a.alive_at_ms > b.started_ms + STEP_MS
        and b.alive_at_ms > a.started_ms + STEP_MS
        and _in_step(a)
        and _in_step(b)
    )
