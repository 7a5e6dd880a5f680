"""Copies the store to a server from a cursor kept in the store, so that nothing is lost and nothing left out.

The store is the buffer: an outage of any length, ours or the server's, only means that the cursor waits. A server may
lose what it had acknowledged seconds before a crash; so whenever it has been started anew, after any failure, and
whenever we are, the last minute of sending is sent again. Servers keep one value for each series and millisecond
(VictoriaMetrics: start it with -dedup.minScrapeInterval=1ms; InfluxDB does so by itself). VictoriaMetrics keeps about
twelve digits of a number, more than any board sends. Servers are never told to delete: an alarm or event that late data
has taken back stays there.
"""

import hashlib
from collections import deque
from dataclasses import asdict, dataclass, field, replace

from sootline.mirror import lines
from sootline.mirror.server import LineServer, ServerUnavailable
from sootline.store import Store

OVERLAP_MS = 60_000  # of sending, sent again when the server may have lost it
SPAN_MS = 3_600_000  # of arrivals, sent in one step
MOST_CHANGES = 1000  # events or alarms sent in one step
BEGINNING = -(2**62)


@dataclass(frozen=True, slots=True)
class Cursor:
    """How far a mirror has come.

    arrived: of each furnace the arrival [ms] from which on to send
    noted:   of each furnace the newest note of `Store.brought_back` that was followed
    alarms, events: change number of the last one sent
    log:     which state of the logbook was sent
    """

    arrived: dict[str, int] = field(default_factory=dict)
    noted: dict[str, int] = field(default_factory=dict)
    alarms: int = 0
    events: int = 0
    log: str = ""


@dataclass(frozen=True, slots=True)
class Progress:
    """One step. behind: there is more to send at once; refused: lines that the server will never take."""

    lines: int
    behind: bool
    refused: tuple[str, ...] = ()


class Mirror:
    """Call `step` again and again: at once while it is behind, else every few seconds. Not thread-safe."""

    def __init__(self, store: Store, server: LineServer, name: str = "mirror") -> None:
        self._store, self._server = store, server
        self._name = f"mirror:{name}"
        kept = store.recall(self._name) or {}
        # after a start of ours begin where everything before is surely on the server's disk
        self._cursor = self._safe = Cursor(**kept.get("safe", {}))
        self._started: str | None = kept.get("started")
        self._passed: deque[tuple[int, Cursor]] = deque()
        self._newest: dict[str, tuple[int, int]] = {}
        self._doubt = False

    def step(self, now_ms: int) -> Progress:
        """Send what is next, a bounded amount. Raises ServerUnavailable, UserError; then nothing is passed over."""
        try:
            self._look_for_restart()
            progress = self._send(now_ms)
        except ServerUnavailable:
            self._doubt = True
            raise
        self._age(now_ms)
        return progress

    def _look_for_restart(self) -> None:
        started = self._server.started()
        if self._doubt or started != self._started:
            self._cursor, self._doubt = self._safe, False
            self._passed.clear()
            self._newest.clear()
            self._started = started

    def _send(self, now_ms: int) -> Progress:
        sent, refused, behind = 0, [], False
        for furnace in self._store.furnaces():
            n, bad, more = self._send_readings(furnace, now_ms)
            sent, behind = sent + n, behind or more
            refused += bad
        alarms = self._store.changed_alarms(self._cursor.alarms, MOST_CHANGES)
        events = self._store.changed_events(self._cursor.events, MOST_CHANGES)
        told = [line for _, alarm in alarms for line in lines.of_alarm(alarm)]
        told += [lines.of_event(event) for _, event in events]
        log = [lines.of_logged(logged) for logged in self._store.logbook()]
        state = hashlib.sha256("\n".join(log).encode()).hexdigest() if log else ""
        if state != self._cursor.log:  # the whole book is short, and a line sent again changes nothing
            told += log
        if told:
            refused += self._server.write(told)
            self._cursor = replace(
                self._cursor,
                alarms=alarms[-1][0] if alarms else self._cursor.alarms,
                events=events[-1][0] if events else self._cursor.events,
                log=state,
            )
        behind = behind or len(alarms) == MOST_CHANGES or len(events) == MOST_CHANGES
        return Progress(sent + len(told), behind, tuple(refused))

    def _send_readings(self, furnace: str, now_ms: int) -> tuple[int, list[str], bool]:
        """(lines sent, lines refused, whether more waits) of one furnace."""
        noted = self._store.brought_back(furnace, self._cursor.noted.get(furnace, 0))
        at_ms = self._cursor.arrived.get(furnace, BEGINNING)
        if noted is not None:
            at_ms = min(at_ms, noted[1])
            self._newest.pop(furnace, None)
            self._pass(furnace, at_ms, noted[0])
        found = self._store.arrived(furnace, at_ms, SPAN_MS, now_ms)
        if found is None:
            return 0, [], False
        told = list(lines.of_rows(furnace, found.rows))
        # what arrives in the same millisecond as the last of these may still come: that millisecond is read again
        mark = (found.last_ms, len(told))
        if self._newest.get(furnace) == mark:
            return 0, [], self._more(furnace, found.last_ms, now_ms)
        refused = self._server.write(told)
        if found.first_ms == found.last_ms:
            self._newest[furnace] = mark
        self._pass(furnace, found.last_ms)
        return len(told), refused, self._more(furnace, found.last_ms, now_ms)

    def _more(self, furnace: str, after_ms: int, now_ms: int) -> bool:
        """Whether something arrived after a time; if so, that time need not be looked at again."""
        if self._store.arrived(furnace, after_ms + 1, 1, now_ms) is None:
            return False
        self._pass(furnace, after_ms + 1)
        return True

    def _pass(self, furnace: str, at_ms: int, note: int | None = None) -> None:
        noted = self._cursor.noted if note is None else self._cursor.noted | {furnace: note}
        self._cursor = replace(self._cursor, arrived=self._cursor.arrived | {furnace: at_ms}, noted=noted)

    def _age(self, now_ms: int) -> None:
        """Where the cursor stood OVERLAP_MS ago is safe; that is what is kept."""
        self._passed.append((now_ms, self._cursor))
        safe = self._safe
        while self._passed and self._passed[0][0] <= now_ms - OVERLAP_MS:
            safe = self._passed.popleft()[1]
        if safe != self._safe:
            self._safe = safe
            with self._store.batch() as batch:
                batch.remember(self._name, {"safe": asdict(safe), "started": self._started})
