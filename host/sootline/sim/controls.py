"""The furnace's own controls: contacts with differential, the refill limiter and the primary safety control."""

from dataclasses import dataclass
from typing import Literal

Stage = Literal["standby", "preheat", "purge", "ignition", "firing", "recycle", "limit", "lockout"]


@dataclass(slots=True)
class Contact:
    """A contact that closes and opens at two values of one quantity.

    closes_at below opens_at: it closes as the quantity falls (float, thermostat); above: as it rises (fan, limit).
    """

    closes_at: float
    opens_at: float
    closed: bool = False

    def follow(self, value: float) -> bool:
        """Move the contact if `value` says so; True when it moved."""
        if self.closed == self.moves(value):
            return False
        self.closed = not self.closed
        return True

    def moves(self, value: float) -> bool:
        """The position the contact would have at `value`."""
        threshold = self.opens_at if self.closed else self.closes_at
        falling = self.closes_at < self.opens_at
        past = value > threshold if self.closed == falling else value < threshold
        return self.closed != past

    def crossing(self, before: float, after: float) -> float:
        """Share of the way from `before` to `after` at which the contact moves, 2.0 when it does not."""
        if self.moves(after) == self.closed or self.moves(before) != self.closed:
            return 2.0
        threshold = self.opens_at if self.closed else self.closes_at
        return (threshold - before) / (after - before)


@dataclass(slots=True)
class RefillLimiter:
    """Runs the refill pump while the float calls, at most `limit_s`; then it latches out until its refill reset."""

    limit_s: float
    running: bool = False
    latched: bool = False
    until_ms: int = 0

    def update(self, t_ms: int, calling: bool, power: bool) -> None:
        if self.running and not (calling and power):
            self.running = False
        elif self.running and t_ms >= self.until_ms:
            self.running, self.latched = False, True
        elif not self.running and calling and power and not self.latched:
            self.running, self.until_ms = True, t_ms + round(1000 * self.limit_s)

    def reset(self) -> None:
        self.latched = False


@dataclass(slots=True)
class Permits:
    """What the primary control looks at."""

    call: bool = False
    power: bool = True
    oil_ready: bool = False
    limit_open: bool = False
    sees_flame: bool = False


@dataclass(slots=True)
class PrimaryControl:
    """Purge, trial for ignition, firing, recycle after a lost flame, lockout until the primary reset.

    flame_response_s: from flame lost to oil shut; recycles: tries after lost flames in one call.
    """

    purge_s: float
    trial_s: float
    recycle_s: float
    recycles: int
    flame_response_s: float = 1.5
    stage: Stage = "standby"
    due_ms: int | None = None
    lost: int = 0

    @property
    def motor(self) -> bool:
        """Burner motor and oil/air valve circuit energised."""
        return self.stage in ("purge", "ignition", "firing")

    @property
    def oil_valve(self) -> bool:
        return self.stage in ("ignition", "firing")

    def reset(self) -> None:
        if self.stage == "lockout":
            self._enter("standby", None)
            self.lost = 0

    def update(self, t_ms: int, see: Permits) -> None:
        """Move on to the stage that belongs to `t_ms`; call again until it stays."""
        if self.stage == "lockout":
            return
        if not see.power or not see.call:
            self.lost = 0
            self._enter("standby", None)
        elif see.limit_open:
            self._enter("limit", None)
        elif not see.oil_ready:
            self._enter("preheat", None)
        else:
            self._sequence(t_ms, see.sees_flame)

    def _sequence(self, t_ms: int, sees_flame: bool) -> None:
        due = self.due_ms is not None and t_ms >= self.due_ms
        if self.stage in ("standby", "preheat", "limit") or (self.stage == "recycle" and due):
            self._enter("purge", t_ms + round(1000 * self.purge_s))
        elif self.stage == "purge" and due:
            self._enter("ignition", t_ms + round(1000 * self.trial_s))
        elif self.stage == "ignition" and sees_flame:
            self._enter("firing", None)
        elif self.stage == "ignition" and due:
            self._enter("lockout", None)
        elif self.stage == "firing":
            self._watch_flame(t_ms, sees_flame, due)

    def _watch_flame(self, t_ms: int, sees_flame: bool, due: bool) -> None:
        if sees_flame:
            self.due_ms = None
        elif self.due_ms is None:
            self.due_ms = t_ms + round(1000 * self.flame_response_s)
        elif due:
            self.lost += 1
            if self.lost > self.recycles:
                self._enter("lockout", None)
            else:
                self._enter("recycle", t_ms + round(1000 * self.recycle_s))

    def _enter(self, stage: Stage, due_ms: int | None) -> None:
        self.stage, self.due_ms = stage, due_ms
