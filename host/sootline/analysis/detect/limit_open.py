"""`limit-open`: the high-limit control opens while heat is called for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.alarms import Priority
from sootline.analysis.detect.base import Detector
from sootline.analysis.marks import Mark
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

DAY_MS = 86_400_000


class LimitOpen(Detector):
    """The owner sees: the furnace overheats its air: blower, belt or filters.

    Rule: `limit` open during a call, twice in 24 h: medium; from the third on high. Returns after 24 h without.
    Source: contract. Wrong: 1 in 10 seasons. Blind to: everything without `limit`.
    """

    alarm = "limit-open"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._opened: list[int] = []
        self.plant.on("limit", self._changed)

    def readiness(self) -> Readiness:
        return super().readiness() if self.plant.has("limit") else self.blind("limit")

    def _changed(self, mark: Mark) -> None:
        if not mark.on or self.plant.state("call") is False:
            return
        self._opened = [t for t in self._opened if mark.at_ms - t < DAY_MS] + [mark.at_ms]
        self.plant.at(mark.at_ms + DAY_MS, self._quiet, mark.at_ms)
        if len(self._opened) >= 2:
            priority: Priority = "medium" if len(self._opened) == 2 else "high"
            self.plant.raise_(
                self.alarm, priority, at_ms=mark.at_ms, opened_24h=len(self._opened),
                supply_air_C=self.plant.value("supply_air"),
            )  # fmt: skip

    def _quiet(self, since_ms: int) -> None:
        if self._opened and self._opened[-1] == since_ms:
            self.plant.clear(self.alarm)
