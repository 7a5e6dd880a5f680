"""What happened at a furnace, finished and measured: refills, preheats, firings, the steady stack of each."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Event:
    """One finished event.

    kind:     `refill`, `preheat`, `firing`, `steady` (the normalised stack of a long enough firing), `phase`, or what
              a log entry did (`entry-cleaning`, ...: `learning 0 of 30` by alarm, and `ended`)
    features: numbers about it, unit in each key; None where a feature could not be measured
    """

    furnace: str
    kind: str
    start_ms: int
    end_ms: int
    features: Mapping[str, float | str | bool | None] = field(default_factory=dict)

    @property
    def key(self) -> tuple[str, str, int]:
        return (self.furnace, self.kind, self.start_ms)

    @property
    def duration_s(self) -> float:
        return (self.end_ms - self.start_ms) / 1000

    def number(self, feature: str) -> float | None:
        """A numeric feature, or None where it was not measured."""
        value = self.features.get(feature)
        return float(value) if isinstance(value, (int, float)) else None
