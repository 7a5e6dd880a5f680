"""`stack-high`: the flue is hotter than the furnace or its vent may be."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.detect.over_limit import OverLimit

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine


class StackHigh(Detector):
    """The owner sees: the stack is above its limit, stop it.

    Rule: stack > limit [degC] for 10 s; the limit is the profile's, else 370 degC (common practice).
    Wrong: practically never; a probe hotter than the flue does not exist.
    Blind to: heat that does not pass the probe.
    """

    alarm = "stack-high"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        limit = self.plant.profile.stack.limit_C or self.settings.stack_limit_C
        OverLimit(self.plant, "stack", limit, self._over, self._back)

    def _over(self, channel: str, limit: float, since_ms: int) -> None:
        self.plant.raise_(self.alarm, "critical", stack_C=self.plant.value(channel), limit_C=limit)

    def _back(self, channel: str, at_ms: int) -> None:
        self.plant.clear(self.alarm, at_ms=at_ms)
