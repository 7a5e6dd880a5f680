"""`preheat-slow`: a climb takes much longer than this furnace's heater usually needs from the same cold."""

from __future__ import annotations

import math
import statistics
from collections import deque
from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.follow.heating import READY_K, STOPS_SHORT, Heating
from sootline.analysis.usual import MAD_TO_SD
from sootline.events import Event
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

AGAIN_MS = 300_000
REST_MS, RESTS = 180_000, 0.3  # slower than this share of its usual climb is no climb
CLIMB_K = 20.0  # a shorter climb is over before it can be timed (common practice)
NEED, KEPT, ALIKE = 5, 60, 1.5  # climbs at least, at most, and within this ratio of the height of the one in question
IN_A_ROW = 3  # chance and a single odd start do not slow as many


class PreheatSlow(Detector):
    """The owner sees: tank or nozzle heats slowly; half an element or a half-wave relay looks just like this.

    Rule: the climb under way has taken more than 1.5 x (set point - start) / usual rate + 2 min, and more than 4 sd of
    the log rates of its climbs allow (some controls heat in two stages); climbs under 20 K are not judged so. Or three
    finished climbs in a row, no refill in them, at less than 1/1.5 of the rate of five or more like them, their mean
    more than 4 standard errors below it. The usual rate [K/min] is the median of the furnace's own climbs, so a colder
    start makes a longer forecast, not an alarm. Returns after two normal preheats.
    Wrong: a refill in mid-climb (5 min and what its dip takes are added to the forecast); 1 in 5 seasons.
    Blind to: a set point that is neither given nor learned.
    """

    alarm = "preheat-slow"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._normal: dict[str, int] = {}
        self._slow: dict[str, list[float]] = {}  # by how much the last climbs were slow, all of them [log rate]
        self._known: dict[str, deque[tuple[float, float]]] = {}  # height [K] and rate [K/min] of the last normal ones
        for heating in engine.heating.values():
            heating.on_begun.append(self.begun)
        self.plant.on_event("preheat", self._done)

    def readiness(self) -> Readiness:
        counts = [heating.usual_K_per_min.count for heating in self.engine.heating.values()]
        return self.learned(max(counts), 5)

    def rate_K_per_min(self, heating: Heating) -> float | None:
        """The climb rate to expect; None while nothing is known."""
        if heating.usual_K_per_min.count >= 2:
            return heating.usual_K_per_min.median
        return None

    def begun(self, heating: Heating) -> None:
        rate, target, start = self.rate_K_per_min(heating), heating.target_C(), heating.start_ms
        if rate is None or target is None or start is None or rate <= 0 or target - heating.start_C < CLIMB_K:
            return
        if self._soaks(heating, start):
            return
        minutes = (target - READY_K - heating.start_C) / rate
        spread = math.exp(self.settings.preheat_slow_sd * heating.rate_sd())
        factor = 1 + (max(self.settings.preheat_slow_ratio, spread) - 1) * (
            self.settings.learning_factor if self._learning(heating) else 1
        )
        due_ms = start + round((factor * minutes * 60 + self.settings.preheat_slow_margin_s) * 1000)
        self.plant.at(due_ms, self._due, heating.channel, start, minutes)

    def _learning(self, heating: Heating) -> bool:
        return heating.usual_K_per_min.count < 5

    def _due(self, channel: str, start_ms: int, predicted_min: float) -> None:
        heating = self.engine.heating[channel]
        if heating.start_ms != start_ms:
            return
        refilled = self.engine.refills.last_end_ms
        mixed_ms = AGAIN_MS + round(self._reheats_min(heating) * 60_000)
        if refilled is not None and self.plant.now_ms - refilled < mixed_ms and refilled > start_ms:
            self.plant.at(refilled + mixed_ms, self._due, channel, start_ms, predicted_min)
            return
        nearest = heating.nearest_K()
        if nearest is None or nearest <= READY_K or self._rests(heating, nearest) or not heating.expected():
            return
        if self._call_over(heating, start_ms):
            self.plant.at(self.plant.now_ms + AGAIN_MS, self._due, channel, start_ms, predicted_min)
            return
        if self.plant.book.standing("preheat-stalled", channel):
            return  # worse, and said already
        self._normal[channel] = 0
        self.plant.raise_(
            self.alarm,
            "medium",
            channel=channel,
            took_min=round((self.plant.now_ms - start_ms) / 60_000, 1),
            predicted_min=round(predicted_min, 1),
            start_C=round(heating.start_C, 1),
        )

    def _reheats_min(self, heating: Heating) -> float:
        """How long the day tank takes to heat up again what a refill cools it by [min]."""
        rate, dip_K = self.rate_K_per_min(heating), self.engine.refills.usual_dip_K.median
        return dip_K / rate if heating.channel == "tank" and rate and dip_K else 0.0

    def _rests(self, heating: Heating, nearest_K: float) -> bool:
        """A thermostat set a little low holds it there: it climbs no more."""
        climb_K = (heating.target_C() or 0.0) - heating.start_C
        rate, usual = self.plant.slope_per_min(heating.channel, REST_MS), heating.usual_K_per_min.median or 0.0
        return nearest_K <= READY_K + STOPS_SHORT * climb_K and rate is not None and rate < RESTS * usual

    def _call_over(self, heating: Heating, start_ms: int) -> bool:
        """Without `call` on a furnace that heats on call: all that is heated only falls."""
        if self.plant.has("call") or self.plant.profile.furnace.heating == "keep-warm":
            return False
        others = [other for other in self.engine.heating.values() if other is not heating]
        top_ms = heating.highest_ms(start_ms)
        return heating.falls(start_ms) and not any(other.holds(top_ms) for other in others)

    def _soaks(self, heating: Heating, start_ms: int) -> bool:
        """The nozzle block may climb in the heat of a fire that has just ended, with nobody calling."""
        ended_ms, soak_ms = self.engine.fire.last_end_ms, round(self.settings.soak_s * 1000)
        just_ended = ended_ms is not None and start_ms - ended_ms < soak_ms
        return heating.channel == "nozzle" and just_ended and not self.plant.has("call")

    def _done(self, event: Event) -> None:
        channel = str(event.features["channel"])
        heating = self.engine.heating[channel]
        rate, usual = event.number("rate_K_per_min") or 0.0, heating.usual_K_per_min
        normal = usual.count < 3 or rate >= (usual.median or 0.0) / self.settings.preheat_slow_ratio
        if not self._refilled(event) and not self._soaks(heating, event.start_ms):
            self._count(heating, event)
        if normal and self.plant.learns(event.start_ms, event.end_ms):
            usual.add(rate)
            heating.usual_end_C.add(event.number("end_C") or 0.0)
        if self.plant.book.standing(self.alarm, channel) is None:
            return
        self._normal[channel] = self._normal.get(channel, 0) + 1 if normal else 0
        if self._normal[channel] >= 2:
            self.plant.clear(self.alarm, channel)

    def _refilled(self, event: Event) -> bool:
        """Cold oil came in the climb, or was still mixing in when it began."""
        refilled = self.engine.refills.last_end_ms
        return refilled is not None and refilled > event.start_ms - AGAIN_MS

    def _count(self, heating: Heating, event: Event) -> None:
        """How many climbs have been slow in a row; too short ones to judge alone tell it together.

        Heat needs a while to reach the probe, and that weighs more in a short climb: like is compared with like.
        """
        slow, known = (
            self._slow.setdefault(heating.channel, []),
            self._known.setdefault(heating.channel, deque(maxlen=KEPT)),
        )
        rate, height_K = event.number("rate_K_per_min") or 0.0, (event.number("end_C") or 0.0) - heating.start_C
        similar = [math.log(other) for other_K, other in known if height_K / ALIKE <= other_K <= height_K * ALIKE]
        middle = statistics.median(similar) if similar else 0.0
        shortfall = middle - math.log(rate) if rate > 0 else math.inf
        if len(similar) < NEED or shortfall <= math.log(self.settings.preheat_slow_ratio):
            slow.clear()
            known.append((height_K, rate))
            return
        slow.append(shortfall)
        error = MAD_TO_SD * statistics.median(abs(other - middle) for other in similar) / math.sqrt(len(slow))
        plain = len(slow) >= IN_A_ROW and statistics.fmean(slow) > self.settings.preheat_slow_sd * error
        if plain and not self.plant.book.standing("preheat-stalled", heating.channel):
            self._normal[heating.channel] = 0
            self.plant.raise_(
                self.alarm,
                "medium",
                channel=heating.channel,
                took_min=round(event.duration_s / 60, 1),
                predicted_min=round(event.duration_s / 60 / math.exp(shortfall), 1),
                start_C=round(heating.start_C, 1),
            )
