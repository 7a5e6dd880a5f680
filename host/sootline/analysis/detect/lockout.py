"""`lockout`: the primary safety control has locked out, or behaves as if it had."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sootline.analysis.detect.base import Detector
from sootline.analysis.marks import Mark
from sootline.now import Readiness

if TYPE_CHECKING:
    from sootline.analysis.book import Entry
    from sootline.analysis.engine import Engine

DAY_MS = 86_400_000
WAIT_MS = 600_000
AGAIN_MS = 120_000
ASKED_S = 60.0  # before the fire went out: a call that ended with it is no failure


class Lockout(Detector):
    """The owner sees: locked out, no flame; after the second reset: do not reset again.

    Rule: `lockout` on; or, without that contact, call on and neither fire nor heating nor burner 10 min after a start
    that failed (without `burner`: after `ignition-failure`), or after a fire that went out in the call within the 5 min
    that prove one, and the flue is cold: a detector that does not see it. Each time it goes off within a call counts as
    a reset. Returns with a firing proved for 5 min.
    Source: contract. Wrong: practically never with the contact; without it 1 in 5 seasons.
    Blind to: a lockout without contact and without `call`, or from a proved fire where nothing shows that it tried.
    """

    alarm = "lockout"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self.resets: list[int] = []
        self.plant.on("lockout", self._changed)
        self.plant.on("burner", self._burner)
        self.plant.on_raise(self._raised)
        engine.fire.on_changed.append(self._fire)
        engine.fire.on_proved.append(self._proved)

    def readiness(self) -> Readiness:
        if self.plant.has("lockout") or self.plant.has("call"):
            return super().readiness()
        return self.blind("lockout")

    def _changed(self, mark: Mark) -> None:
        if mark.on:
            self._raise(mark.at_ms)
        elif mark.on is False and self.plant.book.standing(self.alarm):
            self.resets = [t for t in self.resets if mark.at_ms - t < DAY_MS] + [mark.at_ms]
            self._raise(mark.at_ms)

    def _burner(self, mark: Mark) -> None:
        """Without the contact, watch what follows a start that failed."""
        if mark.on is False and not self.plant.has("lockout") and not self.engine.fire.on:
            self.plant.at(mark.at_ms + WAIT_MS, self._still_dead, mark.at_ms)

    def _still_dead(self, since_ms: int) -> None:
        fire = self.engine.fire
        lit_since = fire.on or (fire.last_end_ms or 0) > since_ms - 60_000
        heating = any(heating.start_ms is not None for heating in self.engine.heating.values())
        quiet = self.plant.state("burner") is False and self.plant.state("call") and not self.plant.state("limit")
        if quiet and not lit_since and not heating and self.plant.changed_ms("burner") == since_ms:
            self._raise(self.plant.now_ms)

    def _raised(self, entry: Entry) -> None:
        """With neither contact nor `burner`, watch what follows a start that failed."""
        if entry.alarm == "ignition-failure" and not self.plant.has("lockout") and not self.plant.has("burner"):
            self.plant.at(self.plant.now_ms + WAIT_MS, self._dead_since, self.plant.changed_ms("call"))

    def _dead_since(self, called_ms: int | None) -> None:
        """Nothing has happened since, in the same call."""
        heating = any(heating.start_ms is not None for heating in self.engine.heating.values())
        called = self.plant.state("call") and self.plant.changed_ms("call") == called_ms
        if (
            called
            and self.engine.fire.is_out()
            and self.engine.fire.trusted()
            and not heating
            and not self.plant.state("limit")
        ):
            self._raise(self.plant.now_ms)

    def _fire(self, on: bool | None, at_ms: int) -> None:
        """Without the contact, watch what follows a fire that went out as soon as it was lit."""
        burned_s = self.engine.fire.burned_since_s(0)
        if on is False and burned_s < self.settings.proved_s and not self.plant.has("lockout"):
            self.plant.at(at_ms + WAIT_MS, self._stays_out, at_ms, at_ms - round(1000 * min(ASKED_S, burned_s)))

    def _stays_out(self, ended_ms: int, asked_ms: int) -> None:
        heating = any(heating.start_ms is not None for heating in self.engine.heating.values())
        fire = self.engine.fire
        if fire.last_end_ms != ended_ms or not fire.is_out() or not fire.trusted() or heating:
            return
        tries = self.plant.state("burner") or self.plant.state("limit") or self.plant.state("power") is False
        if not self.plant.stayed_on("call", asked_ms) or tries:
            return
        if fire.flue_is_cold():
            self._raise(self.plant.now_ms)
        else:  # an exchanger that is still hot may hold the high limit open
            self.plant.at(self.plant.now_ms + AGAIN_MS, self._stays_out, ended_ms, asked_ms)

    def _raise(self, at_ms: int) -> None:
        detail = {"resets_24h": len(self.resets), "do_not_reset": len(self.resets) >= 2}
        self.plant.raise_(self.alarm, "high", at_ms=at_ms, channel=None, **detail)

    def _proved(self) -> None:
        self.plant.clear(self.alarm)
