"""`leak`: liquid in the drip tray or containment."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.marks import Mark
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

HOLD_MS = 5_000


class Leak(Detector):
    """The owner sees: oil in the drip tray.

    Rule: `leak` on for 5 s. Source: contract.
    Wrong: condensation or a mop on the sensor; about 1 in 5 seasons.
    Blind to: everything without the sensor.
    """

    alarm = "leak"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._since_ms: int | None = None
        self.plant.on("leak", self._changed)

    def readiness(self) -> Readiness:
        return super().readiness() if self.plant.has("leak") else self.blind("leak")

    def _changed(self, mark: Mark) -> None:
        if mark.on:
            self._since_ms = mark.at_ms
            self.plant.at(mark.at_ms + HOLD_MS, self._held, mark.at_ms)
        else:
            self._since_ms = None
            if mark.on is False:
                self.plant.clear(self.alarm, at_ms=mark.at_ms)

    def _held(self, since_ms: int) -> None:
        if self._since_ms == since_ms and self.plant.state("leak"):
            self.plant.raise_(self.alarm, "critical")
