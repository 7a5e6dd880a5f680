"""Refills: how long the pump ran, how far the day tank dipped, how long the fire had burned since the last one.

One refill is one float differential, so refills are counted for oil use; their seconds speak of pump, filter and cold
oil; the dip of the tank temperature tells whether oil came at all.
"""

import math
import statistics
from collections import deque
from operator import mul

import numpy as np

from sootline.analysis.follow.fire import Fire
from sootline.analysis.follow.pump import LOST, Pump, Run
from sootline.analysis.marks import Mark
from sootline.analysis.plant import Plant
from sootline.analysis.usual import Usual
from sootline.events import Event
from sootline.series import Floats, Times

DIP_MS = 60_000  # cold oil has pulled the day tank down within a minute
SMOOTH, NOISE_SD = 5, 4.5  # readings; the highest of a thousand is no farther out by chance
TREND_MS = 120_000
HALF_DIP = 0.5  # of the usual one
MIXED_MS = 240_000  # and the dip of the last refill itself is over by then
BY_CHANCE = 1e-4  # what is less likely than this is a fault


class Refills:
    """`usual_*` hold what normal refills of this furnace look like."""

    def __init__(self, plant: Plant, pump: Pump, fire: Fire) -> None:
        self.plant = plant
        self.pump = pump
        self.fire = fire
        self.usual_on_s = Usual()
        self.usual_dip_K = Usual()
        self.usual_burned_s = Usual()
        self.last_end_ms: int | None = None
        self._falls_K: deque[float] = deque(maxlen=50)  # within a minute, at refills whose run was seen
        self._counted_ms: int | None = None  # the last refill, seen or told by its dip
        self._seen = self._unseen = self._unseen_running = 0
        self._burned_at_last_s: float | None = None
        self._sight_at_last = 0
        self._learned_limit_s: float | None = None
        self._long_runs_s: list[float] = []
        pump.on_ended.append(self._ended)
        plant.on("pump", self._silence)

    @property
    def limit_s(self) -> float | None:
        """The limiter's run time: from the profile, else learned from stops at the same second; None while unknown."""
        return self.plant.profile.refill.limit_s or self._learned_limit_s

    def at_limit(self, on_s: float) -> bool:
        """Whether a run of on_s was ended by the limiter, as well as runs are timed here."""
        limit, settings = self.limit_s, self.plant.settings
        if limit is None:
            return False
        tolerance = max(settings.limit_tolerance_s, self.pump.resolution_s)
        over = max(settings.overrun_margin_s, settings.overrun_margin_ratio * limit, tolerance)
        return max(limit - tolerance, self._usually_below_s()) <= on_s <= limit + over

    def _usually_below_s(self) -> float:
        """Where samples time a run to an interval only: half an interval above the longest that usual ones may seem."""
        resolution_s, usual = self.pump.resolution_s, self.usual_on_s
        if resolution_s <= 1.0 or usual.count < 5:
            return 0.0
        longest_s = math.ceil(1.1 * statistics.fmean(usual.values) / resolution_s) * resolution_s
        return max(longest_s, usual.nearly_highest or 0.0) + resolution_s / 2

    def burned_since_last_s(self) -> float | None:
        """Burning time since the last refill [s]; None before the first, or where the fire was out of sight since."""
        seen = self.fire.on is not None and self.fire.losses_of_sight == self._sight_at_last and self.fire.trusted()
        if self._burned_at_last_s is None or not seen:
            return None
        return self.fire.burned_s() - self._burned_at_last_s

    def unseen_ms(self) -> int | None:
        """When a fall of the day tank shows a refill, since the last one, whose pump run was not seen; else None.

        Two fifths of the fall at a refill that was seen (a heater that is on takes half of it), and over three times
        what the tank loses in the same time by itself; the last such.
        """
        since_ms = self._counted_ms
        if len(self._falls_K) < 5 or since_ms is None:
            return None
        t, fall = self._fall_K(since_ms + MIXED_MS)
        if len(fall) < 10:
            return None
        itself = float(np.quantile(fall, 0.7))  # the refill itself fills a tenth of so short a look
        usual = statistics.median(self._falls_K)
        noise_K = NOISE_SD * self.plant.noise("tank") * math.sqrt(2 / SMOOTH)
        deep = np.flatnonzero(fall > max(0.4 * usual, 3.5 * itself, noise_K, self.plant.settings.dip_noise_K))
        return int(t[deep[-1]]) if len(deep) else None

    def hidden_ms(self) -> int | None:
        """When rows were lost since the last refill, in the midst of many, and the day tank dipped; or None."""
        if self._counted_ms is None or self.usual_dip_K.count < 5:
            return None
        t = self.plant.history.window("pump", self._counted_ms, self.plant.now_ms)[0]
        lost = np.diff(t) > LOST * 1000 * self.plant.sampling.interval_s
        for hole in np.flatnonzero(lost[1:-1] & ~lost[:-2] & ~lost[2:])[::-1].tolist():
            start_ms, end_ms = int(t[hole + 1]), int(t[hole + 2])
            dip = self._dip_over_K(start_ms, end_ms)
            if dip is not None and dip > HALF_DIP * (self.usual_dip_K.median or 0.0) + 2 * self.plant.noise("tank"):
                return end_ms
        return None

    def _dip_over_K(self, start_ms: int, end_ms: int) -> float | None:
        """How far the day tank lies below its own trend after a hole in the rows [K], noise smoothed."""
        t, x = self.plant.history.window("tank", start_ms - TREND_MS, start_ms)
        after_t, after = self.plant.history.window("tank", end_ms, end_ms + DIP_MS)
        if len(x) < SMOOTH or len(after) < SMOOTH:
            return None
        slope, level = np.polyfit((t - start_ms) / 1000, x, 1)
        below = level + slope * (after_t - start_ms) / 1000 - after
        return float(np.convolve(below, np.full(SMOOTH, 1 / SMOOTH), "valid").max())

    def _fall_K(self, since_ms: int) -> tuple[Times, Floats]:
        """By how much the day tank has fallen within the last minute, at each reading since then [K], smoothed."""
        t, x = self.plant.history.window("tank", since_ms, self.plant.now_ms)
        if len(x) >= SMOOTH:
            x = np.convolve(np.pad(x, SMOOTH // 2, "edge"), np.full(SMOOTH, 1 / SMOOTH), "valid")
        then = np.maximum(t.searchsorted(t - DIP_MS, "right") - 1, 0)
        return t, x[then] - x

    def take_unseen(self, at_ms: int, hidden: bool = False) -> None:
        """Count burning from the refill that was not seen. hidden: for rows were lost, not for the pump's sensing."""
        self._burned_at_last_s = self.fire.burned_s() - self.fire.burned_since_s(at_ms)
        self._counted_ms = at_ms
        if not hidden:
            self._unseen_running += 1
            self._unseen += 1

    @property
    def coarse(self) -> bool:
        """Samples lie so far apart that a run may fall between two of them."""
        return self.pump.resolution_s > 0.7 * (self.usual_on_s.median or math.inf)

    def sensing_lost(self) -> bool:
        """So many refills in a row were told by their dip alone that it is no chance any more.

        Samples on a fixed grid step over some short runs: at a share q of unseen ones, n in a row are q^n likely.
        """
        at_first = 0.5 if self.coarse else 0.05 if self.pump.resolution_s > 1.0 else 0.005
        before = self._unseen - self._unseen_running
        share = (before + 20 * at_first) / (before + self._seen + 20)
        return self._unseen_running >= max(1, int(math.log(BY_CHANCE) / math.log(share)))

    def _silence(self, mark: Mark) -> None:
        if mark.on is None:
            self._burned_at_last_s = None  # a refill may have been missed

    def dip_K(self, run: Run) -> float | None:
        """How far cold oil pulled the day tank below where it was heading [K]; None without readings."""
        history, start_ms = self.plant.history, run.start_ms
        t, x = history.window("tank", start_ms - 120_000, start_ms)
        after_t, after = history.window("tank", start_ms, self.plant.now_ms)
        if len(x) < 2 or len(after) < 2:
            return None
        since_ms, tank_C = (t - start_ms).tolist(), x.tolist()
        middle_ms = sum(since_ms) / len(x)
        around_ms = [at - middle_ms for at in since_ms]
        slope = sum(map(mul, around_ms, tank_C)) / sum(map(mul, around_ms, around_ms))  # [K/ms]
        slope = max(-2e-5, min(2e-5, slope)) if len(x) >= 4 else 0.0
        level_C = sum(tank_C) / len(x) - slope * middle_ms
        # a heater that was on keeps heating; one that was off is switched on by the dip: do not carry falls on
        if slope > 0:
            return float(np.maximum.reduce(level_C + slope * (after_t - start_ms) - after))
        return float(level_C - np.minimum.reduce(after))

    def _ended(self, run: Run) -> None:
        self._learn_limit(run)
        if run.known and run.on_s >= self.plant.settings.chatter_run_s:
            burned = self.burned_since_last_s()
            self._counts(run)
            self.plant.at(run.end_ms + round(self.plant.settings.dip_wait_s * 1000), self._measure, run, burned)
        elif not run.known:  # a refill of unknown length; after a silence `_silence` takes back that it was the last
            self._counts(run)

    def _counts(self, run: Run) -> None:
        self._burned_at_last_s, self._sight_at_last = self.fire.burned_s(), self.fire.losses_of_sight
        self.last_end_ms = self._counted_ms = run.end_ms
        self._seen, self._unseen_running = self._seen + 1, 0

    def _leaking(self) -> bool:
        """Oil is known to go elsewhere: what burns between refills is not the usual."""
        return any(self.plant.book.standing(alarm) for alarm in ("refill-without-burning", "oil-use-high"))

    def _measure(self, run: Run, burned_s: float | None) -> None:
        plant = self.plant
        dip = self.dip_K(run)
        stalled = self.at_limit(run.on_s)
        if not stalled and plant.learns(run.start_ms, run.end_ms):
            middle_s = self.usual_on_s.median or run.on_s
            steps = self.pump.resolution_s / middle_s if self.pump.resolution_s > 1.0 else 0.0
            self.usual_on_s.add_normal(run.on_s, high=1.6 + 1.5 * steps)
            if dip is not None:
                self.usual_dip_K.add(dip)
                self._falls_K.append(float(np.maximum.reduce(self._fall_K(run.start_ms - DIP_MS)[1])))
            if burned_s is not None and burned_s > 0 and not self._leaking():
                self.usual_burned_s.add_normal(burned_s)
        start = run.start_ms - 120_000
        features: dict[str, float | str | bool | None] = {
            "on_time_s": run.on_s,
            "dip_K": dip,
            "burned_s": burned_s,
            "stalled": stalled,
            "tank_C": plant.history.mean("tank", start, run.start_ms),
            "supply_C": plant.history.mean("supply", start, run.end_ms),
            "outdoor_C": plant.history.mean("outdoor", start, run.end_ms),
        }
        plant.happened(Event(plant.profile.furnace.id, "refill", run.start_ms, run.end_ms, features))

    def _learn_limit(self, run: Run) -> None:
        """Two runs that end at the same second, well above the usual run, show the limiter's setting."""
        usual = self.usual_on_s.median
        if not run.known or self.usual_on_s.count < 3 or usual is None or run.on_s < 1.3 * usual:
            return
        tolerance = max(self.plant.settings.limit_tolerance_s, self.pump.resolution_s)
        same = [s for s in self._long_runs_s if abs(s - run.on_s) <= tolerance]
        if same:
            self._learned_limit_s = min(*same, run.on_s)
        self._long_runs_s = [*self._long_runs_s[-9:], run.on_s]
