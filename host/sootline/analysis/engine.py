"""The engine of one furnace: rows in, phases, events and alarms out. No clock, no I/O; any chunking gives the same."""

from collections.abc import Callable, Iterator
from itertools import pairwise
from operator import itemgetter

import numpy as np

from sootline.alarms import Alarm
from sootline.analysis.book import Entry
from sootline.analysis.causes.finder import CauseFinder
from sootline.analysis.detect import DETECTORS
from sootline.analysis.follow.fire import Fire
from sootline.analysis.follow.heating import Heating
from sootline.analysis.follow.phase import PhaseFollower
from sootline.analysis.follow.pump import Pump
from sootline.analysis.follow.refill import Refills
from sootline.analysis.follow.service import Service
from sootline.analysis.follow.steady import StackSeries
from sootline.analysis.glitch import GlitchFilter
from sootline.analysis.marks import Mark, StateTrack, state_marks
from sootline.analysis.offline import ALARM as OFFLINE
from sootline.analysis.offline import patience_ms
from sootline.analysis.plant import Plant
from sootline.analysis.sampling import Sampling
from sootline.analysis.settings import Settings
from sootline.analysis.usual import Usual
from sootline.events import Event
from sootline.profile import LogEntry, Profile, event_of
from sootline.series import Rows

TICK_MS = 300_000


class Engine:
    """Feed it rows in time order, each block later than all before it."""

    def __init__(self, profile: Profile, settings: Settings | None = None, sampling: Sampling | None = None) -> None:
        self.plant = Plant(profile, settings or Settings(), sampling or Sampling())
        self._states: dict[str, StateTrack] = {}
        self._glitches = GlitchFilter()
        self._log = list(profile.log)
        self._fed_to = -(2**62)
        self.pump = Pump(self.plant)
        self.fire = Fire(self.plant)
        self.refills = Refills(self.plant, self.pump, self.fire)
        tank = Heating(self.plant, self.fire, "tank")
        self.heating = {"tank": tank, "nozzle": Heating(self.plant, self.fire, "nozzle", after=tank)}
        self.plant.recovering = self._recovering
        self.stack = StackSeries(self.plant, self.fire.burned_s)
        self.time_to_flame = Usual(30)
        self.usual_wait_s = Usual(30)  # from call to proved firing
        self.plant.on_event("firing", self._lit, learns=True)
        self.phase = PhaseFollower(self.plant, self.fire, self.heating)
        self.service = Service(self.plant, self.fire, self.phase.refresh)
        self._periodic: list[tuple[int, Callable[[], None]]] = []
        self.every(TICK_MS, self.fire.check)
        self.every(TICK_MS, self.phase.check)
        for heating in self.heating.values():
            self.every(3_600_000, heating.hourly)
        self.detectors = [detector(self) for detector in DETECTORS]
        self.causes = CauseFinder(self)

    @property
    def fed_to_ms(self) -> int:
        """Everything up to and including this moment has been worked through."""
        return self._fed_to

    @property
    def alarms(self) -> list[Alarm]:
        """Every alarm so far, in the order they were raised."""
        return self._records(self.plant.book.entries)

    def take_changed(self) -> list[Alarm]:
        """The alarms that are new or different since the last call."""
        changed, self.plant.book.changed = self.plant.book.changed, []
        return self._records(changed)

    def _records(self, entries: list[Entry]) -> list[Alarm]:
        """`board-offline` itself is told by who listens for the board (offline.py); here it only hides."""
        return [entry.record(self.plant.profile.furnace.id) for entry in entries if entry.alarm != OFFLINE]

    def take_events(self) -> list[Event]:
        """The events finished since the last call."""
        events, self.plant.events = self.plant.events, []
        return events

    def adopt(self, profile: Profile, sampling: Sampling) -> None:
        """Go on under a profile with more log entries, all of them later than what was worked through."""
        self.service.adopt(self.plant.profile, profile)
        self.plant.profile, self.plant.sampling = profile, sampling
        self._log = [entry for entry in profile.log if entry.at_ms > self._fed_to]

    def every(self, period_ms: int, call: Callable[[], None]) -> None:
        """Call back at each whole multiple of period_ms, itself one of TICK_MS, on the plant clock, from the first row.

        Where several are due at once, the longest period comes first.
        """
        self._periodic.append((period_ms, call))
        self._periodic.sort(key=lambda item: -item[0])

    def _recovering(self) -> bool:
        """Oil is being heated, or a fire burns that is not proved yet."""
        fire, proved_ms = self.fire, round(self.plant.settings.proved_s * 1000)
        young = fire.on and fire.since_ms is not None and self.plant.now_ms - fire.since_ms <= proved_ms
        return bool(young) or any(heating.start_ms is not None for heating in self.heating.values())

    def freeze_at_ms(self) -> int | None:
        """When the room reaches its freezing limit at the rate of the last hour; None when it does not."""
        freeze, room = self.plant.profile.room.freeze_C, self.plant.value("room")
        slope = self.plant.slope_per_min("room", 3_600_000)
        if freeze is None or room is None or slope is None or slope >= -0.002:
            return None
        return self.plant.now_ms + round(max(room - freeze, 0.0) / -slope * 60_000)

    def _lit(self, event: Event) -> None:
        if (seconds := event.number("time_to_flame_s")) is not None:
            self.time_to_flame.add(seconds)

    def _tick(self) -> None:
        now_ms = self.plant.now_ms
        self.plant.at(now_ms + TICK_MS, self._tick)
        for period_ms, call in self._periodic:
            if now_ms % period_ms == 0:
                call()

    def feed(self, rows: Rows, received_ms: int | None = None) -> None:
        """Work through `rows`. received_ms: when the host got them; without it each row is known at its own time."""
        while self._log and (span := rows.span_ms) is not None and self._log[0].at_ms <= span[1]:
            entry = self._log.pop(0)
            before = rows.between(-(2**62), entry.at_ms)
            self._hear(before, received_ms)
            self._run_timers(entry.at_ms, rows, received_ms)
            self.plant.history.now_ms = max(entry.at_ms, self.plant.now_ms)
            self._logged(entry)
            rows = rows.between(entry.at_ms, 2**62)
        self._hear(rows, received_ms)

    def _hear(self, rows: Rows, received_ms: int | None) -> None:
        """Work through `rows`, with `board-offline` in the book wherever nothing was measured for long."""
        for part in self._parts(rows):
            first_ms, silent_ms = (part.span_ms or (self._fed_to,))[0], self._fed_to + patience_ms(self.plant)
            if self.plant.started_ms is not None and first_ms > silent_ms:
                self._run_timers(silent_ms, part, received_ms)
                self.plant.history.now_ms = max(silent_ms, self.plant.now_ms)
                self.plant.raise_(OFFLINE, "medium")
                self._run_timers(first_ms - 1, part, received_ms)
                self.plant.clear(OFFLINE, at_ms=first_ms)
            self._feed(part, received_ms)

    def _parts(self, rows: Rows) -> Iterator[Rows]:
        """The rows cut where the board was silent."""
        words = np.union1d(rows.t_ms, [fault.t_ms for fault in rows.faults]) if rows.faults else rows.t_ms
        cuts = words[1:][np.diff(words) > patience_ms(self.plant)]
        if not len(cuts):
            yield rows
            return
        for start, end in pairwise((-(2**62), *cuts.tolist(), 2**62)):
            yield rows.between(start, end)

    def _logged(self, entry: LogEntry) -> None:
        """Act on a log entry, and keep what that did as an event of its own: learned afresh, and alarms that ended."""
        before = {detector.alarm: detector.readiness() for detector in self.detectors}
        stood = {(alarm.alarm, alarm.channel) for alarm in self.plant.book.all_standing()}
        self.plant.logged(entry)
        stand = {(alarm.alarm, alarm.channel) for alarm in self.plant.book.all_standing()}
        features: dict[str, float | str | bool | None] = {}
        for detector in self.detectors:
            now, was = detector.readiness(), before[detector.alarm]
            if now != was and now.state == "learning":
                features[detector.alarm] = f"learning {now.have} of {now.need}"
        if ended := sorted({alarm for alarm, _ in stood - stand}):
            features["ended"] = " ".join(ended)
        self.plant.happened(Event(self.plant.profile.furnace.id, event_of(entry), entry.at_ms, entry.at_ms, features))

    def _feed(self, rows: Rows, received_ms: int | None) -> None:
        span = rows.span_ms
        if span is None:
            return
        plant = self.plant
        marks: list[Mark] = []
        if len(rows):
            if plant.started_ms is None:
                plant.started_ms = int(rows.t_ms[0])
                plant.at(plant.started_ms + TICK_MS - plant.started_ms % TICK_MS, self._tick)
            # before the new rows push out what these still look back on
            self._run_timers(span[0] - 1, rows, received_ms)
            rows = self._glitches.feed(rows, plant.sampling, marks)
            plant.history.extend(rows)
        marks += state_marks(rows, self._states, plant.sampling)
        marks += plant.condition_marks()
        marks.extend(Mark(fault.t_ms, f"{fault.channel}/{fault.kind}", None, fault.t_ms) for fault in rows.faults)
        marks.sort(key=itemgetter(0, 1))  # time, subject
        for mark in marks:
            self._run_timers(mark.t_ms - 1, rows, received_ms)
            plant.found_ms = mark.t_ms if received_ms is None else received_ms
            if "/" in mark.subject:
                plant.history.now_ms = mark.t_ms
                channel, _, kind = mark.subject.partition("/")
                for handler in plant.fault_handlers:
                    handler(channel, kind)
            else:
                plant.dispatch(mark)
        if len(rows):
            end = int(rows.t_ms[-1])
            self._run_timers(end, rows, received_ms)
            plant.history.now_ms = max(end, plant.now_ms)
        self._fed_to = max(self._fed_to, span[1])

    def _run_timers(self, until_ms: int, rows: Rows, received_ms: int | None) -> None:
        """Run what was due by until_ms. Each is found by the first row at or after its time."""
        plant, t_ms = self.plant, rows.t_ms
        if not plant.is_due(until_ms):
            return
        if received_ms is not None:
            plant.found_ms = received_ms
        elif len(t_ms):
            plant.found_ms, plant.row_times = None, t_ms
        plant.run_timers(until_ms)
        if plant.found_ms is None:
            plant.found_ms, plant.row_times = plant.now_ms, t_ms[:0]
