"""`heater-stuck-on`: oil goes on heating when nothing should heat it; solid-state relays fail closed."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from sootline.analysis.conditions import Level, Mask, Slope
from sootline.analysis.detect.base import Detector
from sootline.analysis.marks import Mark
from sootline.now import Readiness
from sootline.profile import LogEntry
from sootline.series import Times

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

WINDOW_MS = 180_000
AGAIN_MS = 60_000
SURE_SD = 5.0  # standard errors: looked at every minute, noise does that once in thousands of days
RATE_MS = 100_000  # so short that it lies wholly after the drive went off


class HeaterStuckOn(Detector):
    """The owner sees: a heater is stuck on, the temperature now and how fast it climbs.

    Rule, for day tank and nozzle block, least-squares slope over 100 s > max(0.5 K/min, 0.4 x its usual climb: an
    overshoot dies away, a shorted relay heats on) and > 5 of its standard errors, and one of
    (a) its drive has been off for 3 min;
    (b) the oil is 5 K above the control band: the set point or its highest usual hourly peak;
    (c) no call for 3 min on a furnace that heats only on call.
    The nozzle block soaks in chamber heat after a firing: for 25 min only (b), at twice the margin, counts; in a firing
    oil flows through and cools it, so that any climb > 0.5 K/min does.
    Returns when the climb has ended and a person has seen it. Source: contract; relays fail closed (common practice).
    Wrong: a thermostat turned up without a log entry; 1 in 3 seasons.
    Blind to: a stuck heater on a kept-warm furnace without its drive, until it leaves the control band.
    """

    alarm = "heater-stuck-on"

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._over: set[str] = set()  # channels above their band
        self._looked_at: dict[str, int] = {}  # since when the climb climbs that is looked at every minute
        self._restless: dict[str, int] = {}  # likewise, until it ends: it has been above its band
        self.plant.on("call", self._asked)
        for channel in engine.heating:
            self.plant.on(f"{channel}_heater", self._asked)
            limit = self.settings.stuck_K_per_min * WINDOW_MS / 60_000
            climbs = Slope(f"{channel}-keeps-climbing", channel, WINDOW_MS, limit, limit / 2)
            self.plant.watch(climbs, self._climbs, unless=partial(self._is_meant, channel))
            self._watch_band(channel)
        self.plant.on_log(self._logged)

    def readiness(self) -> Readiness:
        known = any(self.plant.has(f"{channel}_heater") for channel in self.engine.heating)
        on_call = self.plant.has("call") and self.plant.profile.furnace.heating == "on-call"
        if known or on_call or self.plant.setpoint_C("tank") is not None:
            return super().readiness()
        return self.blind("tank_heater")

    def _logged(self, entry: LogEntry) -> None:
        if entry.kind == "setpoint" and entry.channel in self.engine.heating:
            self._watch_band(entry.channel)
            self._over.discard(entry.channel)
            if (since_ms := self._climbs_since(entry.channel)) is not None:
                self._restless[entry.channel] = since_ms
                self._wake(entry.channel)

    def _watch_band(self, channel: str) -> None:
        target = self.plant.setpoint_C(channel)
        if target is not None:
            top = target + self.settings.stuck_over_K
            self.plant.watch(Level(f"{channel}-over-band", channel, top, top - 2.0), self._over_band)

    def _is_meant(self, channel: str, times: Times) -> Mask:
        """At which of these times a climb of the channel is nobody's business: asked for, and not above its band."""
        below = self.plant.around(f"{channel}-over-band", times, holds=False)
        if f"{channel}_heater" in self.plant.history:
            return below & self.plant.stands_on(f"{channel}_heater", times)
        return below & self.plant.stands_on("call", times) if self._on_call() else below

    def _climbs_since(self, channel: str) -> int | None:
        return self.plant.held_since_ms(f"{channel}-keeps-climbing")

    def _climbs(self, mark: Mark) -> None:
        channel = mark.subject.removesuffix("-keeps-climbing")
        if mark.on:
            self._look(channel)
        else:
            self._back(channel)

    def _over_band(self, mark: Mark) -> None:
        channel = mark.subject.removesuffix("-over-band")
        if mark.on:
            self._over.add(channel)
            self._wake(channel)
            self._look(channel)
        else:
            self._over.discard(channel)
            self._back(channel)

    def _asked(self, mark: Mark) -> None:
        for channel in () if mark.on else self.engine.heating:
            self._wake(channel)

    def _wake(self, channel: str) -> None:
        """Look at a climb that seemed to be meant, a whole number of minutes after it began."""
        since_ms = self._climbs_since(channel)
        if since_ms is not None and self._looked_at.get(channel) != since_ms:
            self._looked_at[channel] = since_ms
            waited_ms = -(-(self.plant.now_ms - since_ms) // AGAIN_MS) * AGAIN_MS
            self.plant.at(since_ms + waited_ms, self._again, channel, since_ms)

    def _back(self, channel: str) -> None:
        stands = self.plant.book.standing(self.alarm, channel) is not None
        if stands and self._climbs_since(channel) is None and not self._above_band(channel):
            self.plant.clear(self.alarm, channel)

    def _look(self, channel: str) -> None:
        """Raise if the climb has no good reason; else look again while it goes on."""
        since_ms = self._climbs_since(channel)
        if since_ms is None:
            return
        if channel in self._over:
            self._restless[channel] = since_ms
        elif self.plant.setpoint_C(channel) is None and self._target_C(channel) is not None:
            pass  # no band is watched for it: looked at for as long as it climbs
        elif self._restless.get(channel) != since_ms and not self._unasked(channel):
            self._looked_at.pop(channel, None)  # it is meant to climb, until something changes
            return
        reason = self._reason(channel)
        rate = self._rate_K_per_min(channel, since_ms) if reason is not None else None
        usual = self.engine.heating[channel].usual_K_per_min.median or 0.0
        share = 0.0 if reason is not None and reason.startswith("far") else self.settings.stuck_share
        if rate is not None and rate > max(self.settings.stuck_K_per_min, share * usual):
            self.plant.raise_(
                self.alarm, "critical", channel=channel, reason=reason, climb_K_per_min=round(rate, 2),
                oil_C=self.plant.value(channel),
            )  # fmt: skip
        self._looked_at[channel] = since_ms
        self.plant.at(self.plant.now_ms + AGAIN_MS, self._again, channel, since_ms)

    def _rate_K_per_min(self, channel: str, climbs_ms: int) -> float | None:
        """How fast it climbs; None where noise may do that. A noisy probe needs longer than a good one."""
        after = f"{channel}_heater" if self.plant.has(f"{channel}_heater") else "call"
        overshot_ms = round(self.settings.stuck_after_s * 1000) - RATE_MS
        since_ms = max((self.plant.changed_ms(after) or 0) + overshot_ms, climbs_ms - WINDOW_MS)
        for window_ms in (RATE_MS, 2 * RATE_MS, 4 * RATE_MS):
            rate, error = self.plant.trend_per_min(channel, window_ms)
            if rate > SURE_SD * error:
                return rate
            if self.plant.now_ms - 2 * window_ms < since_ms:
                break
        return None

    def _unasked(self, channel: str) -> bool:
        """Whether it might have to be told that nothing asks for this heat."""
        asks = f"{channel}_heater" if self.plant.has(f"{channel}_heater") else "call" if self._on_call() else None
        return asks is not None and self.plant.has(asks) and self.plant.state(asks) is not True

    def _again(self, channel: str, since_ms: int) -> None:
        if self._climbs_since(channel) != since_ms:
            self._back(channel)
        elif self.plant.book.standing(self.alarm, channel) is None:
            self._look(channel)
        else:
            self.plant.at(self.plant.now_ms + AGAIN_MS, self._again, channel, since_ms)

    def _reason(self, channel: str) -> str | None:
        now, after_ms = self.plant.now_ms, round(self.settings.stuck_after_s * 1000)
        if channel == "nozzle" and self._soaking():
            return "far above the control band" if self._above_band(channel, 2.0) else None
        drive = f"{channel}_heater"
        if self.plant.has(drive):
            if self.plant.state(drive) is False and not self._was_on(drive, now - after_ms):
                return "its drive is off"
        elif self._on_call() and self.plant.state("call") is False and not self._was_on("call", now - after_ms):
            return "no call for heat"
        return "above the control band" if self._above_band(channel) and self.plant.state(drive) is not True else None

    def _on_call(self) -> bool:
        return self.plant.profile.furnace.heating == "on-call"

    def _soaking(self) -> bool:
        """The nozzle block is in the heat of a fire that burns or has just ended."""
        fire = self.engine.fire
        if fire.on:
            return True
        soak_ms = round(self.settings.soak_s * 1000)
        return fire.last_end_ms is not None and self.plant.now_ms - fire.last_end_ms < soak_ms

    def _was_on(self, channel: str, since_ms: int) -> bool:
        """Whether it was on, or not known to be off, at any moment since then."""
        t, x = self.plant.history.window(channel, since_ms - self.plant.sampling.idle_gap_ms, self.plant.now_ms)
        if not len(t):
            return True
        first = max(0, int((t <= since_ms).sum()) - 1)
        return bool((x[first:] > 0.5).any())

    def _target_C(self, channel: str) -> float | None:
        """The set point, or where its climbs usually end."""
        given = self.plant.setpoint_C(channel)
        return given if given is not None else self.engine.heating[channel].target_C()

    def _above_band(self, channel: str, times: float = 1.0) -> bool:
        target, value = self._target_C(channel), self.plant.value(channel)
        if target is None or value is None or value <= target:
            return False
        top = self.engine.heating[channel].band_top_C()
        if top is None:  # still learning: twice as wide
            return value > target + 2 * self.settings.learning_factor * times * self.settings.stuck_over_K
        return value > max(target, top) + times * self.settings.stuck_over_K
