"""The live watch of one furnace: the engine, plus what arrival adds: late data, silence of the board, who knew when.

Whatever the order and number of deliveries, the alarms are in the end those of the stored series in order: data older
than what has been worked through rewinds the engine to a saved state before it and runs again from the store.
"""

import pickle
import zlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from sootline.alarms import PRIORITIES, Alarm, iso
from sootline.analysis.engine import Engine
from sootline.analysis.offline import ALARM as OFFLINE
from sootline.analysis.offline import Offline
from sootline.analysis.sampling import Sampling
from sootline.analysis.settings import Settings
from sootline.events import Event
from sootline.now import Phase, Readiness
from sootline.profile import LogEntry, Profile, ServiceMode
from sootline.series import Rows

HOUR_MS = 3_600_000
END_MS = 2**61
BLOCK_MS = 86_400_000  # history is run through a day at a time

Key = tuple[str, str, str | None, int]
Read = Callable[[int, int], Rows]


@dataclass(frozen=True, slots=True)
class Update:
    """What changed: alarm records new or changed, keys of alarms that never were, and the same for events."""

    alarms: tuple[Alarm, ...] = ()
    removed: tuple[Key, ...] = ()
    events: tuple[Event, ...] = ()
    removed_events: tuple[tuple[str, str, int], ...] = ()


class Watch:
    """read(start_ms, end_ms) gives this furnace's stored rows, late ones included.

    waiting: alarms that wait for a step of commissioning, with its name: they are followed but not reported
    """

    def __init__(
        self,
        profile: Profile,
        read: Read,
        settings: Settings | None = None,
        sampling: Sampling | None = None,
        waiting: Mapping[str, str] | None = None,
    ) -> None:
        self.profile = profile
        self.waiting = waiting or {}
        self.settings = settings or Settings()
        self.sampling = sampling or Sampling()
        self._read = read
        self._engine = Engine(profile, self.settings, self.sampling)
        self._offline = Offline(profile, self.settings)
        self._saves: list[tuple[int, bytes]] = []
        self._found: dict[Key, int] = {}
        self._alarms: dict[Key, Alarm] = {}
        self._unheard: dict[Key, Alarm] = {}  # stand under a silence of the board
        self._events: list[tuple[int, Event]] = []  # when each was known, on the plant clock
        self._told = 0
        self._silences_told = 0

    @property
    def phase(self) -> Phase:
        if self.service is not None and self._engine.plant.service is None:
            return "service"
        return "unknown" if self._offline.silent else self._engine.phase.phase

    @property
    def phase_since_ms(self) -> int | None:
        return self._engine.phase.since_ms

    @property
    def service(self) -> ServiceMode | None:
        """Who works on the furnace; it may have run out since. Counts at once, though no reading is as new as that."""
        last = self.profile.service[-1] if self.profile.service else None
        if last is None or last.at_ms <= self._engine.fed_to_ms:
            return self._engine.plant.service
        return last if last.until_ms > last.at_ms else None

    @property
    def freeze_at_ms(self) -> int | None:
        """When the room reaches its freezing limit at the rate of the last hour; None when it does not fall."""
        return self._engine.freeze_at_ms()

    @property
    def learned(self) -> Mapping[str, float]:
        """What was found out in place of a key of the profile that is not given."""
        limit_s = self._engine.refills.limit_s
        return {} if limit_s is None or self.profile.refill.limit_s is not None else {"refill.limit_s": limit_s}

    @property
    def readiness(self) -> tuple[Readiness, ...]:
        return tuple(self._awaited(detector.readiness()) for detector in self._engine.detectors)

    def _awaited(self, readiness: Readiness) -> Readiness:
        step = self.waiting.get(readiness.alarm)
        if step is None or readiness.state == "blind":  # it needs a sensor before it needs the step
            return readiness
        return Readiness(readiness.alarm, "blind", needs=step)

    @property
    def alarms(self) -> list[Alarm]:
        """Every alarm so far in order of raised, alarm, channel."""
        return sorted(self._alarms.values(), key=lambda a: (a.raised_ms, a.alarm, a.channel or ""))

    @property
    def events(self) -> list[Event]:
        """Every finished event so far, as they became known."""
        return [event for _, event in self._events]

    def resume(self, blocks: Iterable[Rows], kept: Iterable[Alarm]) -> None:
        """Begin where an earlier watch stopped: stored rows in time order, and the records kept from it.

        The silence of the board counts from the next word, or from `listening`.
        """
        for alarm in kept:
            self._found[alarm.key] = alarm.found_ms
            if alarm.alarm == OFFLINE:
                self._offline.alarms.append(alarm)
                self._alarms[alarm.key] = alarm
        for rows in blocks:
            self._feed(rows, None)
            self._save()
        self._changes()

    def listening(self, now_ms: int) -> None:
        """From now_ms on the board can be heard again; until then its silence was not its own."""
        self._offline.last_ms = max(now_ms, self._offline.last_ms or now_ms)

    def arrived(self, rows: Rows, received_ms: int | None = None, sampling: Sampling | None = None) -> Update:
        """Rows have come (and are stored). received_ms None: a table, each row known at its own time."""
        if sampling is not None and sampling != self.sampling:
            self.sampling = sampling
            self._engine.plant.sampling = sampling
        first, last = rows.span_ms or (None, None)
        if received_ms is not None:
            self._offline.heard(received_ms, self._engine.plant)
        elif len(rows) and first is not None and first > self._engine.fed_to_ms:
            return self._table(rows)
        if first is None or last is None:
            return self._changes()
        if received_ms is None:
            self._offline.words(rows.t_ms, self._engine.plant)
        if first <= self._engine.fed_to_ms:
            return self._rewind(first, received_ms, max(self._engine.fed_to_ms, last))
        self._feed(rows, received_ms)
        self._save()
        return self._changes()

    def changed(self, from_ms: int, received_ms: int | None = None) -> Update:
        """Stored rows from from_ms on have been moved in time, for the clock of their boot has become known."""
        return self._rewind(from_ms, received_ms)

    def heard(self, received_ms: int, announcement: Mapping[str, Any] | None = None) -> Update:
        """The board has given a sign of life, or its last will says that it is gone."""
        if announcement is None or announcement.get("online") is not False:
            self._offline.heard(received_ms, self._engine.plant)
        return self._changes()

    def tick(self, now_ms: int) -> Update:
        """The host's clock has moved on; only the silence of the board is judged by it."""
        self._offline.tick(now_ms, self._engine.plant)
        return self._changes()

    def logged(self, entry: LogEntry) -> Update:
        """The owner has done something; it acts from its own time on."""
        log = tuple(sorted((*self.profile.log, entry), key=lambda item: item.at_ms))
        self.profile = replace(self.profile, log=log)
        return self._rewind(entry.at_ms, None)

    def served(self, mode: ServiceMode) -> Update:
        """Somebody begins to work on the furnace, or ends; it acts from its own time on."""
        service = tuple(sorted((*self.profile.service, mode), key=lambda item: item.at_ms))
        self.profile = replace(self.profile, service=service)
        return self._rewind(mode.at_ms, None)

    def undone(self, entry: LogEntry) -> Update:
        """The owner takes an entry back: everything is as if it had never been made."""
        log = list(self.profile.log)
        if entry not in log:
            return Update()
        log.remove(entry)
        self.profile = replace(self.profile, log=tuple(log))
        return self._rewind(entry.at_ms, None)

    def wait_for(self, waiting: Mapping[str, str]) -> Update:
        """Other alarms wait for commissioning: those that wait no more are reported with all their past."""
        self.waiting = waiting
        changed, removed = self._compare()
        return Update(changed, removed)

    def _table(self, rows: Rows) -> Update:
        """Rows of a table: a word from the board is a row; cut where it was silent, so that its last state is known."""
        patience_ms = round(1000 * self.settings.offline_s)
        cuts = (np.flatnonzero(np.diff(rows.t_ms) > patience_ms) + 1).tolist()
        for start, end in pairwise((0, *cuts, len(rows))):
            first_ms, last_ms = int(rows.t_ms[start]), int(rows.t_ms[end - 1])
            part = rows.between(first_ms, last_ms + 1) if cuts else rows
            self._offline.words(part.t_ms[:1], self._engine.plant)
            self._feed(part, None)
            self._offline.words(part.t_ms, self._engine.plant)
        return self._changes()

    def _feed(self, rows: Rows, received_ms: int | None) -> None:
        self._engine.feed(rows, received_ms)
        self._events += [(self._engine.fed_to_ms, event) for event in self._engine.take_events()]

    def _save(self) -> None:
        """Keep a state to come back to: hourly for two days, then daily for two months."""
        now_ms = self._engine.fed_to_ms
        if self._saves and now_ms - self._saves[-1][0] < HOUR_MS:
            return
        # readings hardly change from one to the next, and a furnace keeps a hundred states
        self._saves.append((now_ms, zlib.compress(pickle.dumps(self._engine, pickle.HIGHEST_PROTOCOL), 1)))
        kept: list[tuple[int, bytes]] = []
        for saved in self._saves:
            age_ms, step_ms = now_ms - saved[0], saved[0] - kept[-1][0] if kept else 2**62
            if age_ms <= 48 * HOUR_MS or (age_ms <= 60 * 24 * HOUR_MS and step_ms >= 24 * HOUR_MS):
                kept.append(saved)
        self._saves = kept

    def _rewind(self, to_ms: int, received_ms: int | None, until_ms: int = END_MS) -> Update:
        """Run again from the newest saved state before to_ms, to until_ms: what lies later is yet to be delivered."""
        while self._saves and self._saves[-1][0] >= to_ms:
            self._saves.pop()
        if self._saves:
            start_ms = self._saves[-1][0] + 1
            self._engine = pickle.loads(zlib.decompress(self._saves[-1][1]))
            self._engine.adopt(self.profile, self.sampling)
        else:
            self._engine = Engine(self.profile, self.settings, self.sampling)
            start_ms = -(2**62)
        before = {event.key: event for known_ms, event in self._events if known_ms >= start_ms}
        kept = [(known_ms, event) for known_ms, event in self._events if known_ms < start_ms]
        self._events = kept.copy()
        self._catch_up(start_ms, until_ms, received_ms)
        after = {event.key: event for _, event in self._events[len(kept) :]}
        self._told = len(self._events)
        self._engine.take_changed()
        changed, removed = self._compare()
        return Update(
            changed,
            removed,
            tuple(event for key, event in after.items() if before.get(key) != event),
            tuple(key for key in before if key not in after),
        )

    def _compare(self) -> tuple[tuple[Alarm, ...], tuple[Key, ...]]:
        """All alarms, with those told so far: (new or changed, keys of those that are no more)."""
        self._unheard.clear()
        alarms = {alarm.key: alarm for alarm in (*self._engine.alarms, *self._offline.alarms)}
        changed = self._take(alarms.values())
        removed = tuple(key for key in self._alarms if key not in alarms or key[1] in self.waiting)
        for key in removed:
            del self._alarms[key]
        return changed, removed

    def _catch_up(self, start_ms: int, until_ms: int, received_ms: int | None) -> None:
        rows = self._read(start_ms, until_ms + 1)
        if rows.span_ms is None:
            return
        block_ms, last_ms = rows.span_ms
        while block_ms <= last_ms:
            self._feed(rows.between(block_ms, block_ms + BLOCK_MS), received_ms)
            self._save()
            block_ms += BLOCK_MS

    def _changes(self) -> Update:
        """What has changed since the last update, the engine having only moved on."""
        new = tuple(event for _, event in self._events[self._told :])
        self._told = len(self._events)
        silences = self._offline.alarms[self._silences_told :]
        self._silences_told = max(0, len(self._offline.alarms) - 1)  # the last may still change
        return Update(self._take((*self._engine.take_changed(), *silences)), (), new)

    def _take(self, alarms: Iterable[Alarm]) -> tuple[Alarm, ...]:
        alarms = list(alarms)
        self._unheard |= {alarm.key: alarm for alarm in alarms if alarm.suppressed_by == OFFLINE}
        if self._unheard:
            alarms += self._offline.alarms
        changed = []
        for alarm in alarms:
            if alarm.alarm in self.waiting:
                continue
            alarm = self._with_found(self._lifted(alarm) if alarm.alarm == OFFLINE else alarm)
            if self._alarms.get(alarm.key) != alarm:
                self._alarms[alarm.key] = alarm
                changed.append(alarm)
        return tuple(changed)

    def _lifted(self, silence: Alarm) -> Alarm:
        """A silence takes the highest priority and the earliest act-by time of what it hides."""
        end_ms = END_MS if silence.cleared_ms is None else silence.cleared_ms
        hidden = [alarm for alarm in self._unheard.values() if silence.raised_ms <= alarm.raised_ms < end_ms]
        if not hidden:
            return silence
        worst = max(hidden, key=lambda a: (PRIORITIES.index(a.priority), -a.raised_ms))
        soonest = min(a.detail["act_within_min"] for a in (silence, *hidden))
        detail = {**silence.detail, "act_within_min": soonest}
        if PRIORITIES.index(worst.priority) <= PRIORITIES.index(silence.priority):
            return replace(silence, detail=detail)
        return replace(silence, priority=worst.priority, detail=detail | {"escalated": iso(worst.raised_ms)})

    def _with_found(self, alarm: Alarm) -> Alarm:
        """Running again does not change when the host first knew."""
        found = self._found.setdefault(alarm.key, alarm.found_ms)
        return alarm if found == alarm.found_ms else replace(alarm, found_ms=found)
