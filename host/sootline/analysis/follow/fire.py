"""The fire: when it burns, seen by the flame detector, the burner and the stack, whichever there are.

The stack alone tells it within half a minute: a lit flame heats the flue by tens of kelvin a minute, a lost one lets
it fall as fast. Onset and end are dated back to where the rise or fall began.
"""

from collections.abc import Callable

import numpy as np

from sootline.analysis.conditions import Slope
from sootline.analysis.marks import Mark
from sootline.analysis.plant import Plant
from sootline.events import Event

BACK_MS = 180_000  # how far a stack change is traced back


class Fire:
    """`on` tells whether the fire burns (None: unknown after a silence), `since_ms` since when."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.on: bool | None = None
        self.since_ms: int | None = None
        self.burned_ms = 0
        self.last_end_ms: int | None = None
        self.on_changed: list[Callable[[bool | None, int], None]] = []
        self.on_proved: list[Callable[[], None]] = []
        self._burner_on_ms: int | None = None
        settings = plant.settings
        rise_ms = round(settings.stack_rise_window_s * 1000)
        fall_ms = round(settings.stack_fall_window_s * 1000)
        rise, fall = settings.stack_rise_K, settings.stack_fall_K
        plant.watch(Slope("stack-heats", "stack", rise_ms, rise, rise / 2), self._stack_heats)
        plant.watch(Slope("stack-cools", "stack", fall_ms, -fall, -fall / 2, below=True), self._stack_cools)
        plant.on("flame", self._flame)
        plant.on("burner", self._burner)

    def burned_s(self) -> float:
        """Seconds burned so far, the fire under way included."""
        running = self.plant.now_ms - self.since_ms if self.on and self.since_ms is not None else 0
        return (self.burned_ms + running) / 1000

    def _flame(self, mark: Mark) -> None:
        if mark.on is None:
            self._set(None, mark.at_ms)
        elif mark.on:
            self._set(True, mark.at_ms)
        elif self.on:
            self._set(False, mark.at_ms)

    def _burner(self, mark: Mark) -> None:
        if mark.on:
            self._burner_on_ms = mark.at_ms
        elif mark.on is False and self.on:
            self._set(False, mark.at_ms)

    def _stack_heats(self, mark: Mark) -> None:
        if not mark.on or self.on:
            return
        if self.plant.state("burner") is False or self.plant.state("flame") is True:
            return  # heat without a burner is an alarm's business, not a firing
        self._set(True, self._rise_began(mark.at_ms))

    def _stack_cools(self, mark: Mark) -> None:
        if not mark.on or self.on is False:
            return
        if self.plant.state("flame") is True or (self.plant.has("flame") and self.plant.state("burner") is True):
            return
        self._set(False, self._fall_began(mark.at_ms))

    def _rise_began(self, t_ms: int) -> int:
        start = t_ms - BACK_MS if self.last_end_ms is None else max(t_ms - BACK_MS, self.last_end_ms)
        t, x = self.plant.history.window("stack", start, t_ms)
        if self._burner_on_ms is not None and self.plant.state("burner"):
            start = max(start, self._burner_on_ms)
        low = np.flatnonzero(x <= x.min() + 2.0)
        return max(int(t[low[-1]]), start)

    def _fall_began(self, t_ms: int) -> int:
        t, x = self.plant.history.window("stack", t_ms - BACK_MS // 2, t_ms)
        high = np.flatnonzero(x >= x.max() - 3.0)
        began = int(t[high[-1]])
        return began if self.since_ms is None or not self.on else max(began, self.since_ms)

    def _set(self, on: bool | None, at_ms: int) -> None:
        if on == self.on:
            return
        was, since = self.on, self.since_ms
        self.on, self.since_ms = on, at_ms
        if was and since is not None:
            self.burned_ms += at_ms - since
            if on is False:
                self.last_end_ms = at_ms
                self.plant.happened(self._firing(since, at_ms))
        if on:
            self.plant.at(at_ms + round(self.plant.settings.proved_s * 1000), self._proved, at_ms)
        for changed in self.on_changed:
            changed(on, at_ms)

    def _proved(self, since_ms: int) -> None:
        if self.on and self.since_ms == since_ms:
            for proved in self.on_proved:
                proved()

    def _firing(self, start_ms: int, end_ms: int) -> Event:
        """The finished firing with its features."""
        plant = self.plant
        burner_on = self._burner_on_ms
        to_flame = (
            (start_ms - burner_on) / 1000 if burner_on is not None and 0 <= start_ms - burner_on < 300_000 else None
        )
        features: dict[str, float | str | bool | None] = {
            "burned_s": (end_ms - start_ms) / 1000,
            "time_to_flame_s": to_flame,
        }
        settled_from = max(end_ms - 300_000, start_ms + (end_ms - start_ms) // 2)
        for channel in ("stack", "return_air", "room", "outdoor", "combustion_air", "supply_air", "nozzle",
                        "air_pressure"):  # fmt: skip
            features[f"{channel}_end"] = plant.history.mean(channel, settled_from, end_ms)
        return Event(plant.profile.furnace.id, "firing", start_ms, end_ms, features)
