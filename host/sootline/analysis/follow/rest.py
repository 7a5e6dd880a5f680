"""Rests: where each probe is heading while nothing is heated.

A body cools toward its surroundings as dT/dt = -(T - T_inf) / tau (Newton's law; ASHRAE Handbook, transient conduction
of a lumped body, from memory). tau is learned from how the fall slackens within a rest, so that the end point

T_inf = T + tau dT/dt   [degC]

is known long before the probe has got there. Of two probes that fall to the same air the end points differ by what the
probes themselves are off, and by the air of their places.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from sootline.analysis.plant import Plant
from sootline.analysis.usual import Usual

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

LOOK_MS = 1_800_000
WINDOW_MS = 2_700_000  # of one slope: a probe that counts in quarter kelvins is known to 0.1 K/h over so long
SETTLED_MS = 3_600_000  # after a fire heat still flows from the chamber into block and probe
HELD_K = 15.0  # a thermostat holds oil nearer than this to its set point
LONGEST_MS = 43_200_000  # by then everything has got there, and a summer is long
STEEP_K_H = 0.8  # a slope less steep says nothing about tau
HEATED_K_H = 1.0  # a probe that climbs faster is being warmed by something
TAU_H = (0.1, 24.0)
TAU_NEED, TAU_SD = 3, 0.15  # log tau is known no better than this: doors, draughts, one body warming another
MOST_ERROR_K = 4.0  # by which an end point may be wrong for the scatter of tau
OIL = ("tank", "nozzle")
PROBES = ("tank", "nozzle", "stack", "return_air", "supply_air", "room")


class Rests:
    """Calls every listener in `on_rest` once a rest, at its end, with the end point of each probe that has one."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.plant: Plant = engine.plant
        self.on_rest: list[Callable[[dict[str, float]], None]] = []
        self.log_tau_h = {channel: Usual(20) for channel in PROBES}
        self._rest_ms: int | None = None  # the end of the fire before the rest that is being watched
        self._ends_C: dict[str, float] = {}
        engine.every(LOOK_MS, self._look)

    def _look(self) -> None:
        fire, now = self.engine.fire, self.plant.now_ms
        rest_ms = self._rest_ms
        if rest_ms is not None and fire.on is False and fire.last_end_ms == rest_ms and not self._heats():
            self._measure(now, rest_ms)
            return
        if self._ends_C:
            ends, self._ends_C = self._ends_C, {}
            for listener in self.on_rest:
                listener(ends)
        self._rest_ms = fire.last_end_ms if fire.on is False else None

    def _heats(self) -> bool:
        called = self.plant.state("call") is True
        return called or any(heating.start_ms is not None for heating in self.engine.heating.values())

    def _measure(self, now_ms: int, rest_ms: int) -> None:
        if now_ms - rest_ms < SETTLED_MS + WINDOW_MS:
            return
        refilled_ms = self.engine.refills.last_end_ms or 0
        kept_warm = self.plant.profile.furnace.heating == "keep-warm"
        for channel in PROBES:
            if channel in OIL and (kept_warm or now_ms - refilled_ms < SETTLED_MS + WINDOW_MS or self._held(channel)):
                continue
            end_C = self._end_C(channel, now_ms, now_ms - rest_ms >= SETTLED_MS + 2 * WINDOW_MS)
            if end_C is not None:
                self._ends_C[channel] = end_C

    def _held(self, channel: str) -> bool:
        """So near its set point that its heater may hold it there, in a call that nothing answers."""
        missing_K = self.engine.heating[channel].missing_K()
        return missing_K is None or missing_K < HELD_K

    def _end_C(self, channel: str, now_ms: int, long: bool) -> float | None:
        """The end point of this probe [degC]; None while it cannot be told."""
        late = self._fall_K_h(channel, now_ms)
        value = self.plant.history.mean(channel, now_ms - 600_000, now_ms)
        if late is None or value is None or late > HEATED_K_H:
            return None
        steep = long and late < -STEEP_K_H
        early = self._fall_K_h(channel, now_ms - WINDOW_MS) if steep else None
        if early is not None and early < 1.2 * late:
            tau_h = WINDOW_MS / 3_600_000 / math.log(early / late)
            if TAU_H[0] < tau_h < TAU_H[1]:
                self.log_tau_h[channel].add(math.log(tau_h))
        if abs(late) < STEEP_K_H / 4:
            return value
        usual = self.log_tau_h[channel]
        if usual.count < TAU_NEED or usual.median is None:
            return None
        ahead_K = math.exp(usual.median) * late
        return value + ahead_K if abs(ahead_K) * max(usual.sd or 0.0, TAU_SD) < MOST_ERROR_K else None

    def _fall_K_h(self, channel: str, end_ms: int) -> float | None:
        """Least-squares slope of the window before a moment [K/h]."""
        t, x = self.plant.history.window(channel, end_ms - WINDOW_MS, end_ms)
        if len(t) < 8 or t[-1] - t[0] < 0.8 * WINDOW_MS:
            return None
        hours = (t - t[0]) / 3_600_000
        hours -= np.add.reduce(hours) / len(t)
        return float(np.add.reduce(hours * x) / np.add.reduce(hours * hours))
