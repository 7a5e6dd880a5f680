"""`ignition-delayed`: the flame comes later than it used to."""

from __future__ import annotations

import statistics
from collections import deque
from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.usual import MAD_TO_SD
from sootline.events import Event
from sootline.now import Readiness
from sootline.profile import LogEntry

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

MEAN_TO_SD = 1.2533  # of a normal distribution
NEED, MEAN_OF, BELOW = 20, 5, 10


class IgnitionDelayed(Detector):
    """The owner sees: it lights late, by so many seconds; electrodes, nozzle or cold oil.

    Rule: mean of the last 5 times from burner on to flame above the median of the furnace's first 20 (re-opened by an
    electrodes, nozzle, batch or repair entry) by > 3 s and > 4 sd. Returns below 2/3 of that for 10. Source: contract.
    Wrong: with sd of single times s the mean of 5 has s/2.24, so 4 s is 9 of its sd: practically never from scatter; a
    cold batch without an entry 1 in 3 seasons.
    Blind to: puffs below half a second; needs `burner` or `flame`.
    """

    alarm = "ignition-delayed"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._restart()
        self.plant.on_event("firing", self._fired, learns=True)
        self.plant.on_log(self._logged)

    def _restart(self) -> None:
        self.first: list[float] = []
        self.recent: deque[float] = deque(maxlen=MEAN_OF)
        self.below = 0

    def readiness(self) -> Readiness:
        if not self.plant.has("burner"):
            return self.blind("burner")
        return self.learned(len(self.first), NEED)

    def _logged(self, entry: LogEntry) -> None:
        if entry.kind in ("electrodes", "nozzle", "batch", "repair", "service"):
            self.plant.clear(self.alarm, at_ms=entry.at_ms)
            self._restart()

    def _sd(self, usual_s: float) -> float:
        """Of single times [s]; not the median deviation alone, for times on a coarse grid are mostly the same one."""
        off = sorted(abs(value - usual_s) for value in self.first)
        interval_s = self.plant.sampling.interval_s
        on_grid = all(abs(s / interval_s - round(s / interval_s)) < 0.01 for s in self.first)
        coarse = on_grid or not self.plant.has("flame")  # the stack, or samples only, tell it to an interval
        least = (interval_s / 6**0.5) if coarse else 0.0  # of the difference of two moments known to an interval
        return max(MAD_TO_SD * statistics.median(off), MEAN_TO_SD * statistics.fmean(off[:-2]), least)

    def _fired(self, event: Event) -> None:
        seconds = event.number("time_to_flame_s")
        if seconds is None:
            return
        if len(self.first) < NEED:
            self.first.append(seconds)
            return
        self.recent.append(seconds)
        if len(self.recent) < MEAN_OF:
            return
        usual = statistics.median(self.first)
        sd = self._sd(usual)
        late = statistics.fmean(self.recent) - usual
        limit = max(self.settings.delayed_s, self.settings.delayed_sd * sd)
        if late > limit:
            self.below = 0
            self.plant.raise_(
                self.alarm,
                "medium",
                late_s=round(late, 1),
                usual_s=round(usual, 1),
                nozzle_C=event.number("nozzle_end"),
            )
        elif late < limit * 2 / 3:
            self.below += 1
            if self.below >= BELOW:
                self.plant.clear(self.alarm)
