"""One alarm of one furnace at one moment, and the evidence that can be looked for in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from sootline.analysis.book import Entry
from sootline.analysis.causes.recorder import SETTLED_MS, Recorder

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

LIVE_MS = SETTLED_MS
LONGEST_S = 1500.0  # after this nothing climbs any more


class Finding(NamedTuple):
    """holds: whether the evidence is there; words: what was seen, for a reader"""

    holds: bool
    words: str


class Scene:
    """Everything an evidence test may look at. Nothing in it lies after the plant's now."""

    def __init__(self, engine: Engine, seen: Recorder, entry: Entry) -> None:
        self.engine = engine
        self.plant = engine.plant
        self.fire = engine.fire
        self.seen = seen
        self.entry = entry
        self.now_ms = engine.plant.now_ms
        self._levels: dict[str, float | None] | None = None

    def number(self, key: str) -> float | None:
        """A number of the alarm's detail."""
        value = self.entry.detail.get(key)
        return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None

    def standing(self, *alarms: str, hours: float = 0.0) -> Entry | None:
        """Another alarm of these that stands, or was raised within so many hours."""
        for entry in reversed(self.plant.book.entries[-40:]):
            recent = entry.stands or self.now_ms - entry.raised_ms <= hours * 3_600_000
            if entry.alarm in alarms and recent and entry is not self.entry:
                return entry
        return None

    def usual(self, feature: str) -> float | None:
        return self.seen.daily[feature].usual()

    def last(self, feature: str, n: int = 1) -> float | None:
        return self.seen.daily[feature].last(n)

    def level(self, feature: str) -> float | None:
        """A steady feature of the fire: of the one that burns, once it has settled, else of the last ones.

        None where the last two firings were too short to tell: what was before them says nothing of now.
        """
        fire = self.fire
        # a flue and the air it heats climb for as long as a fire lasts: compare with the end of fires as long as this
        usual_s = self.usual("fire_s") or 0.0
        live_ms = max(LIVE_MS, min(usual_s, LONGEST_S) * 1000)
        if fire.on and fire.since_ms is not None and self.now_ms - fire.since_ms >= live_ms:
            if self._levels is None:
                self._levels = self.seen.levels(self.now_ms)
            return self._levels[feature]
        burns = self.seen.burns
        if len(burns) >= 2 and burns[-2].end_ms > self.seen.settled_ms:
            return None
        return self.last(feature, 3) if self.last(feature, 3) is not None else self.last(feature)

    def change(self, feature: str) -> tuple[float, float] | None:
        """(level now, usual level) of a steady feature of the fire; None when either is unknown."""
        now, usual = self.level(feature), self.usual(feature)
        return None if now is None or usual is None else (now, usual)


Test = Callable[[Scene], Finding | None]


@dataclass(frozen=True, slots=True)
class Evidence:
    """base: how often it holds when no named cause has a hand in it; doc: what it means
    test: None = not measured; once: looked for at the first look only, for later looks would see what came after
    keeps: once seen it stays seen while the alarm lasts, for what shows it passes out of sight
    """

    name: str
    base: float
    doc: str
    test: Test
    once: bool = False
    keeps: bool = False


EVIDENCE: dict[str, Evidence] = {}


def evidence(name: str, base: float, once: bool = False, keeps: bool = False) -> Callable[[Test], Test]:
    """Register a test under a name; its docstring says what it looks for."""

    def register(test: Test) -> Test:
        EVIDENCE[name] = Evidence(name, base, (test.__doc__ or "").strip(), test, once, keeps)
        return test

    return register
