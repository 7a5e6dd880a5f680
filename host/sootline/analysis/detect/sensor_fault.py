"""`sensor-fault`: a reading that cannot be true; says which alarms are blind without it."""

from __future__ import annotations

import math
from collections import deque
from typing import TYPE_CHECKING, Any

import numpy as np

from sootline.alarms import Priority
from sootline.analysis.catalogue import KINDS
from sootline.analysis.conditions import Still
from sootline.analysis.detect.base import Detector
from sootline.analysis.drift import Drift
from sootline.analysis.follow.heating import NOISE_SD
from sootline.analysis.follow.rest import Rests
from sootline.analysis.glitch import MAY_CHANGE
from sootline.analysis.marks import Mark
from sootline.channels import CHANNELS
from sootline.profile import LogEntry

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

LOOK_MS = 1_800_000
FORGET_MS = 600_000
SPAN_MS = 600_000
HOT = ("tank", "nozzle", "stack", "return_air", "supply_air")
SLOW = ("room", "outdoor", "supply", "combustion_air")
MOVED_K = 5.0
COARSE_K = 0.5  # a probe that counts no finer
NE107 = {
    "open": "failure", "short": "failure", "absent": "failure", "frozen": "failure", "range": "failure",
    "crc": "maintenance required", "spiking": "maintenance required", "drifted": "out of specification",
}  # fmt: skip


class SensorFault(Detector):
    """The owner sees: which probe lies, how, and what cannot be watched meanwhile.

    Rules, each for 30 min gone before it returns:
    open, short, range, crc, absent: said by the board, lasting 30 s (or 3 within 10 min); a channel that was there and
    has been silent for 10 min while others speak;
    frozen: not one count in 2 h (room, outdoor, supply, and return air in steps of 0.5 K or more: 12 h) while tank,
    nozzle or stack moved by > 5 K, noise aside;
    at rest a stack in the wind says nothing of the others;
    spiking: 3 single readings within 10 min that no probe can follow (bad contact, ignition noise; see glitch.py);
    drifted: in rests of over two hours, where it is heading (follow/rest.py) has left its usual difference to more than
    half of the other probes by a CUSUM made for 8 K (drift.py).
    Medium; high when the oil's own temperature is lost while its heater may be on. Health by NAMUR NE 107.
    Wrong: a probe that truly stands still; 1 in 2 seasons.
    Drift: less than once in 25 seasons. Blind to: drift below 4 K; that of oil that is kept warm; on a furnace that
    never rests two hours; of two probes alone the one in the air is believed.
    """

    alarm = "sensor-fault"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._bad: dict[str, tuple[int, int, int, str]] = {}  # first, last, count, kind
        self._drift = Drift(self.settings.cold_drift_K)
        self._drifted: set[str] = set()
        self._step_K: dict[str, float] = {}
        self._stands: dict[str, bool] = {}
        self._spikes: dict[str, deque[int]] = {}
        self.plant.on_fault(self._fault)
        for channel in (*HOT, *SLOW):
            self.plant.watch(Still(f"{channel}-still", channel, self._span_ms(channel)), self._still)
        for channel in MAY_CHANGE:
            self.plant.on(f"{channel}-glitch", self._glitch)
        Rests(engine).on_rest.append(self._rested)
        self.plant.on_log(self._logged)
        engine.every(LOOK_MS, self._look)

    def _fault(self, channel: str, kind: str) -> None:
        now = self.plant.now_ms
        first, last, count, _ = self._bad.get(channel, (now, now, 0, kind))
        if now - last > FORGET_MS:
            first, count = now, 0
        self._bad[channel] = (first, now, count + 1, kind)
        lasting = now - first >= self.settings.bad_readings_s * 1000
        if lasting or count + 1 >= 3:
            self._raise(channel, kind, first)

    def _raise(self, channel: str, kind: str, at_ms: int, **detail: Any) -> None:
        blind = sorted(
            k.id for k in KINDS.values() if channel in k.reads or ("*" in k.reads and channel in self.engine.heating)
        )
        self.plant.raise_(
            self.alarm, self._priority(channel), at_ms=at_ms, channel=channel, fault=kind, health=NE107[kind],
            blind_to=blind, **detail,
        )  # fmt: skip
        first, _, count, _ = self._bad.get(channel, (at_ms, 0, 0, kind))
        self._bad[channel] = (first, self.plant.now_ms, count, kind)

    def _priority(self, channel: str) -> Priority:
        heating = self.engine.heating.get(channel)
        if heating is None:
            return "medium"
        drive = self.plant.state(f"{channel}_heater")
        may_heat = drive is True or (drive is None and heating.may_heat())
        return "high" if may_heat else "medium"

    def _look(self) -> None:
        now = self.plant.now_ms
        heard = self.plant.history.heard()
        silent = [channel for channel, t in heard.items() if now - t > FORGET_MS]
        if silent and now - max(heard.values()) <= self.plant.sampling.idle_gap_ms:
            for channel in sorted(silent, key=list(CHANNELS).index):
                self._silent(channel, heard[channel])
        self._steps("return_air")
        for channel in list(self._bad):
            self._good(channel)

    def _silent(self, channel: str, heard_ms: int) -> None:
        """A channel that was there and says nothing while others speak."""
        silent_ms = max(FORGET_MS, 5 * self.plant.sampling.idle_gap_ms // 3)
        bad = self._bad.get(channel)
        fault_said = bad is not None and self.plant.now_ms - bad[1] < FORGET_MS
        if self.plant.now_ms - heard_ms > silent_ms and not fault_said:
            self._raise(channel, "absent", heard_ms + silent_ms)

    def _steps(self, channel: str) -> None:
        """The smallest step its readings make, as far as it matters: how finely the probe counts."""
        if self._step_K.get(channel, math.inf) < COARSE_K:
            return
        x = self.plant.history.window(channel, self.plant.now_ms - LOOK_MS, self.plant.now_ms)[1]
        steps = np.abs(np.diff(x))
        if (steps > 0).any():
            self._step_K[channel] = min(self._step_K.get(channel, math.inf), float(steps[steps > 0].min()))

    def _still(self, mark: Mark) -> None:
        channel = mark.subject.removesuffix("-still")
        self._stands[channel] = bool(mark.on)
        if mark.on:
            self._frozen(channel, mark.at_ms)

    def _frozen(self, channel: str, since_ms: int) -> None:
        """It stands still; a fault once others have moved meanwhile."""
        if not self._stands.get(channel) or self.plant.changed_ms(f"{channel}-still") != since_ms:
            return
        span_ms = self._span_ms(channel)
        moved = [c for c in ("tank", "nozzle", "stack") if c != channel and self._moved_K(c, span_ms) > MOVED_K]
        heated = self._burned_in(span_ms)
        if channel not in ("return_air", "supply_air", "stack"):
            heated = heated or moved != ["stack"]
        coarse = self._step_K.get(channel, 0.0) >= COARSE_K and channel == "return_air"
        if coarse:  # a thermostat may hold the room within one count
            heated = self.plant.now_ms - since_ms + span_ms >= 1000 * self.settings.frozen_slow_s
        if moved and heated and self.plant.value(channel) is not None:
            hours = (self.plant.now_ms - since_ms + span_ms) / 3_600_000
            self._raise(channel, "frozen", self.plant.now_ms, unchanged_h=round(hours, 1))
        self.plant.at(self.plant.now_ms + LOOK_MS, self._frozen, channel, since_ms)

    def _span_ms(self, channel: str) -> int:
        return round(1000 * (self.settings.frozen_s if channel in HOT else self.settings.frozen_slow_s))

    def _glitch(self, mark: Mark) -> None:
        channel = mark.subject.removesuffix("-glitch")
        times = self._spikes.setdefault(channel, deque(maxlen=round(self.settings.spikes)))
        times.append(mark.at_ms)
        if len(times) == times.maxlen and mark.at_ms - times[0] <= SPAN_MS:
            self._raise(channel, "spiking", mark.at_ms)

    def _burned_in(self, span_ms: int) -> bool:
        fire = self.engine.fire
        return bool(fire.on) or (fire.last_end_ms is not None and self.plant.now_ms - fire.last_end_ms < span_ms // 2)

    def _moved_K(self, channel: str, span_ms: int) -> float:
        x = self.plant.history.window(channel, self.plant.now_ms - min(span_ms, 7_200_000), self.plant.now_ms)[1]
        return float(x.max() - x.min()) - 2 * NOISE_SD * self.plant.noise(channel) if len(x) else 0.0

    def _good(self, channel: str) -> None:
        bad = self._bad.get(channel)
        if bad is None or self.plant.now_ms - bad[1] < self.settings.good_s * 1000:
            return
        latest = self.plant.history.latest(channel)
        if latest is not None and self.plant.now_ms - latest[0] <= self.plant.sampling.idle_gap_ms:
            del self._bad[channel]
            self.plant.clear(self.alarm, channel)

    def _rested(self, ends_C: dict[str, float]) -> None:
        """A rest is over: compare where the probes were heading."""
        good = {c: end for c, end in ends_C.items() if c not in self._bad}
        off_K = self._drift.add(good)
        for channel, by_K in off_K.items():
            self._drifted.add(channel)
            self._raise(channel, "drifted", self.plant.now_ms, drift_K=round(by_K, 1))
            del self._bad[channel]  # it returns with the next rest in which it agrees, not after half an hour
        for channel in sorted(self._drifted & good.keys() - off_K.keys()):
            self._drifted.discard(channel)
            self.plant.clear(self.alarm, channel)

    def _logged(self, entry: LogEntry) -> None:
        """Whoever repairs puts the probe right, or another in its place."""
        if entry.kind in ("repair", "service"):
            for channel in sorted(self._drifted):
                self._drift.forget(channel)
                self.plant.clear(self.alarm, channel, at_ms=entry.at_ms)
            self._drifted.clear()
