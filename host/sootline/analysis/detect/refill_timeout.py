"""`refill-timeout`: the refill pump ran to its limit and the day tank is not full. A countdown, not an event."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sootline.alarms import Priority
from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.pump import Run
from sootline.analysis.marks import Mark
from sootline.events import Event
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

USABLE_SHARE = 0.4  # of the day tank's volume is left above the heater when the float calls (common practice)
LOOK_MS = 120_000  # after a run at the limit: looked at this often
DUE_RATIOS = 1.15, 1.4  # burned this share of the usual: at least and at most
DUE_SD = 4.0
LONG_RATIO, ALMOST = 1.3, 0.95
LOW_RATIO = 1.5  # burned this share of the usual: half a differential below where the float calls (common practice)
RAN_LOW_SHARE = 0.6  # of the fire left: from then on a starving fire is the refill's doing
FREEZE_SOON_MIN = 30.0


class RefillTimeout(Detector):
    """The owner sees: refill stalled, and about how many minutes of fire are left.

    Rule: a run ended by the limiter (within 0.5 s of it, or as well as runs are timed) and the tank is not full:
    `float` still calls, or `refill_lockout` is on, or the usual run is below 80 % of the limit, or the tank shows no
    dip [K] (below 35 % of the usual one), or no other run came when the usual and 4 of its sd (at least 1.15 x, at most
    1.4 x) had burned, whichever is first.
    Fire left [min] = usable oil / oil burned a minute; the oil burned is one differential per usual interval. Where the
    profile does not tell the day tank's size, it has run low once 1.5 x the usual has burned.
    Wrong: a single refill of very cold oil that just reached the limit yet filled the tank; below 1 a season.
    Blind to: a limit neither given nor learned yet.
    """

    alarm = "refill-timeout"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._filled_ms = 0
        self._starving_since: int | None = None
        engine.pump.on_ended.append(self._ended)
        self.plant.on("refill_lockout", self._lockout)
        self.plant.on_event("refill", self._measured)

    def readiness(self) -> Readiness:
        if self.engine.refills.limit_s is None:
            return self.blind("refill.limit_s")
        return self.learned(self.engine.refills.usual_on_s.count, 10)

    def _ended(self, run: Run) -> None:
        if not run.known:
            self._ended_unseen(run)
            return
        if run.on_s < self.settings.chatter_run_s:
            return
        if not self.engine.refills.at_limit(run.on_s):
            self._filled_ms = run.end_ms
            if self.plant.state("refill_lockout") is not True:
                self._clear(run.end_ms)
            if self._may_be_limit(run):
                self.plant.at(run.end_ms + LOOK_MS, self._next_due, run, False)
            return
        calls = self.plant.state("float")
        told = calls is None and self._usually_short() and self._surely_long(run)
        if calls or self.plant.state("refill_lockout") or told:
            self._raise(run.end_ms, run.on_s, None)
        else:
            self.plant.at(run.end_ms + LOOK_MS, self._next_due, run, True)

    def _ended_unseen(self, run: Run) -> None:
        """It may have run to its limit: the float, the limiter or the next refill tell."""
        limit, longest_s = self.engine.refills.limit_s, (run.end_ms - run.start_ms) / 1000
        if limit is None or longest_s < limit - self.settings.limit_tolerance_s:
            return
        if self.plant.state("float") or self.plant.state("refill_lockout"):
            self._raise(run.end_ms, None, None)
        else:
            self.plant.at(run.end_ms + LOOK_MS, self._next_due, run, False)

    def _next_due(self, run: Run, at_limit: bool) -> None:
        """A run that ended at the limit, and no other when the fire had burned for one: it did not fill the tank.

        at_limit: it surely did; that it may have is no reason to be early
        """
        refills = self.engine.refills
        if refills.last_end_ms != run.end_ms or self.engine.pump.start_ms is not None:
            return
        burned, usual = refills.burned_since_last_s(), refills.usual_burned_s
        usual_s = usual.median or 0.0
        least, most = (ratio * usual_s for ratio in DUE_RATIOS)
        due_s = min(most, max(least, usual_s + DUE_SD * (usual.sd or 0.0))) if at_limit else most
        if usual.count >= 5 and burned is not None and burned > due_s:
            self._raise(run.end_ms, run.on_s if run.known else None, None)
        elif self.plant.now_ms - run.end_ms < 86_400_000:
            self.plant.at(self.plant.now_ms + LOOK_MS, self._next_due, run, at_limit)

    def _may_be_limit(self, run: Run) -> bool:
        """Samples time it to an interval only, and the limit lies within."""
        limit, resolution_s = self.engine.refills.limit_s, self.engine.pump.resolution_s
        return resolution_s > 1.0 and limit is not None and run.on_s >= limit - resolution_s

    def _surely_long(self, run: Run) -> bool:
        """It was still read as on past every usual run; or its end has a row of its own, between two samples."""
        usual, interval_s = self.engine.refills.usual_on_s.median or 0.0, self.plant.sampling.interval_s
        return run.seen_s > LONG_RATIO * usual or run.on_s - run.seen_s < ALMOST * interval_s

    def _usually_short(self) -> bool:
        limit, usual = self.engine.refills.limit_s, self.engine.refills.usual_on_s
        short = self.settings.usual_run_ratio
        return limit is not None and usual.count >= 5 and usual.median is not None and usual.median < short * limit

    def _lockout(self, mark: Mark) -> None:
        if mark.on:
            self._raise(mark.at_ms, None, None)

    def _measured(self, event: Event) -> None:
        """The dip is known now: it may show that no oil came, or that it did."""
        if not event.features["stalled"] or event.end_ms < self._filled_ms:
            return
        dip, usual = event.number("dip_K"), self.engine.refills.usual_dip_K
        seen = usual.count >= 5 and usual.median is not None and usual.median > 2 * self.settings.dip_noise_K
        if dip is not None and seen and dip < self.settings.dip_small_ratio * (usual.median or 0.0):
            self._raise(event.end_ms, event.number("on_time_s"), dip)
        elif (entry := self.plant.book.standing(self.alarm)) is not None and dip is not None:
            entry.detail["dip_K"] = round(dip, 2)

    def _raise(self, at_ms: int, on_s: float | None, dip_K: float | None) -> None:
        detail: dict[str, Any] = {"limit_s": self.engine.refills.limit_s}
        usual = self.engine.refills
        for key, value in (
            ("on_time_s", on_s),
            ("usual_on_time_s", usual.usual_on_s.median),
            ("dip_K", dip_K),
            ("usual_dip_K", usual.usual_dip_K.median),
            ("fire_left_min", self._fire_left_min()),
        ):
            if value is not None:
                detail[key] = round(value, 2)
        left = detail.get("fire_left_min")
        self.plant.raise_(self.alarm, self.capped(self._priority(left)), at_ms=at_ms, **detail)
        if left is not None:
            self.plant.at(at_ms + round(RAN_LOW_SHARE * left * 60_000), self._ran_low, at_ms)
        elif self._starving_since != at_ms:
            self._starving_since = at_ms
            self.plant.at(at_ms + LOOK_MS, self._starves, at_ms)

    def _priority(self, fire_left_min: float | None) -> Priority:
        room, freeze = self.plant.value("room"), self.plant.profile.room.freeze_C
        cold = room is not None and freeze is not None and room < freeze + 3.0
        return "critical" if cold and fire_left_min is not None and fire_left_min < FREEZE_SOON_MIN else "high"

    def _fire_left_min(self) -> float | None:
        profile, usual = self.plant.profile, self.engine.refills.usual_burned_s.median
        if profile.tank.volume_l is None or profile.refill.differential_l is None or usual is None:
            return None
        litres_per_min = profile.refill.differential_l / (usual / 60)
        return USABLE_SHARE * profile.tank.volume_l / litres_per_min

    def _starves(self, raised_ms: int) -> None:
        """Nobody knows how much oil was left: has so much burned that little can be?"""
        entry, usual = self.plant.book.standing(self.alarm), self.engine.refills.usual_burned_s.median
        if entry is None or self._starving_since != raised_ms or usual is None:
            return
        if (self.engine.refills.burned_since_last_s() or 0.0) > LOW_RATIO * usual:
            self._ran_low(entry.raised_ms)
        else:
            self.plant.at(self.plant.now_ms + LOOK_MS, self._starves, raised_ms)

    def _ran_low(self, raised_ms: int) -> None:
        entry = self.plant.book.standing(self.alarm)
        if entry is not None and entry.raised_ms == raised_ms:
            self.plant.low_until_ms = 2**62
            self.plant.book.review(self.plant.now_ms)

    def _clear(self, at_ms: int) -> None:
        if self.plant.tank_low():  # what it starved needs a while to recover
            self.plant.low_until_ms = self.plant.now_ms + round(self.settings.prove_s * 1000)
        self.plant.clear(self.alarm, at_ms=at_ms)
