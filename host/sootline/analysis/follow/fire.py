"""The fire: when it burns, seen by the flame detector, the burner and the stack, whichever there are.

The stack alone tells it within half a minute: a lit flame heats the flue by tens of kelvin a minute, a lost one lets
it fall as fast. Onset and end are dated back to where the rise or fall began.
"""

import math
from collections.abc import Callable

import numpy as np

from sootline.analysis.book import Entry
from sootline.analysis.conditions import Slope
from sootline.analysis.marks import Mark
from sootline.analysis.plant import Plant
from sootline.analysis.usual import Usual
from sootline.events import Event

FALLEN_SHARE, FALL_MS = 0.8, 150_000
SETTLE_MS = 270_000  # a fire that went out has cooled the flue by far more than half by then
SETTLED_SHARE, FLAT_PER_MIN = 0.7, 0.02  # of its height over the air; a cooling exchanger loses 5-10 % a minute
LEVEL_MS, LEVEL_PER_MIN, UNSETTLED_MS = 180_000, 0.002, 900_000  # a fire's flue is level to this within a quarter hour
COLD_STACK_K, LIT_K = 50.0, 150.0  # over the air; a steady fire holds the latter and more
COLD_SHARE = 0.35  # of the height at which its firings usually end
SOAK_SHARE = 0.15  # of that height: a lit fire passes it within a minute, an exchanger's rest hardly ever
SHORT_MS = 180_000  # a fire that lasted no longer has no level to settle at
LONG_MS = 600_000  # the flue is near its steady level by then
LIT_MS = 300_000  # a fire that burns has heated the flue by then
BLIND_TRIAL_MS = 60_000  # a control that sees no flame has stopped its burner by then (common practice)
STILL_MS = 900_000
JUMP_SD, PLAIN_SD = 6.0, 4.0  # what is farther out than this is no noise
BACK_MS = 180_000  # how far a stack change is traced back


class Fire:
    """`on` tells whether the fire burns (None: unknown after a silence), `since_ms` since when."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.on: bool | None = None
        self.since_ms: int | None = None
        self.burned_ms = 0
        self.last_end_ms: int | None = None
        self.on_changed: list[Callable[[bool | None, int], None]] = []
        self.on_proved: list[Callable[[], None]] = []
        self.usual_height_K = Usual(30)  # of the stack over the air at the end of long firings
        self._last_ms = 0  # how long the last fire burned
        self.losses_of_sight = 0  # how often it became unknown whether it burns
        self._burner_on_ms: int | None = None
        self._burner_unknown = False
        self._heats_ms: int | None = None  # since when the stack heats up
        settings = plant.settings
        rise_ms = self._rise_ms = round(settings.stack_rise_window_s * 1000)
        fall_ms = round(settings.stack_fall_window_s * 1000)
        rise, fall = settings.stack_rise_K, settings.stack_fall_K
        plant.watch(Slope("stack-heats", "stack", rise_ms, rise, rise / 2), self._stack_heats)
        plant.watch(Slope("stack-cools", "stack", fall_ms, -fall, -fall / 2, below=True), self._stack_cools)
        plant.on("flame", self._flame)
        plant.on("burner", self._burner)
        plant.on_fault(self._fault)
        plant.on_raise(self._doubted)

    def burned_s(self) -> float:
        """Seconds burned so far, the fire under way included."""
        running = self.plant.now_ms - self.since_ms if self.on and self.since_ms is not None else 0
        return (self.burned_ms + running) / 1000

    def burned_since_s(self, t_ms: int) -> float:
        """Seconds burned since t_ms within the fire under way, or the last one."""
        if self.on and self.since_ms is not None:
            return (self.plant.now_ms - max(t_ms, self.since_ms)) / 1000
        end_ms = self.last_end_ms or 0
        return max(0, end_ms - max(t_ms, end_ms - self._last_ms)) / 1000

    def _flame(self, mark: Mark) -> None:
        if mark.on is None:
            self._set(None, mark.at_ms)
        elif mark.on:
            self._set(True, mark.at_ms)
        elif self.on:
            self._set(False, mark.at_ms)

    def _burner(self, mark: Mark) -> None:
        if mark.on:
            self._burner_on_ms = mark.at_ms
            self.plant.at(mark.at_ms + BLIND_TRIAL_MS, self._unseen, mark.at_ms)
            if self._burner_unknown and self._as_hot_as_lit():
                self._set(True, mark.at_ms)  # it was lit in the silence
        elif mark.on is False and self.on:
            self._set(False, mark.at_ms)
        self._burner_unknown = mark.on is None

    def _unseen(self, burner_on_ms: int) -> None:
        """Neither flame detector nor stack can tell: a burner that runs past its trial is taken to burn."""
        if self._burner_on_ms != burner_on_ms or self.on or not self.plant.state("burner"):
            return
        if self.plant.state("flame") is None and self.plant.value("stack") is None:
            self._set(True, burner_on_ms)

    def _stack_heats(self, mark: Mark) -> None:
        self._heats_ms = mark.at_ms if mark.on else None
        if mark.on:
            self._heats(mark.at_ms)

    def _heats(self, noticed_ms: int) -> None:
        if self._heats_ms != noticed_ms or self.on:
            return
        if self.plant.state("burner") is False or self.plant.state("flame") is True:
            return  # heat without a burner is an alarm's business, not a firing
        if self.plant.state("flame") is False and self.plant.book.standing("sensor-fault", "stack"):
            return  # of the two the flame detector is to be believed
        if self._fell_back() or self._may_be_noise() or self._may_be_soak():
            self.plant.at(self.plant.now_ms + 10_000, self._heats, noticed_ms)
            return
        self._set(True, self._rise_began(self.plant.now_ms))

    def _fell_back(self) -> bool:
        """It is hotter than a minute ago, but has lost half of what it gained since: a light-off of seconds."""
        x = self.plant.history.window("stack", self.plant.now_ms - self._rise_ms, self.plant.now_ms)[1]
        return bool(len(x)) and float(x[-1] - x[0]) < 0.5 * float(x.max() - x[0])

    def _may_be_noise(self) -> bool:
        """Between neighbouring readings the stack often jumps as far as a flame heats it, and no trend stands clear."""
        settings = self.plant.settings
        if settings.stack_rise_K > JUMP_SD * math.sqrt(2) * self.plant.noise("stack"):
            return False
        rate, error = self.plant.trend_per_min(
            "stack", max(self._rise_ms, round(8000 * self.plant.sampling.interval_s))
        )
        return rate < PLAIN_SD * error

    def _may_be_soak(self) -> bool:
        """No more than the exchanger's heat coming up when an after-purge ends: little beside what a fire here does."""
        usual_K = self.usual_height_K.median
        if usual_K is None or self.plant.state("burner"):
            return False
        x = self.plant.history.window("stack", self.plant.now_ms - BACK_MS, self.plant.now_ms)[1]
        return bool(len(x)) and float(x[-1] - x.min()) < SOAK_SHARE * usual_K

    def _stack_cools(self, mark: Mark) -> None:
        if not mark.on or self.on is False:
            return
        if self.plant.state("flame") is True or (self.plant.has("flame") and self.plant.state("burner") is True):
            return
        self._fallen(self._fall_began(mark.at_ms), mark.at_ms)

    def _fallen(self, ended_ms: int, noticed_ms: int) -> None:
        """It went out once the stack has lost a fifth of its height over the air; a gust does not do that."""
        now = self.plant.now_ms
        before, level = self.plant.history.window("stack", ended_ms - 60_000, ended_ms)[1], self.plant.value("stack")
        if self.on is False or not len(before) or level is None:
            return
        was = float(before.max())  # not the mean: a false start lasts seconds
        air = self.air_C()
        if level - air < FALLEN_SHARE * (was - air):
            self._set(False, ended_ms)
            self.plant.at(ended_ms + SETTLE_MS, self._still_burns, ended_ms)
        elif now - noticed_ms < FALL_MS or self.cooling():
            self.plant.at(now + 10_000, self._fallen, ended_ms, noticed_ms)

    def cooling(self) -> bool:
        """The stack falls by more than 2 % a minute of its height over the air: slowly, but no fire does that."""
        stack, slope = self.plant.value("stack"), self.plant.slope_per_min("stack", 60_000)
        return stack is not None and slope is not None and slope < -FLAT_PER_MIN * (stack - self.air_C())

    def is_out(self) -> bool:
        """Known not to burn: its end was seen, or nothing was seen and the stack is colder than any fire leaves it."""
        if self.on is not None:
            return not self.on
        stack = self.plant.value("stack")
        return stack is not None and stack < self.air_C() + COLD_STACK_K

    def check(self) -> None:
        """Called every few minutes: a stack that has fallen silent can no longer tell."""
        if self.on is not None and self.plant.state("flame" if self.on else "burner") is self.on:
            return  # seen otherwise
        if self._burner_on_ms is not None:
            self._unseen(self._burner_on_ms)
        if not self.on and self._holds_hot():
            self._set(True, max(self.plant.now_ms - LEVEL_MS, self.last_end_ms or 0))  # it was lit in a silence
        if self.on is None:
            return
        stack, now = self.plant.value("stack"), self.plant.now_ms
        lit = self.on and self.since_ms is not None and now - self.since_ms > LIT_MS
        if lit and stack is not None and self.plant.state("flame") is not True and self._too_cold(stack):
            self._set(False, self._hottest_ms())  # whatever seemed to burn, it does not
        if stack is None and not self._seen_otherwise():
            self._set(None, now)

    def _as_hot_as_lit(self) -> bool:
        """The flue is as far over the air as a fire keeps it, and no flame detector denies it."""
        stack = self.plant.value("stack")
        if stack is None or self.plant.state("flame") is False or not self.trusted():
            return False
        return stack - self.air_C() > SETTLED_SHARE * (self.usual_height_K.median or LIT_K / SETTLED_SHARE)

    def _holds_hot(self) -> bool:
        """After a silence the flue is hot for minutes, and level: an exchanger without a fire cools."""
        if self.plant.state("burner") is False or not self._as_hot_as_lit() or not self._was_out_of_sight():
            return False
        t, x = self.plant.history.window("stack", self.plant.now_ms - LEVEL_MS, self.plant.now_ms)
        if len(x) < 3 or t[-1] - t[0] < 0.6 * LEVEL_MS or x.max() == x.min():
            return False
        slope = self.plant.slope_per_min("stack", LEVEL_MS)
        return slope is not None and slope > -LEVEL_PER_MIN * (float(x[-1]) - self.air_C())

    def _was_out_of_sight(self) -> bool:
        """The stack was silent since the last fire ended, so another may have been lit."""
        t = self.plant.history.window("stack", self.last_end_ms or 0, self.plant.now_ms)[0]
        return self.on is None or bool((np.diff(t) > self.plant.sampling.idle_gap_ms).any())

    def _too_cold(self, stack_C: float) -> bool:
        """No fire leaves the flue so cold for long: far below the usual height of this one, and not rising."""
        low_K, slope = self._low_K(), self.plant.slope_per_min("stack", 120_000)
        return stack_C < self.air_C() + low_K and (slope is None or slope < FLAT_PER_MIN * low_K)

    def _low_K(self) -> float:
        return max(COLD_STACK_K, COLD_SHARE * (self.usual_height_K.median or 0.0))

    def flue_is_cold(self) -> bool:
        """So cold that no exchanger gives off heat any more; False where that is not known."""
        stack = self.plant.value("stack")
        return stack is not None and stack < self.air_C() + self._low_K()

    def _hottest_ms(self) -> int:
        """When the flue was hottest since the fire seemed to begin."""
        t, x = self.plant.history.window("stack", self.since_ms or 0, self.plant.now_ms)
        return int(t[x.argmax()]) if len(x) else self.plant.now_ms

    def _doubted(self, entry: Entry) -> None:
        if entry.alarm == "sensor-fault" and entry.channel == "stack" and not self._seen_otherwise():
            self.losses_of_sight += 1  # what it seemed to burn since the last refill is not known

    def _fault(self, channel: str, kind: str) -> None:
        if channel == "stack" and kind != "crc" and self.on is not None and not self._seen_otherwise():
            self._set(None, self.plant.now_ms)

    def stands_still(self) -> bool:
        """Told by the stack alone, and that has not moved by one count in a quarter of an hour: frozen, perhaps."""
        x = self.plant.history.window("stack", self.plant.now_ms - STILL_MS, self.plant.now_ms)[1]
        return not self._seen_otherwise() and len(x) > 1 and bool((x == x[0]).all())

    def trusted(self) -> bool:
        """Whether what tells of the fire can be believed: the stack alone cannot while its probe is at fault."""
        return self._seen_otherwise() or self.plant.book.standing("sensor-fault", "stack") is None

    def _seen_otherwise(self) -> bool:
        return self.plant.state("flame") is not None or self.plant.state("burner") is not None

    def _still_burns(self, ended_ms: int) -> None:
        """The stack fell but has settled well above the air: the fire burns on, at another level.

        While it still falls a little it may also be an exchanger that no blower cools: that goes on falling.
        """
        if self.on is not False or self.last_end_ms != ended_ms or self._seen_otherwise() or self._last_ms < SHORT_MS:
            return
        now = self.plant.now_ms
        was, slope = (
            self.plant.history.mean("stack", ended_ms - 60_000, ended_ms),
            self.plant.slope_per_min("stack", LEVEL_MS),
        )
        level = self.plant.history.mean("stack", now - 60_000, now)
        if was is None or level is None or slope is None:
            return
        air = self.air_C()
        if level - air <= SETTLED_SHARE * (was - air) or slope <= -FLAT_PER_MIN * (level - air):
            return
        if slope > -LEVEL_PER_MIN * (level - air):
            self._set(True, ended_ms)
        elif now - ended_ms < UNSETTLED_MS:
            self.plant.at(now + LEVEL_MS // 2, self._still_burns, ended_ms)

    def air_C(self) -> float:
        """The air the stack is judged against [degC]: return air, else room, else 20."""
        for channel in ("return_air", "room"):
            if (value := self.plant.value(channel)) is not None:
                return value
        return 20.0

    def _rise_began(self, t_ms: int) -> int:
        start = t_ms - BACK_MS if self.last_end_ms is None else max(t_ms - BACK_MS, self.last_end_ms)
        t, x = self.plant.history.window("stack", start, t_ms)
        if self._burner_on_ms is not None and self.plant.state("burner"):
            start = max(start, self._burner_on_ms)
        low = np.flatnonzero(x <= x.min() + 2.0)
        return max(int(t[low[-1]]), start)

    def _fall_began(self, t_ms: int) -> int:
        t, x = self.plant.history.window("stack", t_ms - BACK_MS // 2, t_ms)
        high = np.flatnonzero(x >= x.max() - 3.0)
        began = int(t[high[-1]])
        return began if self.since_ms is None or not self.on else max(began, self.since_ms)

    def _set(self, on: bool | None, at_ms: int) -> None:
        if on == self.on:
            return
        was, since = self.on, self.since_ms
        self.on, self.since_ms = on, at_ms
        if was and since is not None:
            self.burned_ms += at_ms - since
            if on is False:
                self.last_end_ms, self._last_ms = at_ms, at_ms - since
                self.plant.happened(self._firing(since, at_ms))
        if on is None:
            self.losses_of_sight += 1
        if on:
            self.plant.at(at_ms + round(self.plant.settings.proved_s * 1000), self._proved, at_ms)
        for changed in self.on_changed:
            changed(on, at_ms)

    def _proved(self, since_ms: int) -> None:
        if self.on and self.since_ms == since_ms:
            for proved in self.on_proved:
                proved()

    def _firing(self, start_ms: int, end_ms: int) -> Event:
        """The finished firing with its features."""
        plant = self.plant
        burner_on = self._burner_on_ms
        to_flame = (
            (start_ms - burner_on) / 1000 if burner_on is not None and 0 <= start_ms - burner_on < 300_000 else None
        )
        features: dict[str, float | str | bool | None] = {
            "burned_s": (end_ms - start_ms) / 1000,
            "time_to_flame_s": to_flame,
        }
        settled_from = max(end_ms - 300_000, start_ms + (end_ms - start_ms) // 2)
        for channel in ("stack", "tank", "return_air", "room", "outdoor", "combustion_air", "supply_air", "nozzle",
                        "air_pressure"):  # fmt: skip
            features[f"{channel}_end"] = plant.history.mean(channel, settled_from, end_ms)
        if end_ms - start_ms >= LONG_MS and (stack_C := features["stack_end"]) is not None:
            self.usual_height_K.add(float(stack_C) - self.air_C())
        return Event(plant.profile.furnace.id, "firing", start_ms, end_ms, features)
