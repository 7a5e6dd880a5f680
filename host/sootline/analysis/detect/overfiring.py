"""`overfiring`: more heat goes in than the furnace is rated for."""

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


class Overfiring(Detector):
    """The owner sees: burning over the rating; usually the wrong nozzle.

    Rule: input [kW] = differential [l] x 10.684 kWh/l / median burning time between refills [h], over the last 2
    burning hours (the median leaves out what leaks or tops up while nothing burns), above
    110 % of the rating by more than two standard errors of the count. Gone below 105 %.
    Source: contract; heating value 0.138 mmBtu/gal, used oil, 40 CFR 98 Table C-1.
    Wrong: a differential measured 10 % too large; otherwise 1 in 5 seasons.
    Blind to: without `refill.differential_l` and `furnace.rated_input_kW`.
    """

    alarm = "overfiring"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._intervals: deque[float] = deque()
        self.plant.on_event("refill", self._refilled)
        self.plant.on_log(self._logged)

    def readiness(self) -> Readiness:
        if self.plant.profile.furnace.rated_input_kW is None:
            return self.blind("furnace.rated_input_kW")
        if self.plant.profile.refill.differential_l is None:
            return self.blind("refill.differential_l")
        return super().readiness()

    def _logged(self, entry: LogEntry) -> None:
        if entry.kind == "nozzle":
            self._intervals.clear()

    def _refilled(self, event: Event) -> None:
        rated, litres = self.plant.profile.furnace.rated_input_kW, self.plant.profile.refill.differential_l
        burned = event.number("burned_s")
        if rated is None or litres is None or burned is None or event.features["stalled"]:
            return
        self._intervals.append(burned)
        window_s = self.settings.overfire_hours * 3600
        total_s = sum(self._intervals)
        while total_s - self._intervals[0] >= window_s:
            total_s -= self._intervals.popleft()
        n = len(self._intervals)
        if total_s < window_s or n < 3:
            return
        usual_s = statistics.median(self._intervals)
        if usual_s <= 0:
            return  # nothing burns between refills: that is `refill-without-burning`
        input_kW = litres * self.settings.heat_kWh_per_l / (usual_s / 3600)
        if input_kW / rated < self.settings.overfire_back_ratio:
            self.plant.clear(self.alarm, at_ms=event.end_ms)
            return
        sd_s = MAD_TO_SD * statistics.median(abs(x - usual_s) for x in self._intervals)
        se = 1.25 * sd_s / n**0.5 / usual_s  # of a median, normal scatter
        if input_kW / rated > self.settings.overfire_ratio + 2 * se:
            self.plant.raise_(
                self.alarm, "medium", at_ms=event.end_ms, input_kW=round(input_kW, 1), rated_kW=rated,
                input_ratio=round(input_kW / rated, 3),
            )  # fmt: skip
