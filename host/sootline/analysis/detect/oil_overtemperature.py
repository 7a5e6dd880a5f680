"""`oil-overtemperature`: the oil in the day tank or the nozzle block is above its limit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.detect.over_limit import OverLimit

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine


class OilOvertemperature(Detector):
    """The owner sees: oil too hot, switch the heater off at the breaker.

    Rule: tank or nozzle > its limit [degC] for 10 s; limits from the profile, else 95 degC for the day tank and
    130 degC for the nozzle block (common practice).
    Wrong: a displaced probe touching a heater; practically never otherwise.
    Blind to: hot spots away from the probe.
    """

    alarm = "oil-overtemperature"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        profile, settings = self.plant.profile, self.settings
        limits = {
            "tank": profile.tank.limit_C or settings.tank_limit_C,
            "nozzle": profile.nozzle.limit_C or settings.nozzle_limit_C,
        }
        for channel, limit in limits.items():
            OverLimit(self.plant, channel, limit, self._over, self._back)

    def _over(self, channel: str, limit: float, since_ms: int) -> None:
        value = self.plant.value(channel)
        self.plant.raise_(self.alarm, "critical", channel=channel, oil_C=value, limit_C=limit)

    def _back(self, channel: str, at_ms: int) -> None:
        self.plant.clear(self.alarm, channel, at_ms)
