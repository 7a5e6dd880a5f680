"""`stack-low`: the flue is so cool that it may condense; underfired."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.steady import NEED, Steady
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

FIRINGS = 5


class StackLow(Detector):
    """The owner sees: the net stack is under 150 K in five firings; acid condenses and eats steel.

    Rule: steady stack net of the air < 150 K in 5 firings in a row; returns after 5 above.
    Source: contract; 270 degF over ambient keeps a flue dry (NORA manual).
    Wrong: a probe pulled back or sooted over; 1 in 3 seasons.
    Blind to: without `return_air` or `room` the air is taken as 20 degC.
    """

    alarm = "stack-low"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._low = 0
        self._high = 0
        engine.stack.on_steady.append(self._steady)

    def readiness(self) -> Readiness:
        return self.learned(self.engine.stack.learned, NEED)

    def _steady(self, steady: Steady) -> None:
        if self.engine.stack.baseline is None:
            return  # until its warming is known, a short firing seems cooler than it was heading for
        referred = self.plant.has("return_air") or self.plant.has("room")
        net = steady.net_K if referred else steady.net_K - 20.0
        low = net < self.settings.stack_low_K
        self._low, self._high = (self._low + 1, 0) if low else (0, self._high + 1)
        if self._low >= FIRINGS:
            self.plant.raise_(self.alarm, "low", net_stack_K=round(net, 1))
        elif self._high >= FIRINGS:
            self.plant.clear(self.alarm)
