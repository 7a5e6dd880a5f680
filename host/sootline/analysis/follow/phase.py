"""The phase of the furnace, from whatever states are wired; on the required four it is inferred and coarser."""

from collections.abc import Mapping

from sootline.analysis.follow.fire import Fire
from sootline.analysis.follow.heating import Heating
from sootline.analysis.marks import Mark
from sootline.analysis.plant import Plant
from sootline.events import Event
from sootline.now import Phase

COOL_DOWN_MS = 300_000  # without a blower contact: common practice for fan run-on
_STATES = ("power", "lockout", "limit", "call", "burner", "blower", "low_level")


class PhaseFollower:
    """`phase` and `since_ms`; each finished phase becomes a `phase` event."""

    def __init__(self, plant: Plant, fire: Fire, heating: Mapping[str, Heating]) -> None:
        self.plant = plant
        self.fire = fire
        self.heating = heating
        self.phase: Phase = "unknown"
        self.since_ms: int | None = None
        for channel in _STATES:
            plant.on(channel, self._look)
        fire.on_changed.append(self._fire)
        for heated in heating.values():
            heated.on_begun.append(self._begun)
            heated.on_done.append(self._done)

    def _look(self, mark: Mark) -> None:
        self._set(self._now(), mark.at_ms)

    def _fire(self, on: bool | None, at_ms: int) -> None:
        self._set(self._now(), at_ms)
        if on is False and self.plant.state("blower") is None:
            self.plant.at(at_ms + COOL_DOWN_MS, self._refresh)

    def _begun(self, heating: Heating) -> None:
        self._refresh()

    def _done(self, event: Event | None) -> None:
        self._refresh()

    def refresh(self) -> None:
        """Look again: somebody has begun or ended to work on the furnace."""
        self._refresh()

    def check(self) -> None:
        """Called every few minutes: what has not moved since the first reading, or a silence, may be known by now."""
        if self.phase == "unknown" or self._out_of_sight():
            self._refresh()

    def _out_of_sight(self) -> bool:
        """Neither the stack nor anything wired tells whether it burns."""
        told = self.plant.state("burner") is not None or self.plant.state("flame") is not None
        return not told and not self.fire.on and self.plant.value("stack") is None

    def _refresh(self) -> None:
        self._set(self._now(), self.plant.now_ms)

    def _set(self, phase: Phase, at_ms: int) -> None:
        if phase == self.phase and self.since_ms is not None:
            return
        if self.since_ms is not None:
            at_ms = max(at_ms, self.since_ms)
            furnace = self.plant.profile.furnace.id
            self.plant.happened(Event(furnace, "phase", self.since_ms, at_ms, {"phase": self.phase}))
        self.phase, self.since_ms = phase, at_ms

    def _now(self) -> Phase:
        plant, fire = self.plant, self.fire
        if plant.service_ms() is not None:
            return "service"
        if plant.state("power") is False:
            return "off"
        if plant.state("lockout"):
            return "lockout"
        if fire.on:
            return "firing"
        if self._out_of_sight():
            return "unknown"
        call, burner = plant.state("call"), plant.state("burner")
        if call and plant.state("limit"):
            return "limit"
        if burner:
            return "ignition"
        heating = any(heated.start_ms is not None for heated in self.heating.values())
        if call is False or call is None:
            cooling = fire.last_end_ms is not None and plant.now_ms - fire.last_end_ms < COOL_DOWN_MS
            if plant.state("blower") or (plant.state("blower") is None and cooling and not heating):
                return "cool-down"
            return "preheat" if heating else "standby"
        if heating:
            return "preheat"
        called_ms = plant.changed_ms("call")
        ended = fire.last_end_ms is not None and called_ms is not None and called_ms <= fire.last_end_ms
        if ended:
            return "recycle"
        return "purge" if burner is False else "ignition"  # without a burner contact the two look alike
