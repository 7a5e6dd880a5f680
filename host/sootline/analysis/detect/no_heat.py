"""`no-heat`: the thermostat has called for long and no firing has been proved, whatever the cause."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.alarms import iso
from sootline.analysis.detect.base import Detector
from sootline.analysis.marks import Mark
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine


class NoHeat(Detector):
    """The owner sees: it is called for heat and gives none, and when the room freezes.

    Rule: `call` on for max(45 min, 1.5 x the usual time from call to proved firing) without one; after a flame loss the
    time counts from there. Returns with a firing proved for 5 min. Source: contract.
    Wrong: a thermostat left calling with the service switch off (shown, but meant); 1 in 3 seasons.
    Blind to: everything without `call`.
    """

    alarm = "no-heat"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self.usual_s = engine.usual_wait_s
        self._waiting_ms: int | None = None
        self.plant.on("call", self._call)
        engine.fire.on_proved.append(self._proved)
        engine.fire.on_changed.append(self._fire)

    def readiness(self) -> Readiness:
        return super().readiness() if self.plant.has("call") else self.blind("call")

    def _call(self, mark: Mark) -> None:
        if mark.on and self._waiting_ms is None and not self.engine.fire.on:
            self._wait(mark.at_ms)
        elif not mark.on:
            self._waiting_ms = None
            if mark.on is False:
                self.plant.clear(self.alarm, at_ms=mark.at_ms)

    def _fire(self, on: bool | None, at_ms: int) -> None:
        if on is False and self._waiting_ms is None and self.plant.state("call"):
            self._wait(at_ms)

    def _wait(self, since_ms: int) -> None:
        self._waiting_ms = since_ms
        usual = self.usual_s.median if self.usual_s.count >= 5 else None
        patience_s = max(self.settings.no_heat_s, self.settings.no_heat_ratio * (usual or 0.0))
        self.plant.at(since_ms + round(patience_s * 1000), self._due, since_ms)

    def _due(self, since_ms: int) -> None:
        if self._waiting_ms != since_ms or not self.plant.state("call"):
            return
        fire = self.engine.fire
        if not fire.trusted() or (not fire.on and not fire.is_out()):  # out of sight: `sensor-fault` says so
            self.plant.at(self.plant.now_ms + 600_000, self._due, since_ms)
            return
        detail = {"waiting_min": round((self.plant.now_ms - since_ms) / 60_000)}
        freeze = self.engine.freeze_at_ms()
        self.plant.raise_(
            self.alarm, "high", None, None, **detail, freeze_at=iso(freeze), room_C=self.plant.value("room")
        )

    def _proved(self) -> None:
        if self._waiting_ms is not None and self.plant.learns(self._waiting_ms, self.plant.now_ms):
            self.usual_s.add((self.plant.now_ms - self._waiting_ms) / 1000)
        self._waiting_ms = None
        self.plant.clear(self.alarm)
