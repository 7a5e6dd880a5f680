"""`freeze-risk`: the room will reach its freezing limit before anyone is likely to be there."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.alarms import iso
from sootline.analysis.detect.base import Detector
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

LOOK_MS = 600_000
NEAR_K = 1.0
UNANSWERED_MS = 2_100_000


class FreezeRisk(Detector):
    """The owner sees: the room now, and when it reaches the limit if nothing is done.

    Rule, looked at every 10 min: room at or below the limit; or within 8 K of it and falling (least squares over
    60 min) such that it reaches the limit within 4 h, and the furnace is not answering: call on for 35 min or 1.5 x the
    usual wait without fire (without `call`: no fire for 105 min).
    A room that falls at night until its thermostat calls is not at risk. Returns 1 K above with the fall ended.
    Source: contract; 4 h is common practice for getting there.
    Wrong: a door left open on a cold day; 1 a season.
    Blind to: without `room` and `room.freeze_C`.
    """

    alarm = "freeze-risk"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        if self.plant.profile.room.freeze_C is not None:
            engine.every(LOOK_MS, self._look)

    def readiness(self) -> Readiness:
        if self.plant.profile.room.freeze_C is None:
            return self.blind("room.freeze_C")
        return super().readiness() if self.plant.has("room") else self.blind("room")

    def _look(self) -> None:
        freeze, room = self.plant.profile.room.freeze_C, self.plant.value("room")
        if freeze is None or room is None:
            return
        threatened = room < freeze + self.settings.freeze_near_K and self._unanswered()
        if room > freeze and not threatened and self.plant.book.standing(self.alarm) is None:
            return
        at_ms = self.engine.freeze_at_ms()
        soon = at_ms is not None and at_ms - self.plant.now_ms < self.settings.freeze_notice_h * 3_600_000
        if room <= freeze or (soon and threatened):
            self.plant.raise_(self.alarm, "high", room_C=round(room, 1), freeze_C=freeze, freeze_at=iso(at_ms))
        elif room > freeze + NEAR_K and not soon:
            self.plant.clear(self.alarm)

    def _unanswered(self) -> bool:
        """No fire although heat was called for longer than lighting ever takes; without `call`, no fire at all."""
        fire, now = self.engine.fire, self.plant.now_ms
        if fire.on:
            return False
        if not self.plant.has("call"):
            return fire.last_end_ms is not None and now - fire.last_end_ms > 3 * UNANSWERED_MS
        called_ms = self.plant.changed_ms("call")
        if not self.plant.state("call") or called_ms is None:
            return False
        since_ms = max(called_ms, fire.last_end_ms or called_ms)
        return now - since_ms > max(UNANSWERED_MS, 1500 * (self.engine.usual_wait_s.median or 0.0))
