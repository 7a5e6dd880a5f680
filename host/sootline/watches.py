"""The watches of all furnaces: they are fed what the intake has stored and tell what has changed.

The live service and the replay of a recording both go through here, so that both find the same.
"""

import logging
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sootline.advice.burned import with_log, with_service
from sootline.alarms import Alarm
from sootline.analysis.sampling import Sampling
from sootline.analysis.watch import Key, Update, Watch
from sootline.errors import SootlineError
from sootline.events import Event
from sootline.files.profiles import default
from sootline.ingest.intake import Arrival
from sootline.now import Reading
from sootline.profile import LogEntry, Profile, ServiceMode
from sootline.series import Rows, concatenate
from sootline.store import Store

log = logging.getLogger(__name__)

PROMPT_MS = 30_000  # rows received this soon are known at their own time; later ones when they are received
BLOCK_PACKS = 20_000
DAY_MS = 86_400_000
RETRY_MS = 600_000  # a watch that has failed is made anew after this ...
RETRY_STORE_MS = 15_000  # ... or this, where only the store could not be read
_INTERVALS_S = (0.2, 3600.0)


@dataclass(slots=True)
class Changes:
    """What has changed at all furnaces, the last word on each."""

    alarms: dict[Key, Alarm] = field(default_factory=dict)
    removed: set[Key] = field(default_factory=set)
    events: dict[tuple[str, str, int], Event] = field(default_factory=dict)
    removed_events: set[tuple[str, str, int]] = field(default_factory=set)

    def __bool__(self) -> bool:
        return bool(self.alarms or self.removed or self.events or self.removed_events)

    def extend(self, later: "Changes") -> None:
        """Take in later changes."""
        self.add(
            Update(
                tuple(later.alarms.values()),
                tuple(later.removed),
                tuple(later.events.values()),
                tuple(later.removed_events),
            )
        )

    def add(self, update: Update) -> None:
        """Take in a later update."""
        for key in update.removed:
            self.alarms.pop(key, None)
            self.removed.add(key)
        for alarm in update.alarms:
            self.removed.discard(alarm.key)
            self.alarms[alarm.key] = alarm
        for event_key in update.removed_events:
            self.events.pop(event_key, None)
            self.removed_events.add(event_key)
        for event in update.events:
            self.removed_events.discard(event.key)
            self.events[event.key] = event


@dataclass(slots=True)
class Furnace:
    """One furnace's watch, and the last word on each of its channels and from its board.

    trouble, retry_ms: the watch has failed by an error of ours and is made anew, not before that time
    """

    watch: Watch
    trouble: str | None = None
    retry_ms: int = 0
    readings: dict[str, Reading] = field(default_factory=dict)
    sampling: Sampling | None = None
    last_word_ms: int | None = None
    board: Mapping[str, Any] = field(default_factory=dict)


class Watches:
    """Makes a watch for each furnace as it is first heard of. Not thread-safe: one worker owns it.

    profile_of: the profile of a furnace
    waiting:    the alarms of a furnace that wait for commissioning, given the channels it has
    guarded:    an error of ours in one furnace's watch is noted and leaves the others to go on; else it is raised
    """

    def __init__(
        self,
        store: Store,
        profile_of: Callable[[str], Profile] = default,
        *,
        waiting: Callable[[str, Collection[str]], Mapping[str, str]] = lambda name, fitted: {},
        guarded: bool = False,
    ) -> None:
        self._store = store
        self._profile_of = profile_of
        self._waiting = waiting
        self._guarded = guarded
        self.furnaces: dict[str, Furnace] = {}

    def furnace(self, name: str) -> Furnace:
        found = self.furnaces.get(name)
        if found is None:
            found = self.furnaces[name] = Furnace(self._new_watch(name))
        return found

    def _new_watch(self, name: str) -> Watch:
        profile = self._profile_of(name)
        profile = with_service(with_log(profile, self._store.log(name)), self._store.service(name))
        return Watch(profile, lambda start_ms, end_ms: self._store.read(name, start_ms, end_ms))

    @contextmanager
    def _guard(self, furnace: Furnace, now_ms: int) -> Iterator[None]:
        try:
            yield
        except SootlineError as error:  # the store cannot be read: say why, and look again soon
            if not self._guarded:
                raise
            furnace.trouble = f"the analysis of {furnace.watch.profile.furnace.id} waits: {error}"
            furnace.retry_ms = now_ms + RETRY_STORE_MS
        except Exception as error:
            if not self._guarded:
                raise
            name = furnace.watch.profile.furnace.id
            log.exception("the analysis of %s has failed", name)
            furnace.trouble = (
                f"the analysis of {name} has failed ({type(error).__name__}: {error}); "
                "its readings are kept, but its alarms are not followed"
            )
            furnace.retry_ms = now_ms + RETRY_MS

    def resume(self, name: str, now_ms: int) -> Changes:
        """Begin with all that is stored of a furnace; what differs from the stored findings is returned."""
        furnace = self.furnace(name)
        changes = Changes()
        with self._guard(furnace, now_ms):
            self._resume(name, furnace, changes)
        return changes

    def _resume(self, name: str, furnace: Furnace, changes: Changes) -> None:
        kept = {alarm.key: alarm for alarm in self._store.alarms(name)}
        announced = self._store.announcements().get(name)
        if announced is not None:
            furnace.board = announced[1]
            furnace.sampling = sampling_of(announced[1])
            if furnace.sampling is not None:
                furnace.watch.arrived(concatenate([]), None, furnace.sampling)
        furnace.last_word_ms = self._store.last_received_ms(name)
        furnace.watch.resume(self._stored(name, furnace), kept.values())
        self._wait(name, furnace)
        found = {alarm.key: alarm for alarm in furnace.watch.alarms}
        changes.alarms = {key: alarm for key, alarm in found.items() if kept.get(key) != alarm}
        changes.removed = kept.keys() - found.keys()
        stored = {event.key: event for event in self._store.events(name)}
        events = {event.key: event for event in furnace.watch.events}
        changes.events = {key: event for key, event in events.items() if stored.get(key) != event}
        changes.removed_events = stored.keys() - events.keys()

    def _wait(self, name: str, furnace: Furnace) -> Update:
        """Take up what the record of commissioning says now."""
        waiting = self._waiting(name, furnace.readings)
        return Update() if waiting == furnace.watch.waiting else furnace.watch.wait_for(waiting)

    def _stored(self, name: str, furnace: Furnace) -> Iterator[Rows]:
        extent = self._store.extent(name)
        if extent is None:
            return
        for start_ms in range(extent[0], extent[1] + 1, DAY_MS):
            rows = self._store.read(name, start_ms, start_ms + DAY_MS)
            _note(furnace.readings, rows)
            yield rows

    def deliver(self, arrivals: Iterable[Arrival]) -> Changes:
        """Feed what has been stored, in the order of arrival; prompt rows of one furnace together."""
        changes = Changes()
        by_furnace: dict[str, list[Arrival]] = {}
        for arrival in arrivals:
            by_furnace.setdefault(arrival.furnace, []).append(arrival)
        for name, own in by_furnace.items():
            furnace = self.furnace(name)
            if furnace.trouble is not None:
                self._only_note(furnace, own)
                continue
            with self._guard(furnace, own[-1].received_ms):
                for update in self._deliver(furnace, own):
                    changes.add(update)
        return changes

    def _only_note(self, furnace: Furnace, arrivals: Iterable[Arrival]) -> None:
        """The watch has failed: the newest readings are still shown."""
        for arrival in arrivals:
            furnace.last_word_ms = max(arrival.received_ms, furnace.last_word_ms or 0)
            furnace.board = arrival.announcement or furnace.board
            _note(furnace.readings, arrival.rows)

    def _deliver(self, furnace: Furnace, arrivals: Iterable[Arrival]) -> Iterator[Update]:
        watch = furnace.watch
        block: list[Rows] = []

        def flush() -> Iterator[Update]:
            if block:
                rows = concatenate(block)
                block.clear()
                _note(furnace.readings, rows)
                yield watch.arrived(rows, None, furnace.sampling)

        for arrival in arrivals:
            furnace.last_word_ms = max(arrival.received_ms, furnace.last_word_ms or 0)
            prompt = _prompt(arrival)
            if not prompt or len(block) >= BLOCK_PACKS or (block and arrival.rows.t_ms[0] <= block[-1].t_ms[-1]):
                yield from flush()
            if prompt:
                block.append(arrival.rows)
            else:
                yield self._alone(furnace, arrival)
        yield from flush()

    def _alone(self, furnace: Furnace, arrival: Arrival) -> Update:
        watch, received_ms = furnace.watch, arrival.received_ms
        if arrival.announcement is not None:
            furnace.board = arrival.announcement
            furnace.sampling = sampling_of(arrival.announcement) or furnace.sampling
            return watch.heard(received_ms, arrival.announcement)
        if arrival.changed is not None:
            furnace.readings.clear()
            _note(furnace.readings, self._store.read(furnace.watch.profile.furnace.id, arrival.changed[0], 2**62))
            return watch.changed(arrival.changed[0], received_ms)
        if len(arrival.rows) or arrival.rows.faults:
            _note(furnace.readings, arrival.rows)
            return watch.arrived(arrival.rows, received_ms, furnace.sampling)
        return watch.heard(received_ms)

    def tick(self, now_ms: int) -> Changes:
        """The host's clock has moved on."""
        changes = Changes()
        for name, furnace in self.furnaces.items():
            if furnace.trouble is None:
                with self._guard(furnace, now_ms):
                    changes.add(furnace.watch.tick(now_ms))
                    changes.add(self._wait(name, furnace))
            elif now_ms >= furnace.retry_ms:
                changes.extend(self.renew(name, now_ms))
        return changes

    def renew(self, name: str, now_ms: int) -> Changes:
        """Work a furnace's whole past through again, as at a start: with its profile as it is now."""
        furnace = self.furnace(name)
        furnace.trouble = None
        furnace.watch = self._new_watch(name)
        changes = self.resume(name, now_ms)
        furnace.watch.listening(now_ms)
        return changes

    @property
    def troubles(self) -> tuple[str, ...]:
        """The furnaces whose watch has failed, in one line each."""
        return tuple(furnace.trouble for furnace in self.furnaces.values() if furnace.trouble is not None)

    def listening(self, now_ms: int) -> None:
        """The broker can be heard again since now_ms."""
        for furnace in self.furnaces.values():
            furnace.watch.listening(now_ms)

    def logged(self, name: str, entry: LogEntry) -> Changes:
        """An owner has done something at a furnace."""
        changes = Changes()
        furnace = self.furnace(name)
        if furnace.trouble is None:
            with self._guard(furnace, entry.at_ms):
                changes.add(furnace.watch.logged(entry))
        return changes

    def served(self, name: str, mode: ServiceMode) -> Changes:
        """Somebody begins to work on a furnace, or ends."""
        changes = Changes()
        furnace = self.furnace(name)
        if furnace.trouble is None:
            with self._guard(furnace, mode.at_ms):
                changes.add(furnace.watch.served(mode))
        return changes

    def undone(self, name: str, entry: LogEntry) -> Changes:
        """An owner takes back what he noted."""
        changes = Changes()
        furnace = self.furnace(name)
        if furnace.trouble is None:
            with self._guard(furnace, entry.at_ms):
                changes.add(furnace.watch.undone(entry))
        return changes


def _prompt(arrival: Arrival) -> bool:
    if arrival.announcement is not None or arrival.changed is not None or not len(arrival.rows):
        return False
    return arrival.received_ms - int(arrival.rows.t_ms[0]) <= PROMPT_MS


def _note(readings: dict[str, Reading], rows: Rows) -> None:
    """Keep the newest reading or fault of each channel."""
    for channel, column in rows.values.items():
        given = np.flatnonzero(~np.isnan(column))
        if len(given):
            last = int(given[-1])
            _newer(readings, channel, Reading(int(rows.t_ms[last]), float(column[last])))
    for fault in rows.faults:
        _newer(readings, fault.channel, Reading(fault.t_ms, None, fault.kind))


def _newer(readings: dict[str, Reading], channel: str, reading: Reading) -> None:
    known = readings.get(channel)
    if known is None or reading.t_ms >= known.t_ms:
        readings[channel] = reading


def sampling_of(announcement: Mapping[str, Any]) -> Sampling | None:
    """How often the board says that it reports; None where it does not say so sensibly."""
    interval, idle = announcement.get("interval"), announcement.get("idle_interval")
    low, high = _INTERVALS_S
    if not isinstance(interval, int | float) or not low <= interval <= high:
        return None
    if not isinstance(idle, int | float) or not low <= idle <= high:
        idle = max(Sampling().idle_interval_s, interval)
    return Sampling(float(interval), float(idle))
