"""`flame-loss`: the fire went out while heat was still wanted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.alarms import Priority
from sootline.analysis.detect.base import Detector
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

HOUR_MS = 3_600_000
PAUSE_MS = 60_000  # a call that went off about when the fire did, and has come back since, was no loss
FELL_SHARE, FELL_WITHIN_MS = 0.67, 240_000


class FlameLoss(Detector):
    """The owner sees: the flame was lost, and whether it came back.

    Rule: the fire ended (by `flame`, or the stack cooling as after a shut-down) and 20 s later the call is still on,
    the high limit is closed and the power on. Without `call`: the burner stayed on; or, weakly, the fire was twice
    within an hour back after 40 to 130 s, sooner than a thermostat asks (medium). Else medium, and
    high at the second within an hour.
    Returns with a firing proved for 5 min. Source: contract; a control waits 60-90 s before it retries (NORA manual).
    Wrong: a thermostat that bounces; 1 in 3 seasons (weak form: 1 a season).
    Blind to: on the required four, a loss that ends in lockout.
    """

    alarm = "flame-loss"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._losses: list[int] = []
        self._ended_ms: int | None = None
        engine.fire.on_changed.append(self._fire)
        engine.fire.on_proved.append(self._proved)

    def readiness(self) -> Readiness:
        return super().readiness() if self.plant.has("call") or self.plant.has("burner") else self.blind("call")

    def _fire(self, on: bool | None, at_ms: int) -> None:
        if on is False:
            self._ended_ms = at_ms
            wait_ms = round(self.settings.loss_confirm_s * 1000)
            self.plant.at(max(at_ms + wait_ms, self.plant.now_ms), self._confirm, at_ms)
        elif on and self._ended_ms is not None and self.readiness().state == "blind":
            relit_s = (at_ms - self._ended_ms) / 1000
            if self.settings.relit_after_s < relit_s < self.settings.relit_within_s:
                self._relit(self._ended_ms)

    def _relit(self, ended_ms: int) -> None:
        """Back so soon that it looks like a recycle: once may be a thermostat at its setback, twice an hour is not."""
        self._losses = [t for t in self._losses if ended_ms - t < HOUR_MS] + [ended_ms]
        if len(self._losses) >= 2:
            self.plant.raise_(self.alarm, "medium", at_ms=ended_ms, losses_1h=len(self._losses), recovered=True)

    def _confirm(self, ended_ms: int) -> None:
        plant = self.plant
        if self.engine.fire.on or self._ended_ms != ended_ms or plant.state("limit") or plant.state("power") is False:
            return
        if plant.state("flame") is None and plant.state("burner") is not False and not self._fell(ended_ms):
            self._again(ended_ms)
            return
        if plant.stayed_on("call", ended_ms - PAUSE_MS) if plant.has("call") else plant.state("burner"):
            self._lost(ended_ms, recovered=False)

    def _fell(self, ended_ms: int) -> bool:
        """The stack has lost a third of its height over the air since: no mere change of level."""
        was, now = self.plant.history.mean("stack", ended_ms - 60_000, ended_ms), self.plant.value("stack")
        if was is None or now is None:
            return False
        air = self.engine.fire.air_C()
        return now - air < FELL_SHARE * (was - air)

    def _again(self, ended_ms: int) -> None:
        if self.plant.now_ms - ended_ms < FELL_WITHIN_MS:
            self.plant.at(self.plant.now_ms + 20_000, self._confirm, ended_ms)

    def _lost(self, at_ms: int, recovered: bool) -> None:
        self._losses = [t for t in self._losses if at_ms - t < HOUR_MS] + [at_ms]
        priority: Priority = "high" if len(self._losses) >= 2 else "medium"
        self.plant.raise_(self.alarm, priority, at_ms=at_ms, losses_1h=len(self._losses), recovered=recovered)

    def _proved(self) -> None:
        self.plant.clear(self.alarm)
