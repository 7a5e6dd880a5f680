"""What followers and detectors see of one furnace: its clock, states, history, settings, and the book to write in."""

import heapq
import math
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from sootline.alarms import Priority
from sootline.analysis.book import Book, Entry
from sootline.analysis.catalogue import HIDES
from sootline.analysis.conditions import Condition, Mask, Track
from sootline.analysis.history import History
from sootline.analysis.marks import Mark
from sootline.analysis.sampling import Sampling
from sootline.analysis.settings import Settings
from sootline.analysis.usual import MAD_TO_SD
from sootline.events import Event
from sootline.profile import LogEntry, Profile, ServiceMode
from sootline.series import Times

MarkHandler = Callable[[Mark], None]
EventHandler = Callable[[Event], None]
LogHandler = Callable[[LogEntry], None]
Timer = tuple[int, int, Callable[..., None], tuple[Any, ...]]  # when, serial number, what to call with what

LONGEST_MS = 14_400_000  # no preheat takes longer
ENOUGH = 6  # readings for a slope with an error
NOISE_MS, NOISE_READINGS = 7_200_000, 60  # from which noise is told


class Plant:
    """The plant clock `now_ms` is the time of the mark or timer being worked on; nothing later can be seen."""

    def __init__(self, profile: Profile, settings: Settings, sampling: Sampling) -> None:
        self.profile = profile
        self.settings = settings
        self.sampling = sampling
        self.history = History()
        self.found_ms: int | None = 0  # when the host knows what is found now; None: with the first of these rows
        self.row_times = np.empty(0, np.int64)
        self.started_ms: int | None = None
        self.book = Book(
            round(settings.repeat_s * 1000), round(settings.prove_s * 1000), self.tank_low, self.service_ms
        )
        self.tracks: dict[str, Track] = {}
        self.handlers: dict[str, list[MarkHandler]] = {}
        self.event_handlers: dict[str, list[EventHandler]] = {}
        self.log_handlers: list[LogHandler] = []
        self.events: list[Event] = []  # finished since they were last taken
        self.fault_handlers: list[Callable[[str, str], None]] = []
        self.raise_handlers: list[Callable[[Entry], None]] = []
        self.recovering: Callable[[], bool] = lambda: False  # whether oil is being heated, or a fire not yet proved
        self.low_until_ms = -(2**62)  # the day tank is taken to be low until then
        self.setpoints_C: dict[str, float | None] = {
            "tank": profile.tank.setpoint_C,
            "nozzle": profile.nozzle.setpoint_C,
        }
        self.service: ServiceMode | None = None  # who works on it; may have run out
        self.served_until_ms = -(2**62)  # when the last one who did was done
        self._timers: list[Timer] = []
        self._serial = 0
        self._changed_at: dict[str, int] = {}

    # what is known now

    @property
    def now_ms(self) -> int:
        return self.history.now_ms

    def state(self, channel: str) -> bool | None:
        """Whether an on/off channel is on; None when never read, or silent for too long to still hold."""
        latest = self.history.latest(channel)
        if latest is None:
            return None
        t_ms, value = latest
        on = value > 0.5
        limit = self.sampling.active_gap_ms if on else self.sampling.idle_gap_ms
        return on if self.now_ms - t_ms <= limit else None

    def value(self, channel: str) -> float | None:
        """The newest reading of a measured channel [contract unit], None when there is none fresh enough."""
        latest = self.history.latest(channel, self.sampling.idle_gap_ms)
        return None if latest is None else latest[1]

    def slope_per_min(self, channel: str, window_ms: int) -> float | None:
        """Least-squares slope of the last window_ms [unit/min]; None where readings do not fill it."""
        t, x = self.history.window(channel, self.now_ms - window_ms, self.now_ms)
        if len(x) < 3 or t[-1] - t[0] < 0.6 * window_ms:
            return None
        minutes = (t - t[0]) / 60_000
        minutes -= np.add.reduce(minutes) / len(t)
        return float(np.add.reduce(minutes * (x - np.add.reduce(x) / len(x))) / np.add.reduce(minutes**2))

    def trend_per_min(self, channel: str, window_ms: int) -> tuple[float, float]:
        """Slope of the last window_ms and its standard error [unit/min]; that is infinite where six readings do not
        fill it, though they should, and zero where they cannot for they are reported too seldom."""
        t, x = self.history.window(channel, self.now_ms - window_ms, self.now_ms)
        n = len(x)
        if n < ENOUGH or t[-1] - t[0] < 0.6 * window_ms:
            often = window_ms >= ENOUGH * self.sampling.interval_s * 1000
            return (0.0, math.inf) if often else (self.slope_per_min(channel, window_ms) or 0.0, 0.0)
        minutes = (t - t[0]) / 60_000
        minutes -= np.add.reduce(minutes) / n
        around = x - np.add.reduce(x) / n
        spread = float(np.add.reduce(minutes**2))
        slope = float(np.add.reduce(minutes * around)) / spread
        rest = float(np.add.reduce((around - slope * minutes) ** 2))
        # six readings may lie on a line by chance: what they scatter otherwise counts as well
        return slope, max(math.sqrt(rest / (n - 2)), self.noise(channel)) / math.sqrt(spread)

    def noise(self, channel: str) -> float:
        """Robust sd of single readings, from how far they lie off the line of their neighbours [unit]; 0: too few."""
        x = self.history.window(channel, self.now_ms - NOISE_MS, self.now_ms)[1][-NOISE_READINGS:]
        return MAD_TO_SD * float(np.median(np.abs(np.diff(x, 2)))) / math.sqrt(6) if len(x) > ENOUGH else 0.0

    def stayed_on(self, channel: str, since_ms: int) -> bool:
        """Whether an on/off channel is on, and was at each reading since then."""
        return self.state(channel) is True and not (self.history.window(channel, since_ms, self.now_ms)[1] < 0.5).any()

    def changed_ms(self, channel: str) -> int | None:
        """When an on/off channel or condition last changed."""
        return self._changed_at.get(channel)

    def has(self, channel: str) -> bool:
        return self.history.has(channel)

    def setpoint_C(self, channel: str) -> float | None:
        return self.setpoints_C.get(channel)

    def tank_low(self) -> bool:
        """The day tank has run low: its switch says so, or the oil left at the last refill fault must be burned."""
        return self.state("low_level") is True or self.now_ms < self.low_until_ms

    def service_ms(self) -> int | None:
        """Since when somebody works on the furnace, None while nobody does."""
        return self.service.at_ms if self.service is not None and self.now_ms < self.service.until_ms else None

    def learns(self, start_ms: int, end_ms: int) -> bool:
        """Whether that time may tell what is usual: nobody worked on the furnace."""
        since_ms = self.service_ms()
        return start_ms >= self.served_until_ms and (since_ms is None or end_ms < since_ms)

    # subscriptions, made once at construction

    def on(self, subject: str, handler: MarkHandler) -> None:
        """Call handler at each change of an on/off channel or condition."""
        self.handlers.setdefault(subject, []).append(handler)

    def watch(self, condition: Condition, handler: MarkHandler, unless: Callable[[Times], Mask] | None = None) -> None:
        """Call handler whenever the condition begins or ceases to hold; a condition of the same name is replaced.

        unless: tells at which of some times, all in the newest readings, the handler need not know
        """
        track = self.tracks[condition.name] = condition.track(self.now_ms)
        track.unless = unless
        self.handlers[condition.name] = [handler]

    def condition_marks(self) -> list[Mark]:
        """Changes of every condition in the readings that have come into the history since the last call."""
        marks: list[Mark] = []
        for track in sorted(self.tracks.values(), key=_asks_others):
            track.feed(self.history, self.sampling, marks)
        return marks

    def around(self, condition: str, times: Times, holds: bool) -> Mask:
        """Whether a condition held (or did not) just before and at each of these times, all in the newest readings.

        One that nobody watches does not hold.
        """
        track = self.tracks.get(condition)
        return np.full(len(times), not holds) if track is None else track.around(times, holds)

    def held_since_ms(self, condition: str) -> int | None:
        """Since when a condition holds; None while it does not."""
        return self.tracks[condition].held_since_ms(self.now_ms)

    def stands_on(self, channel: str, times: Times) -> Mask:
        """Whether an on/off channel is known to be on at each of these times, which may be in the newest readings."""
        column = self.history.column(channel)
        if column is None:
            return np.zeros(len(times), np.bool_)
        last = column.t.searchsorted(times, "right") - 1
        fresh = (last >= 0) & (times - column.t[last] <= self.sampling.active_gap_ms)
        return fresh & (column.x[last] > 0.5)

    def on_event(self, kind: str, handler: EventHandler, learns: bool = False) -> None:
        """Call handler with each finished event. learns: not with those while somebody worked on the furnace."""
        self.event_handlers.setdefault(kind, []).append(partial(self._teach, handler) if learns else handler)

    def _teach(self, handler: EventHandler, event: Event) -> None:
        if self.learns(event.start_ms, event.end_ms):
            handler(event)

    def on_log(self, handler: LogHandler) -> None:
        self.log_handlers.append(handler)

    def on_fault(self, handler: Callable[[str, str], None]) -> None:
        """Call handler(channel, kind) at each reading known to be bad."""
        self.fault_handlers.append(handler)

    def on_raise(self, handler: Callable[[Entry], None]) -> None:
        """Call handler with each alarm that is raised, or confirmed while it stands."""
        self.raise_handlers.append(handler)

    # time

    def at(self, t_ms: int, call: Callable[..., None], *args: Any) -> None:
        """Call back when the plant clock reaches t_ms (at once after the present mark where that has passed)."""
        self._serial += 1
        now_ms = self.history.now_ms
        heapq.heappush(self._timers, (t_ms if t_ms > now_ms else now_ms, self._serial, call, args))

    def is_due(self, until_ms: int) -> bool:
        """Whether there is anything to call back by then."""
        return bool(self._timers) and self._timers[0][0] <= until_ms

    def run_timers(self, until_ms: int) -> None:
        timers, history = self._timers, self.history
        while timers and timers[0][0] <= until_ms:
            history.now_ms, _, call, args = heapq.heappop(timers)
            call(*args)

    def dispatch(self, mark: Mark) -> None:
        self.history.now_ms = mark.t_ms
        self._changed_at[mark.subject] = mark.at_ms
        for handler in self.handlers.get(mark.subject, ()):
            handler(mark)

    # what is found

    def happened(self, event: Event) -> None:
        """Record a finished event and tell whoever waits for its kind."""
        self.events.append(event)
        for handler in self.event_handlers.get(event.kind, ()):
            handler(event)

    def raise_(
        self, alarm: str, priority: Priority, at_ms: int | None = None, channel: str | None = None, **detail: Any
    ) -> Entry:
        found_ms = self.found_ms
        if found_ms is None:  # a timer: known with the first row at or after its time
            times = self.row_times
            found_ms = int(times[min(int(times.searchsorted(self.now_ms)), len(times) - 1)])
        entry = self.book.raise_(alarm, channel, priority, self.now_ms if at_ms is None else at_ms, found_ms, detail)
        for handler in self.raise_handlers:
            handler(entry)
        return entry

    def clear(self, alarm: str, channel: str | None = None, at_ms: int | None = None) -> None:
        entry = self.book.clear(alarm, channel, self.now_ms if at_ms is None else at_ms)
        if entry is not None and entry.alarm in HIDES:
            self.at(self.now_ms + round(self.settings.prove_s * 1000), self._release, entry)
        elif entry is not None:  # a probe: good again for long enough already
            self.book.release(entry)

    def _release(self, entry: Entry, recovered: bool = False) -> None:
        """Oil that went cold is heated for longer before a firing can prove that all is well."""
        again_ms = self.now_ms + round(self.settings.proved_s * 1000)
        if self.recovering() and self.now_ms - (entry.cleared_ms or 0) < LONGEST_MS:
            self.at(again_ms, self._release, entry, True)
        elif recovered:  # it has yet to light
            self.at(again_ms, self._release, entry)
        else:
            self.book.release(entry)

    def logged(self, entry: LogEntry) -> None:
        if entry.kind == "setpoint" and entry.channel in self.setpoints_C and entry.value_C is not None:
            self.setpoints_C[entry.channel] = entry.value_C
        for handler in self.log_handlers:
            handler(entry)


def _asks_others(track: Track) -> bool:
    """Such tracks are fed after those they ask."""
    return track.unless is not None
