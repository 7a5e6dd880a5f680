"""`float-chatter`: the pump is switched on and off in short bursts."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.pump import Run

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

WINDOW_MS, QUIET_MS = 1_800_000, 7_200_000


class FloatChatter(Detector):
    """The owner sees: the refill pump is being pulsed.

    Rule: more than 3 pump runs under 2 s in 30 min; returns after 2 h without one. Source: contract.
    Wrong: someone testing the float by hand; 1 in 3 seasons.
    Blind to: bursts between samples on a board that does not report moments of change.
    """

    alarm = "float-chatter"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._short: deque[int] = deque()
        engine.pump.on_ended.append(self._ended)

    def _ended(self, run: Run) -> None:
        if not run.known or run.on_s >= self.settings.chatter_run_s:
            return
        self._short.append(run.end_ms)
        while self._short[0] < run.end_ms - WINDOW_MS:
            self._short.popleft()
        if len(self._short) > self.settings.chatter_runs:
            self.plant.raise_(self.alarm, "medium", at_ms=run.end_ms, short_runs=len(self._short))
        self.plant.at(run.end_ms + QUIET_MS, self._quiet, run.end_ms)

    def _quiet(self, since_ms: int) -> None:
        if self._short and self._short[-1] == since_ms:
            self.plant.clear(self.alarm)
