"""What the evidence compares with: features of refills, firings and preheats over weeks, and the last log entries."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sootline.analysis.causes.daily import Daily
from sootline.analysis.follow.pump import Run
from sootline.events import Event
from sootline.profile import LogEntry

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

HOUR_MS, DAY_MS = 3_600_000, 86_400_000
MOST_REST_H = 12.0  # a longer rest is a setback or a pause, not a cycle
FEATURES = (
    "refill_s", "refill_fall_share", "refill_interval_s", "refill_oil_C", "suction_Pa", "stack_net_K", "supply_rise_K",
    "return_C", "air_Pa", "draft_Pa", "draft_drop_Pa", "to_flame_s", "first_to_flame_s", "lit_nozzle_C",
    "tank_start_C", "nozzle_start_C", "tank_heater_A", "nozzle_heater_A", "level_before", "level_after",
    "cycles_most_per_h", "fire_s", "loop_firing", "loop_heating",
)  # fmt: skip
SETTLED_MS = 480_000  # a shorter firing says little about the steady stack
SETTLING_MS = 240_000
FALL_MS = 45_000
SMOOTH_MS = 20_000
SUPPLY_C = 5.0  # of oil from an unheated place, where it is not measured
MOST_CLIMB_K_S = 0.1  # 1 kW in 5 l of oil
FALL_EVERY = 4  # of so many refills one is enough to know what is usual


@dataclass(frozen=True, slots=True)
class Burn:
    """A finished firing, as far as its end tells why it ended. called: the call was still on just after."""

    start_ms: int
    end_ms: int
    called: bool | None
    limited: bool


class Recorder:
    """Subscribes to the events of one engine. `daily[feature]` for each of FEATURES."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.plant = engine.plant
        self.daily = {name: Daily() for name in FEATURES}
        self.runs: deque[Run] = deque(maxlen=30)
        self.burns: deque[Burn] = deque(maxlen=12)
        self.log: deque[LogEntry] = deque(maxlen=20)
        self.last_refill: Event | None = None
        self.settled_ms = 0  # end of the last firing long enough to tell the steady features
        self._refills = 0
        engine.pump.on_ended.insert(0, self.runs.append)  # before a detector raises an alarm about this run
        self.plant.on_event("refill", self._refill, learns=True)
        self.plant.on_event("firing", self._firing, learns=True)
        self.plant.on_event("preheat", self._preheat, learns=True)
        self.plant.on_log(self.log.append)

    def entered(self, kind: str, until_ms: int, days: float) -> LogEntry | None:
        """The last log entry of a kind in so many days before a time, or None."""
        found = (entry for entry in reversed(self.log) if entry.kind == kind and entry.at_ms <= until_ms)
        entry = next(found, None)
        return entry if entry is not None and until_ms - entry.at_ms <= days * DAY_MS else None

    def _add(self, feature: str, t_ms: int, value: float | None) -> None:
        self.daily[feature].add(t_ms, value)

    def _refill(self, event: Event) -> None:
        self.last_refill = event
        if event.features["stalled"]:
            return
        t_ms = event.end_ms
        oil_C = event.number("supply_C")
        self._add("refill_s", t_ms, event.number("on_time_s"))
        self._refills += 1
        if self._refills % FALL_EVERY == 0 or self._refills < 20:
            fall = self.fall(event.start_ms, event.end_ms)
            self._add("refill_fall_share", t_ms, None if fall is None else fall[0] / fall[1])
        self._add("refill_oil_C", t_ms, event.number("outdoor_C") if oil_C is None else oil_C)
        self._add("suction_Pa", t_ms, self.suction_Pa(event.start_ms, event.end_ms))
        self._add("level_before", t_ms, self.plant.history.mean("tank_level", event.start_ms - 60_000, event.start_ms))
        self._add("level_after", t_ms, self.plant.history.mean("tank_level", t_ms, t_ms + 60_000))
        burned = event.number("burned_s")
        if burned is not None and burned > 60.0:
            self._add("refill_interval_s", t_ms, burned)

    def fall(self, start_ms: int, end_ms: int) -> tuple[float, float] | None:
        """(steepest fall of the day tank within FALL_MS around a pump run, tank above the oil that comes) [K].

        Their ratio is the share of new oil in the tank; a climb under way before is taken to go on. None with too few
        readings, or a tank hardly warmer.

        Cold oil mixes in at once; a thermostat that lets the tank cool takes minutes, and so does not count.
        """
        climb = max(0.0, min(self._climb_K_s(start_ms), MOST_CLIMB_K_S))
        t, x = self.plant.history.window("tank", start_ms - 20_000, end_ms + 90_000)
        if len(t) < 4 or t[-1] < end_ms + 40_000:
            return None
        n = max(
            1, round(SMOOTH_MS / max(float(np.median(np.diff(t))), 1.0))
        )  # the largest of many noisy falls is noise
        if len(t) >= 3 * n:
            t, x = t[n - 1 :], np.convolve(x, np.full(n, 1 / n), "valid")
        before = np.minimum(np.searchsorted(t, t - FALL_MS), np.maximum(np.arange(len(t)) - 1, 0))
        fell = float((x[before] - x + climb * (t - t[before]) / 1000).max())
        supply_C = self.plant.history.mean("supply", start_ms, end_ms)
        apart_K = float(x[0]) - (SUPPLY_C if supply_C is None else supply_C)
        return (fell, apart_K) if apart_K > 15.0 else None

    def _climb_K_s(self, end_ms: int) -> float:
        t, x = self.plant.history.window("tank", end_ms - 70_000, end_ms)
        return float((x[-1] - x[0]) / (t[-1] - t[0]) * 1000) if len(t) >= 2 else 0.0

    def suction_Pa(self, start_ms: int, end_ms: int) -> float | None:
        """The deepest vacuum while the pump ran, after its first two seconds; None without a reading then."""
        x = self.plant.history.window("suction", start_ms + 2000, end_ms - 1)[1]
        return float(x.min()) if len(x) else None

    def _firing(self, event: Event) -> None:
        plant, t_ms = self.plant, event.end_ms
        history = plant.history
        called = plant.state("call") if plant.has("call") else None
        limited = history.window("limit", t_ms - 15_000, plant.now_ms)[1]
        self._ended(event, called, bool((limited > 0.5).any()))
        self._cycled()
        to_flame = event.number("time_to_flame_s")
        rested = len(self.burns) < 2 or event.start_ms - self.burns[-2].end_ms > 4 * 3_600_000
        self._add("first_to_flame_s" if rested else "to_flame_s", t_ms, to_flame)
        lit_nozzle_C = history.at("nozzle", event.start_ms) if plant.now_ms - event.start_ms < 3 * 3_600_000 else None
        self._add("lit_nozzle_C", t_ms, lit_nozzle_C)
        if event.end_ms - event.start_ms >= SETTLED_MS:
            self.settled_ms = event.end_ms
            self._add("fire_s", t_ms, event.duration_s)
            self._add("loop_firing", t_ms, history.at("circulation", t_ms - SETTLING_MS))
            for feature, value in self.levels(t_ms).items():
                self._add(feature, t_ms, value)

    def _cycled(self) -> None:
        """Cycles an hour at half load, by the last rest and the fire after it (see the evidence `cycles-faster`)."""
        if len(self.burns) < 2:
            return
        before, burn = self.burns[-2], self.burns[-1]
        on_h, rest_h = (burn.end_ms - burn.start_ms) / HOUR_MS, (burn.start_ms - before.end_ms) / HOUR_MS
        if on_h > 0 and 0 < rest_h < MOST_REST_H:
            self._add("cycles_most_per_h", burn.end_ms, (on_h + rest_h) / (4 * on_h * rest_h))

    def _ended(self, event: Event, called: bool | None, limited: bool) -> None:
        self.burns.append(Burn(event.start_ms, event.end_ms, called, limited))

    def levels(self, end_ms: int) -> dict[str, float | None]:
        """The steady features of a fire over the four minutes before a moment."""
        history, start_ms = self.plant.history, end_ms - SETTLING_MS

        def mean(channel: str) -> float | None:
            return history.mean(channel, start_ms, end_ms)

        returned = mean("return_air")
        if returned is None:
            returned = mean("room")
        stack, supply, draft, fire = mean("stack"), mean("supply_air"), mean("draft_breech"), mean("draft_fire")
        return {
            "stack_net_K": None if stack is None else stack - (20.0 if returned is None else returned),
            "supply_rise_K": None if supply is None or returned is None else supply - returned,
            "return_C": returned,
            "air_Pa": mean("air_pressure"),
            "draft_Pa": draft,
            "draft_drop_Pa": None if draft is None or fire is None else fire - draft,
        }

    def _preheat(self, event: Event) -> None:
        channel, start_C = str(event.features["channel"]), event.number("start_C")
        self._add(f"{channel}_start_C", event.end_ms, start_C)
        self._add("loop_heating", event.end_ms, self.plant.history.at("circulation", event.end_ms - 60_000))
        self._add(f"{channel}_heater_A", event.end_ms, self.heater_A(channel, event.start_ms, event.end_ms))

    def heater_A(self, channel: str, start_ms: int, end_ms: int) -> float | None:
        """Mean current [A] while any flowed, 0.0 when none did; None without readings."""
        x = self.plant.history.window(f"{channel}_heater_current", start_ms, end_ms)[1]
        if not len(x):
            return None
        flowing = x[x > 0.2]
        return float(flowing.mean()) if len(flowing) else 0.0
