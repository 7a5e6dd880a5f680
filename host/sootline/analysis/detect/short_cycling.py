"""`short-cycling`: many short firings; soot and wear."""

from __future__ import annotations

import statistics
from collections import deque
from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.events import Event

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

SPAN, HOUR_MS = 6, 3_600_000


class ShortCycling(Detector):
    """The owner sees: it starts too often for too short.

    Rule: mean of the last 6 firings under 3 min, or more than 5 starts in an hour. Returns after 6 normal firings.
    Source: contract. Wrong: an oversize furnace on a mild day (true, and worth knowing); 1 a season.
    Blind to: firings too short for the stack to show, on a board without `burner`.
    """

    alarm = "short-cycling"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._firings: deque[Event] = deque(maxlen=SPAN)
        self._normal = 0
        self.plant.on_event("firing", self._fired)

    def _fired(self, event: Event) -> None:
        if not self.engine.fire.trusted():
            self._firings.clear()
            return
        self._firings.append(event)
        if len(self._firings) < SPAN:
            return
        span_ms = event.end_ms - self._firings[0].start_ms
        mean_s = statistics.fmean(firing.duration_s for firing in self._firings)
        often = event.start_ms - self._firings[0].start_ms < HOUR_MS
        if (mean_s < self.settings.cycling_s and span_ms < 6 * HOUR_MS) or often:
            self._normal = 0
            self.plant.raise_(self.alarm, "low", mean_firing_s=round(mean_s), span_min=round(span_ms / 60_000))
        elif event.duration_s >= self.settings.cycling_s:
            self._normal += 1
            if self._normal >= SPAN:
                self.plant.clear(self.alarm)
