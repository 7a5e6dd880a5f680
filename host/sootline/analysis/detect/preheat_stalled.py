"""`preheat-stalled`: the oil should be heating and is not."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.heating import READY_K, Heating
from sootline.events import Event

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

CHECK_MS = 150_000
STOPS_SHORT = 0.05  # of a climb: thermostats are marked no better (common practice)


class PreheatStalled(Detector):
    """The owner sees: heating has stopped short, at so many degrees.

    Rule: |rate| < 0.1 K/min (or falling) over 5 min and more than 3 K + 5 % of the climb + 3 sd of what its
    control usually holds under the set point with the heater expected on
    (its drive, the call, or the keep-warm rule), looked at every 2.5 min while a climb is under way or kept warm.
    The rate is the least-squares slope of the window.
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
            self.plant.at(heating.start_ms + 2 * CHECK_MS, self._check, heating.channel, heating.start_ms)

    def _check(self, channel: str, start_ms: int) -> None:
        heating = self.engine.heating[channel]
        if heating.start_ms != start_ms:
            if self.plant.book.standing(self.alarm, channel) and heating.start_ms is None:
                self.plant.clear(self.alarm, channel)
            return
        self.plant.at(self.plant.now_ms + CHECK_MS, self._check, channel, start_ms)
        missing = heating.missing_K()
        allowed = self.settings.stalled_under_K * (
            1 if heating.held_C.count >= 5 else self.settings.learning_factor * 2
        )
        if missing is None or missing <= allowed or not heating.expected():
            return
        refilled = self.engine.refills.last_end_ms
        if refilled is not None and self.plant.now_ms - refilled < 600_000:
            return
        now, window_ms = self.plant.now_ms, round(self.settings.stalled_window_s * 1000)
        then, value = self.plant.history.at(channel, now - window_ms), self.plant.value(channel)
        if (
            then is not None
            and value is not None
            and value - then > 2 * self.settings.stalled_K_per_min * window_ms / 60_000
        ):
            return  # plainly climbing
        rate = self.plant.slope_per_min(channel, window_ms)
        if rate is not None and not self.plant.has("call") and heating.start_C + 8.0 > (value or 0.0):
            return  # nothing says that heat was wanted, and nothing has heated yet
        falling = rate is not None and rate < -self.settings.stalled_K_per_min
        if falling and not self.plant.has("call") and self.plant.profile.furnace.heating != "keep-warm":
            return  # as after the end of a call that nobody reports
        if rate is not None and rate < self.settings.stalled_K_per_min:
            self.plant.raise_(
                self.alarm, self.capped("high"), channel=channel, rate_K_per_min=round(rate, 3),
                oil_C=self.plant.value(channel), missing_K=round(missing, 1),
            )  # fmt: skip

    def _allowed_K(self, heating: Heating) -> float:
        """How far under its set point it may rest: 3 K, 5 % of the climb for the thermostat, and the usual scatter."""
        climb = max((heating.target_C() or 0.0) - heating.start_C, 0.0)
        allowed = self.settings.stalled_under_K + STOPS_SHORT * climb
        if heating.held_C.count < 5:
            return self.settings.learning_factor * allowed
        return allowed + 3 * (heating.held_C.sd or 0.0)

    def _done(self, event: Event) -> None:
        end, channel = event.number("end_C"), str(event.features["channel"])
        target = self.engine.heating[channel].target_C()
        if end is not None and (target is None or end >= target - READY_K):
            self.plant.clear(self.alarm, channel)
