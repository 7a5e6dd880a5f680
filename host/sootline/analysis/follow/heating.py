"""Heating of the day tank or the nozzle block: each climb from cold to its set point, as a preheat event."""

from __future__ import annotations

import math
import statistics
from collections import deque
from collections.abc import Callable

import numpy as np

from sootline.analysis.conditions import Level, Mask, Slope
from sootline.analysis.follow.fire import Fire
from sootline.analysis.marks import Mark
from sootline.analysis.plant import Plant
from sootline.analysis.usual import MAD_TO_SD, Usual
from sootline.events import Event
from sootline.profile import LogEntry
from sootline.series import Times

COLD_K = 8.0  # a climb counts as a preheat from this far under the set point
HOUR_MS = 3_600_000
GIVE_UP_MS = 300_000
NOISE_SD = 3.0  # of single readings
PLAIN_SD, AGAIN_MS = 4.0, 60_000  # a trend of so many standard errors is no noise
SWING_MS = 180_000  # a thermostat swings through its set point at least this often
HOLDS_MS = 600_000
IDLE_NEED, IDLE_SHARE = 3, 0.8
FALLS_K = 1.0  # below its highest it falls, and is not merely noisy
STOPS_SHORT = 0.05  # of a climb: thermostats are marked no better (common practice)
READY_K = 3.0  # within this of the set point the oil is ready


class Heating:
    """Follows one heated channel. `start_ms`/`start_C` belong to the climb under way, None while there is none."""

    def __init__(self, plant: Plant, fire: Fire, channel: str, after: Heating | None = None) -> None:
        """after: what is heated first in a call (the nozzle block often waits until the day tank is warm)."""
        self.plant = plant
        self.after = after
        self.fire = fire
        self.channel = channel
        self.start_ms: int | None = None
        self.start_C = 0.0
        self._warm = False  # it has come near its set point and not fallen far below since
        self.usual_K_per_min = Usual(20)
        self.usual_end_C = Usual(20)
        self.hourly_peak_C = Usual(100)
        self._idle: deque[bool] = deque(maxlen=48)  # of each hour without fire: was it warm throughout?
        self.held_C = Usual(30)  # at the end of firings
        self.on_begun: list[Callable[[Heating], None]] = []
        self.on_done: list[Callable[[Event | None], None]] = []
        settings = plant.settings
        window_ms = round(settings.climb_window_s * 1000)
        climbs = Slope(f"{channel}-climbs", channel, window_ms, settings.climb_K, settings.climb_K / 2)
        plant.watch(climbs, self._climbs, unless=self._is_warm)  # there it has ended and cannot begin
        plant.on("call", self._called)
        plant.on(f"{channel}_heater", self._called)
        plant.on_log(self._logged)
        plant.on_event("firing", self._fired, learns=True)
        self._watch_ready()
        if after is not None:
            after.on_done.append(self._first_is_warm)

    def target_C(self) -> float | None:
        """The set point, or the lower level its control holds, or where its climbs usually end; None: unknown."""
        given = self.plant.setpoint_C(self.channel)
        if given is None:
            return self.usual_end_C.median if self.usual_end_C.count >= 3 else None
        held = self.held_C.median if self.held_C.count >= 5 else None
        return held if held is not None and held < given else given

    def rate_sd(self) -> float:
        """Robust standard deviation of the log rates of its climbs; 0 while fewer than five are known."""
        rates = [math.log(rate) for rate in self.usual_K_per_min.values if rate > 0]
        if len(rates) < 5:
            return 0.0
        middle = statistics.median(rates)
        return MAD_TO_SD * statistics.median(abs(rate - middle) for rate in rates)

    def missing_K(self) -> float | None:
        """How far the oil is under its set point now [K]; None when either is unknown."""
        target, value = self.target_C(), self.plant.value(self.channel)
        return None if target is None or value is None else target - value

    def nearest_K(self) -> float | None:
        """How near it has come to its set point within one swing of a thermostat [K under it]; None when unknown."""
        target = self.target_C()
        x = self.plant.history.window(self.channel, self.plant.now_ms - SWING_MS, self.plant.now_ms)[1]
        return None if target is None or not len(x) else target - float(x.max())

    def falls(self, since_ms: int) -> bool:
        """It has only fallen since its highest: the call has ended, or its thermostat has not turned it yet."""
        x = self.plant.history.window(self.channel, since_ms, self.plant.now_ms)[1]
        if not len(x):
            return False
        down, noise_K = x[int(x.argmax()) :], self.plant.noise(self.channel)
        fallen = down[0] - np.median(down[-3:]) > FALLS_K + NOISE_SD * noise_K
        return bool(fallen and down[-1] < down.min() + FALLS_K / 4 + NOISE_SD * noise_K)

    def fell_back(self, since_ms: int) -> bool:
        """It has fallen from its highest since then, as after the end of a call that nobody reports."""
        if self.plant.has("call") or self._keeps_warm():
            return False
        x = self.plant.history.window(self.channel, since_ms, self.plant.now_ms)[1]
        return bool(len(x)) and float(x.max() - np.median(x[-3:])) > READY_K + NOISE_SD * self.plant.noise(self.channel)

    def expected(self) -> bool:
        """Whether the heater should be heating now: by its own drive, the call, or the keep-warm rule."""
        drive = self.plant.state(f"{self.channel}_heater")
        if drive is not None:
            return drive
        if self.plant.state("low_level") or self.plant.state("power") is False:
            return False
        if self.plant.profile.furnace.heating == "keep-warm":
            return True
        return self.plant.state("call") is True or (self.start_ms is not None and not self.plant.has("call"))

    def may_heat(self) -> bool:
        """Whether nothing seen here rules out that the heater is on."""
        if self.plant.profile.furnace.heating == "keep-warm" or not self.plant.has("call"):
            return True
        return self.plant.state("call") is not False

    def _is_warm(self, times: Times) -> Mask:
        return self.plant.around(f"{self.channel}-ready", times, holds=True)

    def _watch_ready(self) -> None:
        target = self.plant.setpoint_C(self.channel)
        if target is not None:
            ready = Level(f"{self.channel}-ready", self.channel, target - READY_K, target - COLD_K)
            self.plant.watch(ready, self._ready)
            self._warm = False

    def _logged(self, entry: LogEntry) -> None:
        if entry.kind == "setpoint" and entry.channel == self.channel:
            self.held_C, self.hourly_peak_C, self.usual_end_C = Usual(30), Usual(100), Usual(20)
            self._watch_ready()

    def _fired(self, event: Event) -> None:
        value = event.number(f"{self.channel}_end")
        if value is not None and event.duration_s >= 300 and self.start_ms is None:
            self.held_C.add(value)

    def _called(self, mark: Mark) -> None:
        if mark.on and self.start_ms is None and not self._warm:
            if self.after is not None and mark.subject == "call":
                self.plant.at(mark.at_ms + 2 * GIVE_UP_MS, self._still_cold)  # its turn comes when its control says so
                return
            missing = self.missing_K()
            if missing is not None and missing > COLD_K:
                self._begin(mark.at_ms)
        elif mark.on is False and mark.subject == "call" and self.start_ms is not None and not self._keeps_warm():
            self._end(mark.at_ms, reached=False)

    def _first_is_warm(self, event: Event | None) -> None:
        missing = self.missing_K()
        if event is not None and self.start_ms is None and missing is not None and missing > COLD_K:
            self.plant.at(self.plant.now_ms + 2 * GIVE_UP_MS, self._still_cold)

    def _still_cold(self) -> None:
        """What is heated first has long been warm: this should be heating by now."""
        missing = self.missing_K()
        first_cold = self.after is not None and self.after.start_ms is not None
        if self.start_ms is None and missing is not None and missing > COLD_K and self.expected() and not first_cold:
            self._begin(self.plant.now_ms)

    def _keeps_warm(self) -> bool:
        return self.plant.profile.furnace.heating == "keep-warm"

    def _climbs(self, mark: Mark) -> None:
        if mark.on:
            self._rises(mark.at_ms)
        elif self.start_ms is not None:
            nearest, target = self.nearest_K(), self.target_C() or 0.0
            if nearest is None or nearest <= READY_K + STOPS_SHORT * max(target - self.start_C, 0.0):
                self._end(self._reached_ms(self.start_ms, mark.at_ms), reached=True)
            elif not self.plant.has("call") and not self._keeps_warm():
                self.plant.at(mark.at_ms + GIVE_UP_MS, self._given_up, self.start_ms)

    def _rises(self, noticed_ms: int) -> None:
        """A rise has been noticed: the beginning of a climb, unless it is the noise of a bad probe."""
        rising_ms = self.plant.held_since_ms(f"{self.channel}-climbs")
        if rising_ms != noticed_ms or self.start_ms is not None or self._warm:
            return
        rate, error = self.plant.trend_per_min(self.channel, round(self.plant.settings.climb_window_s * 1000))
        if rate < PLAIN_SD * error:
            self.plant.at(self.plant.now_ms + AGAIN_MS, self._rises, noticed_ms)
            return
        drive = self.plant.state(f"{self.channel}_heater")
        called = self._keeps_warm() or self.plant.state("call") is not False
        if self.fire.on or not (drive if drive is not None else called):
            return
        missing, now = self.missing_K(), self.plant.now_ms
        cooling = self.fire.last_end_ms is not None and now - self.fire.last_end_ms < 1_800_000
        if (missing is None and not cooling) or (missing is not None and missing > COLD_K):
            self._begin(self._climb_began(now))

    def _given_up(self, start_ms: int) -> None:
        """Nobody says that the call ended, but the oil falls: it is not being heated any more."""
        if self.start_ms != start_ms:
            return
        if self.fell_back(start_ms):
            self._end(self.plant.now_ms, reached=False)
        else:
            self.plant.at(self.plant.now_ms + GIVE_UP_MS, self._given_up, start_ms)

    def _climb_began(self, at_ms: int) -> int:
        """Where the rise that was noticed at at_ms left its lowest level."""
        t, x = self.plant.history.window(self.channel, at_ms - round(self.plant.settings.climb_window_s * 1000), at_ms)
        return int(t[(x <= x.min() + 0.5).nonzero()[0][-1]])

    def _ready(self, mark: Mark) -> None:
        self._warm = bool(mark.on)
        if mark.on and self.start_ms is not None:
            self._end(mark.at_ms, reached=True, near_ms=self._reached_ms(self.start_ms, mark.at_ms))
        elif mark.on is False and self._keeps_warm() and self.held_when_idle():
            self.plant.at(mark.at_ms + 2 * GIVE_UP_MS, self._still_cold)  # a refill alone is over by then

    def held_when_idle(self) -> bool:
        """Kept warm between firings, by its own past."""
        return len(self._idle) >= IDLE_NEED and sum(self._idle) >= IDLE_SHARE * len(self._idle)

    def holds(self, since_ms: int) -> bool:
        """Something heats it: near its set point it stands still, or has turned up after a fall since then."""
        nearest, now, noise_K = self.nearest_K(), self.plant.now_ms, self.plant.noise(self.channel)
        if nearest is None or nearest > COLD_K:
            return False
        x = self.plant.history.window(self.channel, now - HOLDS_MS, now)[1]
        slope = self.plant.slope_per_min(self.channel, HOLDS_MS // 2)
        still = len(x) and float(x.max() - x.min()) < 1.5 * FALLS_K + 2 * NOISE_SD * noise_K
        if still and slope is not None and slope > -FALLS_K / 10:
            return True
        x = self.plant.history.window(self.channel, since_ms, now)[1]
        if not len(x):
            return False
        fallen = np.flatnonzero(np.maximum.accumulate(x) - x > FALLS_K / 2 + 2 * NOISE_SD * noise_K)
        after = x[fallen[0] :] if len(fallen) else x[:0]
        return bool(len(after)) and float((after - np.minimum.accumulate(after)).max()) > (
            FALLS_K + 2 * NOISE_SD * noise_K
        )

    def highest_ms(self, since_ms: int) -> int:
        """When it was hottest since then."""
        t, x = self.plant.history.window(self.channel, since_ms, self.plant.now_ms)
        return int(t[x.argmax()]) if len(x) else since_ms

    def _begin(self, at_ms: int) -> None:
        at = self.plant.history.window(self.channel, at_ms - 60_000, at_ms + 15_000)[1]
        self.start_ms = at_ms
        self.start_C = float(at[-1]) if len(at) else self.plant.value(self.channel) or 0.0
        for begun in self.on_begun:
            begun(self)

    def _end(self, at_ms: int, reached: bool, near_ms: int | None = None) -> None:
        """near_ms: when it came near at_ms's temperature; the rate is of the climb so far, not of what hovered on."""
        start_ms = self.start_ms
        assert start_ms is not None
        self.start_ms = None
        end_C = self.plant.history.mean(self.channel, at_ms - 10_000, at_ms)
        near_ms = at_ms if near_ms is None else near_ms
        near_C = self.plant.history.mean(self.channel, near_ms - 10_000, near_ms)
        minutes = (near_ms - start_ms) / 60_000
        event = None
        if (
            reached
            and end_C is not None
            and end_C - self.start_C >= COLD_K - READY_K
            and near_C is not None
            and minutes > 0
        ):
            rate = (near_C - self.start_C) / minutes
            features: dict[str, float | str | bool | None] = {
                "channel": self.channel,
                "start_C": self.start_C,
                "end_C": end_C,
                "rate_K_per_min": rate,
            }
            event = Event(self.plant.profile.furnace.id, "preheat", start_ms, at_ms, features)
        for done in self.on_done:
            done(event)
        if event is not None:
            self.plant.happened(event)

    def _reached_ms(self, start_ms: int, at_ms: int) -> int:
        """When it first came near where it ended: a thermostat set a little low is seen to stop late."""
        t, x = self.plant.history.window(self.channel, start_ms, at_ms)
        if not len(x):
            return at_ms
        short_K = max(1.0, STOPS_SHORT * (float(x.max()) - self.start_C))
        return int(t[(x >= x.max() - short_K).argmax()])

    def hourly(self) -> None:
        """Called every hour: how far its thermostat usually lets it go, while nothing is wrong with it."""
        target, now = self.target_C(), self.plant.now_ms
        x = self.plant.history.window(self.channel, now - HOUR_MS, now)[1]
        wrong = any(
            self.plant.book.standing(alarm, self.channel) for alarm in ("heater-stuck-on", "oil-overtemperature")
        )
        if target is None or not len(x) or wrong or not self.plant.learns(now - HOUR_MS, now):
            return
        peak_C = float(x.max())
        if peak_C >= target - READY_K:
            self.hourly_peak_C.add(peak_C)
        burned_ms = now if self.fire.on else self.fire.last_end_ms
        if self._keeps_warm() and burned_ms is not None and now - burned_ms > HOUR_MS:
            self._idle.append(peak_C >= target - COLD_K)

    def band_top_C(self) -> float | None:
        """The top of its control band [degC]: the highest of its usual hourly peaks; None until six are known."""
        return self.hourly_peak_C.highest if self.hourly_peak_C.count >= 6 else None
