"""Service mode: somebody works on the furnace. It ends by itself: in time, or when the furnace fires as it should."""

from collections.abc import Callable

from sootline.analysis.follow.fire import Fire
from sootline.analysis.plant import Plant
from sootline.profile import Profile, ServiceMode

PROVED_FIRINGS = 2  # it works again
AFTER_MS = 600_000  # what it hid has this long to go by itself: covers are closed, sensors come back


class Service:
    """Keeps `plant.service`. changed: called whenever somebody begins or ends."""

    def __init__(self, plant: Plant, fire: Fire, changed: Callable[[], None]) -> None:
        self.plant = plant
        self._changed = changed
        self._proved = 0
        fire.on_proved.append(self._fired)
        self._expect(plant.profile.service)

    def adopt(self, before: Profile, profile: Profile) -> None:
        """Go on under a profile with more acts, all of them later than what was worked through."""
        self._expect(tuple(mode for mode in profile.service if mode not in before.service))

    def _expect(self, modes: tuple[ServiceMode, ...]) -> None:
        for mode in modes:
            self.plant.at(mode.at_ms, self._begin, mode)

    def _begin(self, mode: ServiceMode) -> None:
        if mode.until_ms <= mode.at_ms:
            self._end()
        elif self.plant.now_ms < mode.until_ms:
            self.plant.service, self._proved = mode, 0
            self.plant.at(mode.until_ms, self._due, mode)
            self._changed()

    def _due(self, mode: ServiceMode) -> None:
        if self.plant.service == mode:
            self._end()

    def _fired(self) -> None:
        if self.plant.service is not None:
            self._proved += 1
            if self._proved >= PROVED_FIRINGS:
                self._end()

    def _end(self) -> None:
        if self.plant.service is not None:
            self.plant.service, self.plant.served_until_ms = None, self.plant.now_ms
            self.plant.at(self.plant.now_ms + AFTER_MS, self.plant.book.service_over)
            self._changed()
