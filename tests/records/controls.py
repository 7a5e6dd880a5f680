"""The relays: float and refill limiter, heater thermostats, primary safety control, fan and limit switch."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from enum import IntEnum

NEVER = math.inf


class Limiter:
    """Float switch and run-time limiter of the refill pump; latched out at its limit until its reset is pushed."""

    __slots__ = ("calling", "latched", "limit_s", "lower_l", "on", "started", "upper_l")

    def __init__(self, limit_s: float) -> None:
        self.limit_s = limit_s
        self.calling = self.on = self.latched = False
        self.started = NEVER
        self.lower_l = self.upper_l = 0.0

    def new_marks(self, full_l: float, differential_l: float, slop: float, dice: random.Random) -> None:
        """Where the float will switch this time: it sticks and slips by about ``slop`` of the differential."""
        self.upper_l = full_l + dice.gauss(0.0, slop) * differential_l * 0.5
        self.lower_l = full_l - differential_l * (1.0 + dice.gauss(0.0, slop))

    def step(self, t: float, level_l: float, stuck: str) -> None:
        """Read the float and drive the pump; ``stuck`` is '', 'up' (never calls) or 'down' (always calls)."""
        if stuck == "up":
            self.calling = False
        elif stuck == "down" or level_l <= self.lower_l:
            self.calling = True
        elif level_l >= self.upper_l:
            self.calling = False
        if self.on and (not self.calling or t - self.started >= self.limit_s - 1e-6):
            self.latched = self.latched or self.calling
            self.on = False
            self.started = NEVER
        elif not self.on and self.calling and not self.latched:
            self.on = True
            self.started = t


DUTY_S = 40.0


class HeaterSwitch:
    """Thermostat of one heater with hysteresis (or ``duty``: on for a share of each 40 s), and a hand-reset cut-out."""

    __slots__ = ("drive", "duty", "half_K", "trip_C", "tripped")

    def __init__(self, hysteresis_K: float, trip_C: float, duty: bool = False) -> None:
        self.duty = duty
        self.half_K = 0.5 * hysteresis_K
        self.trip_C = trip_C
        self.drive = self.tripped = False

    def step(self, bulb_C: float, true_C: float, setpoint_C: float, enabled: bool, t: float = 0.0) -> None:
        """Decide the drive at ``t`` [s] from the bulb; the cut-out looks at the metal itself."""
        if true_C > self.trip_C:
            self.tripped = True
        if not enabled or bulb_C >= setpoint_C + self.half_K:
            self.drive = False
        elif self.duty:
            share = min(1.0, max(0.0, 0.5 + 0.5 * (setpoint_C - bulb_C) / self.half_K))
            self.drive = t % DUTY_S < share * DUTY_S
        elif bulb_C <= setpoint_C - self.half_K:
            self.drive = True


class State(IntEnum):
    """States of the primary control."""

    IDLE = 0
    WARMING = 1
    PURGE = 2
    TRIAL = 3
    RUN = 4
    RECYCLE = 5
    LOCKOUT = 6
    AFTER = 7


@dataclass(frozen=True)
class PrimaryTimes:
    """Times of a primary control [s], and how many failed trials or lost flames it forgives."""

    purge_s: float
    trial_s: float
    after_s: float
    recycle_s: float
    retries: int
    losses: int


class Primary:
    """Primary safety control: purge, trial for ignition, run, recycle, lockout until reset."""

    __slots__ = ("fails", "flame", "lit_at", "losses", "opened", "seen_at", "state", "times", "until")

    def __init__(self, times: PrimaryTimes) -> None:
        self.times = times
        self.state = State.IDLE
        self.until = self.lit_at = self.seen_at = self.opened = NEVER
        self.flame = False
        self.fails = self.losses = 0

    def reset(self) -> None:
        """Push the button."""
        if self.state is State.LOCKOUT:
            self.state = State.IDLE
            self.fails = self.losses = 0

    def step(
        self, t: float, wanted: bool, warm: bool, limit_open: bool, burns: bool, to_flame_s: float, blind: bool
    ) -> None:
        """Advance to ``t``.

        ``burns``: oil, air and no water slug, so that a flame can live. ``to_flame_s`` is drawn by the
        caller and used when the valve opens now (inf: it will not light). ``blind``: detector sees nothing.
        """
        state, times = self.state, self.times
        if state is State.LOCKOUT:
            return
        if state is State.IDLE:
            if wanted and not limit_open:
                self.state, self.fails, self.losses = State.WARMING, 0, 0
        elif state is State.AFTER:
            if t >= self.until:
                self.state = State.IDLE
        elif not wanted or limit_open:
            fired = state in (State.RUN, State.TRIAL)
            self.flame = False
            self.state, self.until = (State.AFTER, t + times.after_s) if fired else (State.IDLE, NEVER)
        elif state is State.WARMING:
            if warm:
                self.state, self.until = State.PURGE, t + times.purge_s
        elif state is State.PURGE:
            if t >= self.until - 1e-6:
                self.state, self.until = State.TRIAL, t + times.trial_s
                self.opened = t
                self.lit_at = t + to_flame_s
                self.seen_at = NEVER if blind else self.lit_at + 0.4
        elif state is State.TRIAL:
            self._trial(t, burns)
        elif state is State.RUN:
            if not burns or blind:
                self.flame = False
                self.losses += 1
                self._again(t, self.losses > times.losses)
        elif state is State.RECYCLE and t >= self.until - 1e-6:
            self.state, self.until = State.PURGE, t + times.purge_s

    def _trial(self, t: float, burns: bool) -> None:
        self.flame = burns and t >= self.lit_at - 1e-6
        if self.flame and t >= self.seen_at - 1e-6:
            self.state, self.until = State.RUN, NEVER
        elif t >= self.until - 1e-6:
            self.flame = False
            self.fails += 1
            self._again(t, self.fails > self.times.retries)

    def _again(self, t: float, give_up: bool) -> None:
        if give_up:
            self.state, self.until = State.LOCKOUT, NEVER
        else:
            self.state, self.until = State.RECYCLE, t + self.times.recycle_s

    def next_event(self, t: float) -> float:
        """The next moment something happens by the clock [s]."""
        if self.state is State.TRIAL:
            later = [x for x in (self.lit_at, self.seen_at, self.until) if x > t + 1e-6]
            return min(later, default=NEVER)
        return self.until if self.until > t + 1e-6 else NEVER


class FanSwitch:
    """Warm-air fan: by plenum temperature, or by delays after the flame comes and goes."""

    __slots__ = ("off_C", "off_delay_s", "on", "on_C", "on_delay_s", "since")

    def __init__(self, on_C: float, off_C: float, on_delay_s: float, off_delay_s: float) -> None:
        self.on_C, self.off_C = on_C, off_C
        self.on_delay_s, self.off_delay_s = on_delay_s, off_delay_s
        self.on = False
        self.since = 0.0

    def step(self, dt: float, plenum_C: float, flame: bool) -> None:
        """Decide after ``dt`` [s]; delays rule where they are above zero, else the plenum does."""
        if self.on_delay_s > 0.0:
            self.since = self.since + dt if flame != self.on else 0.0
            if self.since >= (self.on_delay_s if flame else self.off_delay_s):
                self.on, self.since = flame, 0.0
            self.on = self.on or plenum_C > self.on_C + 15.0
        elif plenum_C >= self.on_C:
            self.on = True
        elif plenum_C <= self.off_C:
            self.on = False


class LimitSwitch:
    """High limit on the plenum, closing again by itself 15 K lower."""

    __slots__ = ("open", "trip_C")

    def __init__(self, trip_C: float) -> None:
        self.trip_C = trip_C
        self.open = False

    def step(self, plenum_C: float) -> None:
        """Read the plenum."""
        if plenum_C >= self.trip_C:
            self.open = True
        elif plenum_C <= self.trip_C - 15.0:
            self.open = False
