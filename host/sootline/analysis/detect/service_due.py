"""`service-due`: the hours or litres between services that the owner wants have passed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sootline.analysis.detect.base import Detector
from sootline.events import Event
from sootline.now import Readiness
from sootline.profile import LogEntry

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

LOOK_MS = 3_600_000


class ServiceDue(Detector):
    """The owner sees: so many burning hours and litres since the last service.

    Rule, looked at hourly: hours of fire since the last log entry `service` >= `servicing.every_h`, or refills x
    `refill.differential_l` since then >= `servicing.every_l`, whichever comes first. Returns with the entry.
    Source: contract; 250 to 500 h between nozzle, filter and electrode services are common practice.
    Wrong: never; it counts. Before the first entry it counts from the first row seen.
    Blind to: without `servicing.every_h`, and `servicing.every_l` with `refill.differential_l`.
    """

    alarm = "service-due"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._since_s = 0.0
        self._refills = 0
        self.plant.on_event("refill", self._refilled)
        self.plant.on_log(self._logged)
        engine.every(LOOK_MS, self._look)

    def readiness(self) -> Readiness:
        profile = self.plant.profile
        if profile.servicing.every_h is not None:
            return super().readiness()
        if profile.servicing.every_l is None:
            return self.blind("servicing.every_h")
        return self.blind("refill.differential_l") if profile.refill.differential_l is None else super().readiness()

    def _refilled(self, event: Event) -> None:
        self._refills += 0 if event.features["stalled"] else 1

    def _logged(self, entry: LogEntry) -> None:
        if entry.kind == "service":
            self._since_s, self._refills = self.engine.fire.burned_s(), 0
            self.plant.clear(self.alarm, at_ms=entry.at_ms)

    def _look(self) -> None:
        wanted, litres_each = self.plant.profile.servicing, self.plant.profile.refill.differential_l
        hours = (self.engine.fire.burned_s() - self._since_s) / 3600
        litres = None if litres_each is None else self._refills * litres_each
        late = wanted.every_h is not None and hours >= wanted.every_h
        late = late or (wanted.every_l is not None and litres is not None and litres >= wanted.every_l)
        if late and self.plant.book.standing(self.alarm) is None:
            detail: dict[str, Any] = {} if litres is None else {"litres": round(litres, 1)}
            self.plant.raise_(self.alarm, "low", burned_h=round(hours, 1), **detail)
