"""What every detector is: it subscribes once, keeps small state, and writes in the book.

The docstring of a detector says: what the owner sees; the rule with symbols and units; its source; how often it is
expected to be wrong; what it is blind to.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from sootline.alarms import Priority
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine


class Detector:
    """Base of all detectors. `alarm` is the contract's id."""

    alarm: ClassVar[str]

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.plant = engine.plant
        self.settings = engine.plant.settings

    def readiness(self) -> Readiness:
        """Ready from the first pack unless a detector says otherwise."""
        return Readiness(self.alarm, "ready")

    def learning(self) -> bool:
        return self.readiness().state == "learning"

    def capped(self, priority: Priority) -> Priority:
        """The priority, at most medium while learning (contract)."""
        return "medium" if self.learning() and priority in ("high", "critical") else priority

    def learned(self, have: int, need: int) -> Readiness:
        return Readiness(self.alarm, "ready" if have >= need else "learning", min(have, need), need)

    def blind(self, needs: str) -> Readiness:
        return Readiness(self.alarm, "blind", needs=needs)
