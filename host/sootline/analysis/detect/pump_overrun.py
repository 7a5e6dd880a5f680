"""`pump-overrun`: the refill pump runs on when limiter or float should have stopped it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.pump import Run
from sootline.analysis.marks import Mark

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

AGAIN_MS = 1000
USUAL_RATIO, USUAL_NEED = 4 / 3, 5
LIMIT, FULL = "past its limit", "float says full"


class PumpOverrun(Detector):
    """The owner sees: the refill pump will not stop, oil may be spilling.

    Rule: on for more than limit + max(2 s, 10 %) [s]; or on for more than 2 s after `float` stopped calling; or
    `high_level` while it runs or just after. The limit is the profile's or the learned one; without either, 20 s + 50 %
    (common practice). A float may bounce: after it the run must also be longer than the usual one by 2 s and a third.
    It must have been read as on after that time: a row that tells the end may be lost.
    Wrong: a lost edge on a board that reports neither moments of change nor sums; below 1 in 10 seasons.
    Blind to: oil that comes by siphon with the pump at rest (`high_level` and `leak` see that).
    """

    alarm = "pump-overrun"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._full_s: float | None = None  # how far into the run under way it should have stopped, for the float is up
        engine.pump.on_started.append(self._started)
        engine.pump.on_ended.append(self._ended)
        self.plant.on("float", self._float)
        self.plant.on("high_level", self._high_level)

    def _allowed_s(self) -> float:
        limit = self.engine.refills.limit_s
        if limit is None:
            return self.settings.limit_s * 1.5
        return limit + max(self.settings.overrun_margin_s, self.settings.overrun_margin_ratio * limit)

    def _started(self, start_ms: int) -> None:
        self._full_s = None
        allowed_s = self._allowed_s() + self.engine.pump.slack_s
        self.plant.at(start_ms + round(allowed_s * 1000), self._check, start_ms, allowed_s, LIMIT)

    def _check(self, start_ms: int, after_s: float, reason: str) -> None:
        seen = self.engine.pump.seen_on(start_ms, after_s)
        if reason == FULL and self.plant.state("float") is not False:
            return
        if seen:
            self._raise(start_ms, after_s, reason, (self.plant.now_ms - start_ms) / 1000)
        elif seen is None:
            self.plant.at(self.plant.now_ms + AGAIN_MS, self._check, start_ms, after_s, reason)

    def _raise(self, start_ms: int, after_s: float, reason: str, on_s: float) -> None:
        at_ms = start_ms + round(after_s * 1000)
        self.plant.raise_(self.alarm, "critical", at_ms, reason=reason, on_time_s=on_s, limit_s=self._limit())

    def _limit(self) -> float:
        return self.engine.refills.limit_s or self.settings.limit_s

    def _float(self, mark: Mark) -> None:
        start_ms, usual = self.engine.pump.start_ms, self.engine.refills.usual_on_s
        if mark.on is False and start_ms is not None:
            usual_s = USUAL_RATIO * (usual.median or 0.0) if usual.count >= USUAL_NEED else 0.0
            over_s = self.settings.overrun_float_s + self.engine.pump.slack_s
            self._full_s = max((mark.at_ms - start_ms) / 1000, usual_s) + over_s
            self.plant.at(start_ms + round(1000 * self._full_s), self._check, start_ms, self._full_s, FULL)
        elif mark.on:
            self._full_s = None

    def _high_level(self, mark: Mark) -> None:
        if mark.on:
            self.plant.raise_(self.alarm, "critical", at_ms=mark.at_ms, reason="day tank above full")
        elif mark.on is False and self.engine.pump.start_ms is None:
            self.plant.clear(self.alarm, at_ms=mark.at_ms)

    def _ended(self, run: Run) -> None:
        allowed_s = self._allowed_s() + self.engine.pump.slack_s
        if run.known and run.on_s > allowed_s:
            self._raise(run.start_ms, allowed_s, LIMIT, run.on_s)
        elif run.known and self._full_s is not None and run.on_s > self._full_s:
            self._raise(run.start_ms, self._full_s, FULL, run.on_s)
        entry = self.plant.book.standing(self.alarm)
        if entry is not None and run.known and self.plant.state("high_level") is not True:
            entry.detail["on_time_s"] = run.on_s
            self.plant.clear(self.alarm, at_ms=run.end_ms)
