"""A measured channel above its limit for some seconds: the rule shared by `stack-high` and `oil-overtemperature`."""

from collections.abc import Callable

from sootline.analysis.conditions import Level
from sootline.analysis.marks import Mark
from sootline.analysis.plant import Plant


class OverLimit:
    """Calls over(limit, since_ms) once `channel` has been above `limit` for over_limit_s, and back(at_ms) when it is
    limit_hysteresis_K below it again."""

    def __init__(
        self,
        plant: Plant,
        channel: str,
        limit: float,
        over: Callable[[str, float, int], None],
        back: Callable[[str, int], None],
    ) -> None:
        self.plant = plant
        self.channel = channel
        self.limit = limit
        self._over = over
        self._back = back
        self._since_ms: int | None = None
        name = f"{channel}-over-limit"
        plant.watch(Level(name, channel, limit, limit - plant.settings.limit_hysteresis_K), self._changed)

    def _changed(self, mark: Mark) -> None:
        if mark.on:
            self._since_ms = mark.at_ms
            hold_ms = round(self.plant.settings.over_limit_s * 1000)
            self.plant.at(mark.at_ms + hold_ms, self._held, mark.at_ms)
        else:
            self._since_ms = None
            self._back(self.channel, mark.at_ms)

    def _held(self, since_ms: int) -> None:
        value, mean = self.plant.value(self.channel), self.plant.history.mean(self.channel, since_ms, self.plant.now_ms)
        if self._since_ms != since_ms or value is None or mean is None:
            return
        if value > self.limit and mean > self.limit:
            self._over(self.channel, self.limit, since_ms)
        else:  # back under it, but not yet gone: look again
            hold_ms = round(self.plant.settings.over_limit_s * 1000)
            self.plant.at(self.plant.now_ms + hold_ms, self._held, since_ms)
