"""What people do: acknowledge, shelve, log, undo, work on a furnace, confirm a message. Done by the worker, one by one.

Each act is kept before it counts, so that nothing a person was told is done can be lost.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from sootline.alarms import Alarm, Shelf
from sootline.analysis.causes.search import answered
from sootline.courier.courier import Courier
from sootline.lifecycle import AlarmList
from sootline.live import Acknowledge, Confirm, Log, Serve, Shelve, Tell, Try, Undo
from sootline.profile import ServiceMode
from sootline.store import Store
from sootline.watches import Changes, Watches

T = TypeVar("T")


class Persist(Protocol):
    def __call__(self, attempt: Callable[[], T]) -> T: ...


@dataclass(frozen=True, slots=True)
class Acts:
    """alarms: the present list; persist: tries until the store can be written; record, show, publish: the worker's"""

    store: Store
    watches: Watches
    courier: Courier
    alarms: Callable[[], AlarmList]
    persist: Persist
    record: Callable[[Changes], None]
    show: Callable[[Iterable[str]], None]
    publish: Callable[[], None]
    now: Callable[[], int]

    def do(self, act: Acknowledge | Shelve | Log | Undo | Tell | Serve | Confirm | Try) -> bool:
        """Do it; the answer for whoever waits, who may have it already where the analysis takes its time after that."""
        if isinstance(act, Acknowledge | Shelve):
            return self._handle(act)
        if isinstance(act, Log):
            return self._log(act)
        if isinstance(act, Undo):
            return self._undo(act)
        if isinstance(act, Tell):
            return self.persist(lambda: self._write_answer(act))
        if isinstance(act, Serve):
            return self._serve(act)
        return self.persist(lambda: self._message(act))

    def _handle(self, act: Acknowledge | Shelve) -> bool:
        now_ms = self.now()
        if isinstance(act, Acknowledge):
            changed = self.alarms().acknowledge(act.key, act.by, now_ms)
        else:
            changed = self.alarms().shelve(act.key, Shelf(act.by, act.reason, now_ms, act.until_ms), now_ms)
        if changed:
            self.persist(lambda: self._write_handled(act, now_ms, changed))
            self.publish()
            self.show([act.key[0]])
        return act.key in self.alarms().merged

    def _write_handled(self, act: Acknowledge | Shelve, at_ms: int, changed: Sequence[Alarm]) -> None:
        with self.store.batch() as batch:
            if isinstance(act, Acknowledge):
                batch.acknowledge(act.key, act.by, at_ms)
            else:
                batch.shelve(act.key, Shelf(act.by, act.reason, at_ms, act.until_ms))
            batch.alarms(put=changed)

    def _log(self, act: Log) -> bool:
        """Keep a line of the logbook; what was kept before is kept once, and acts once."""
        logged = act.logged
        if not self.persist(lambda: self._write_log(act)):
            before = self.persist(lambda: self.store.logged(logged.id))
            return before is not None and before.same(logged)
        act.done.set_result(True)
        self.record(self.watches.logged(logged.furnace, logged.entry))
        self.show([logged.furnace])
        return True

    def _write_log(self, act: Log) -> bool:
        with self.store.batch() as batch:
            return batch.log(act.logged, act.photo)

    def _undo(self, act: Undo) -> bool:
        logged = self.persist(lambda: self.store.logged(act.id))
        now_ms = self.now()
        if logged is None or not logged.may_undo(now_ms):
            return False
        self.persist(lambda: self._write_undo(act, now_ms))
        act.done.set_result(True)
        self.record(self.watches.undone(logged.furnace, logged.entry))
        self.show([logged.furnace])
        return True

    def _write_undo(self, act: Undo, at_ms: int) -> None:
        with self.store.batch() as batch:
            batch.undo(act.id, act.by, at_ms)

    def _write_answer(self, act: Tell) -> bool:
        further = answered(self.store.search(act.search.id) or act.search, act.answer)
        if further is None:
            return False
        with self.store.batch() as batch:
            batch.search(further)
        return True

    def _serve(self, act: Serve) -> bool:
        now_ms = self.now()
        mode = ServiceMode(now_ms, max(act.until_ms, now_ms), act.by, act.reason)
        self.persist(lambda: self._write_service(act.furnace, mode))
        self.record(self.watches.served(act.furnace, mode))
        self.show([act.furnace])
        return True

    def _write_service(self, furnace: str, mode: ServiceMode) -> None:
        with self.store.batch() as batch:
            batch.service(furnace, [*self.store.service(furnace), mode])

    def _message(self, act: Confirm | Try) -> bool:
        if isinstance(act, Try):
            return self.courier.test(act.contact)
        with self.store.batch() as batch:
            return batch.confirm(act.contact, act.code, act.by, self.now())
