"""Runs of the refill pump, timed by the board's own sum where it sends one."""

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from sootline.analysis.marks import Mark
from sootline.analysis.plant import Plant
from sootline.analysis.sampling import Sampling

LOST = 1.5  # sample intervals


@dataclass(frozen=True, slots=True)
class Run:
    """One pump run. known: False where a silence or lost rows hide when it ended (on_s is then the least it can have
    been, and end_ms the latest that it can have ended). seen_s: how long after its start it was last read as on [s]."""

    start_ms: int
    end_ms: int
    on_s: float
    known: bool
    seen_s: float = 0.0


class Pump:
    """Follows `pump`. `start_ms` is the start of the run under way, None while the pump rests."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.start_ms: int | None = None
        self.on_started: list[Callable[[int], None]] = []
        self.on_ended: list[Callable[[Run], None]] = []
        self._start_sum = math.nan
        self._recent_s: deque[float] = deque(maxlen=8)
        self._resolution_s: float | None = None  # to be worked out anew
        self._resolved_at_s = 0.0
        plant.on("pump", self._changed)

    @property
    def resolution_s(self) -> float:
        """How well runs are timed [s]: 0.2 where the moments of change are reported, else the sample interval.

        A table sampled on a fixed grid shows only whole multiples of its interval.
        """
        interval = self.plant.sampling.interval_s
        if self._resolution_s is None or self._resolved_at_s != interval:
            on_grid = self._on_grid(interval) and len(self._recent_s) >= 3
            self._resolution_s = interval if on_grid else 0.2
            self._resolved_at_s = interval
        return self._resolution_s

    @property
    def slack_s(self) -> float:
        """By how much longer than it was a run may seem [s]; long intervals mean a fixed grid until runs deny it."""
        if self.resolution_s > 1.0:
            return self.resolution_s
        interval = self.plant.sampling.interval_s
        told = len(self._recent_s) >= 3 or not self._on_grid(interval)
        return 0.0 if told or interval <= Sampling().interval_s else interval

    def _on_grid(self, interval_s: float) -> bool:
        return all(abs(s / interval_s - round(s / interval_s)) < 0.01 for s in self._recent_s)

    def _changed(self, mark: Mark) -> None:
        if mark.on:
            if self.start_ms is None:
                self.start_ms, self._start_sum = mark.at_ms, mark.on_s
                for started in self.on_started:
                    started(mark.at_ms)
            return
        if self.start_ms is None:
            return
        summed_s = mark.on_s - self._start_sum
        stamped_s = (mark.at_ms - self.start_ms) / 1000
        # the sum is the better clock, but only where it agrees that this was one run
        on_s = summed_s if abs(summed_s - stamped_s) < max(2.0, 0.5 * stamped_s) and summed_s >= 0 else stamped_s
        known = mark.on is not None
        seen_s = self._seen_s(mark.at_ms) if math.isnan(summed_s) else on_s
        if known and seen_s < stamped_s - self._lost_s() and math.isnan(summed_s):
            on_s, known = seen_s, False
        run = Run(self.start_ms, mark.at_ms, on_s, known, seen_s)
        self.start_ms = None
        if run.known:
            self._recent_s.append(on_s)
            self._resolution_s = None
        for ended in self.on_ended:
            ended(run)

    def _seen_s(self, end_ms: int) -> float:
        """How long after its start the run under way was last seen on [s]."""
        assert self.start_ms is not None
        t, x = self.plant.history.window("pump", self.start_ms, end_ms)
        on = t[x > 0.5]
        return (int(on[-1]) - self.start_ms) / 1000 if len(on) else 0.0

    def _lost_s(self) -> float:
        """Farther apart than this, a row was lost between two: perhaps the one that told the change [s]."""
        return LOST * self.plant.sampling.interval_s

    def seen_on(self, start_ms: int, after_s: float) -> bool | None:
        """Whether this run was still seen on after_s seconds after its start; None: not yet, but it may be."""
        if self.start_ms != start_ms or not self.plant.state("pump"):
            return False
        return True if self._seen_s(self.plant.now_ms) >= after_s else None
