"""`oil-use-high`: more oil per burning hour than this furnace usually needs, by counting refills."""

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

REOPENS = ("nozzle", "batch", "setpoint", "repair")


class OilUseHigh(Detector):
    """The owner sees: more oil per hour of fire; a leak, float chatter or overfiring.

    Rule: one refill is one float differential, so use per burning hour is the inverse of the burning time between
    refills. Use over the last 10 burning hours above the baseline (the first 10 burning hours since the last entry that
    changes it) by > 15 % and > 4 standard deviations of the mean. Never from pump seconds: a plugging filter is no use.
    Returns below 2/3 of that for 10 burning hours. Source: contract.
    Wrong: a firing rate turned up without a log entry (true, but no fault); 1 in 3 seasons.
    Blind to: a leak below one sixth of what burns.
    """

    alarm = "oil-use-high"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._restart()
        self.plant.on_event("refill", self._refilled, learns=True)
        self.plant.on_log(self._logged)

    def _restart(self) -> None:
        self.first: list[float] = []
        self.usual_s: float | None = None
        self.sd_s = 0.0
        self.recent: deque[float] = deque()
        self.recent_s = 0.0
        self.below_s = 0.0

    def readiness(self) -> Readiness:
        need = round(self.settings.use_hours)
        have = need if self.usual_s is not None else min(need - 1, int(sum(self.first) / 3600))
        return self.learned(have, need)

    def _logged(self, entry: LogEntry) -> None:
        if entry.kind in REOPENS:
            self.plant.clear(self.alarm, at_ms=entry.at_ms)
            self._restart()

    def _refilled(self, event: Event) -> None:
        burned = event.number("burned_s")
        if burned is None or event.features["stalled"]:
            return
        window_s = self.settings.use_hours * 3600
        if self.usual_s is None:
            self.first.append(burned)
            if sum(self.first) >= window_s and len(self.first) >= 10:
                self._learn()
            return
        self.recent.append(burned)
        self.recent_s += burned
        while self.recent_s - self.recent[0] >= window_s:
            self.recent_s -= self.recent.popleft()
        if self.recent_s >= window_s:
            self._judge(event.end_ms, burned)

    def _learn(self) -> None:
        middle = statistics.median(self.first)
        self.sd_s = MAD_TO_SD * statistics.median(abs(value - middle) for value in self.first)
        normal = [value for value in self.first if abs(value - middle) <= max(4 * self.sd_s, 0.5 * middle)]
        self.usual_s = statistics.fmean(normal)

    def _judge(self, now_ms: int, burned_s: float) -> None:
        assert self.usual_s is not None
        n = len(self.recent)
        ratio = self.usual_s / (self.recent_s / n)
        scatter = self.settings.use_sd * self.sd_s / self.usual_s * (1 / n + 1 / max(len(self.first), 1)) ** 0.5
        limit = max(self.settings.use_ratio, scatter)
        if ratio - 1 > limit:
            self.below_s = 0.0
            self.plant.raise_(
                self.alarm, "medium", at_ms=now_ms, use_ratio=round(ratio, 3), burned_h=round(self.recent_s / 3600, 1)
            )
        elif ratio - 1 < limit * 2 / 3:
            self.below_s += burned_s
            if self.below_s >= self.settings.use_hours * 3600:
                self.plant.clear(self.alarm, at_ms=now_ms)
