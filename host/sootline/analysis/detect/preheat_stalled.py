"""`preheat-stalled`: the oil should be heating and is not."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.heating import COLD_K, READY_K, STOPS_SHORT, Heating
from sootline.events import Event

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

CHECK_MS, WINDOW_MS = 150_000, 300_000
DEAD_MS = 180_000  # from heater to probe (common practice)
RECENT_MS = 120_000


class PreheatStalled(Detector):
    """The owner sees: heating has stopped short, at so many degrees.

    Rule: |rate| < 0.1 K/min (or falling) over 5 min and more than 3 K + 5 % of the climb + 3 sd of what its
    control usually holds under the set point with the heater expected on
    (its drive, the call, or the keep-warm rule), looked at every 2.5 min while a climb is under way or kept warm.
    The rate is the least-squares slope of the window, and of its last 2 min; heat has 3 min to reach the probe first.
    Wrong: a thermostat set lower than the profile says; the set point in the profile is then wrong. 1 in 2 seasons.
    Blind to: a heater that is expected on but cannot be known to be (no call, no drive, heats only on call).
    """

    alarm = "preheat-stalled"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self.plant.on_event("preheat", self._done)
        for heating in engine.heating.values():
            heating.on_begun.append(self.begun)

    def begun(self, heating: Heating) -> None:
        if heating.start_ms is not None:
            self.plant.at(heating.start_ms + WINDOW_MS + DEAD_MS, self._check, heating.channel, heating.start_ms)

    def _check(self, channel: str, start_ms: int) -> None:
        heating = self.engine.heating[channel]
        if heating.start_ms != start_ms:
            if self.plant.book.standing(self.alarm, channel) and heating.start_ms is None:
                self.plant.clear(self.alarm, channel)
            return
        self.plant.at(self.plant.now_ms + CHECK_MS, self._check, channel, start_ms)
        refilled = self.engine.refills.last_end_ms
        if heating.expected() and (refilled is None or self.plant.now_ms - refilled >= 2 * WINDOW_MS):
            self._judge(heating)

    def _judge(self, heating: Heating) -> None:
        channel, target, now = heating.channel, heating.target_C(), self.plant.now_ms
        x = self.plant.history.window(channel, now - WINDOW_MS, now)[1]
        if target is None or not len(x):
            return
        missing = target - float(x.max())  # a thermostat that swings has been nearer within the window
        plainly_K = 2 * self.settings.stalled_K_per_min * WINDOW_MS / 60_000
        if missing <= self._allowed_K(heating, target) or x[-1] - x[0] > plainly_K:
            return
        rate, recent = self.plant.slope_per_min(channel, WINDOW_MS), self.plant.slope_per_min(channel, RECENT_MS)
        if rate is None or recent is None or max(rate, recent) >= self.settings.stalled_K_per_min:
            return
        if self._nobody_asked(heating, min(rate, recent), float(x[-1])):
            return
        self.plant.raise_(
            self.alarm, self.capped("high"), channel=channel, rate_K_per_min=round(rate, 3),
            oil_C=round(float(x[-1]), 1), missing_K=round(missing, 1),
        )  # fmt: skip

    def _allowed_K(self, heating: Heating, target_C: float) -> float:
        """How far under its set point it may rest: 3 K, 5 % of the climb for the thermostat, and the usual scatter."""
        allowed = self.settings.stalled_under_K + STOPS_SHORT * max(target_C - heating.start_C, 0.0)
        if heating.held_C.count < 5:
            return self.settings.learning_factor * allowed
        return allowed + 3 * (heating.held_C.sd or 0.0)

    def _nobody_asked(self, heating: Heating, rate_K_per_min: float, now_C: float) -> bool:
        """It may rest because nothing is to be heated, and nothing here tells otherwise.

        On call without `call`: it has not heated yet, or falls as after the call's end. Kept warm without its drive:
        the service switch may be off. What is heated beside it and holds its own set point tells otherwise.
        """
        if self.plant.has(f"{heating.channel}_heater") or self.plant.state("call"):
            return False
        others = [other for other in self.engine.heating.values() if other is not heating]
        if any(other.holds(heating.highest_ms(heating.start_ms or 0)) for other in others):
            return False
        if self.plant.profile.furnace.heating == "keep-warm":
            return not any(self._climbs(other) for other in others)
        if self.plant.has("call"):
            return False
        return now_C < heating.start_C + COLD_K or rate_K_per_min < -self.settings.stalled_K_per_min

    def _climbs(self, heating: Heating) -> bool:
        rate = self.plant.slope_per_min(heating.channel, WINDOW_MS)
        return rate is not None and rate > self.settings.stalled_K_per_min

    def _done(self, event: Event) -> None:
        end, channel = event.number("end_C"), str(event.features["channel"])
        target = self.engine.heating[channel].target_C()
        if end is not None and (target is None or end >= target - READY_K):
            self.plant.clear(self.alarm, channel)
