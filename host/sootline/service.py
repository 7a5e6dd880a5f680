"""The running service: the only place that builds the parts and owns threads.

    broker (child process) -> client (paho's thread) -> worker (this file) -> pages (web thread), courier (its own)

The worker alone writes readings, alarms and acts, and feeds the watches: take -> commit -> acknowledge -> analyse ->
commit -> publish.
A crash between any two of these loses nothing: what was not acknowledged comes again, what was stored is analysed anew.
"""

import fcntl
import logging
import queue
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TypeVar

from sootline import timeserver
from sootline.acts import Acts
from sootline.alarms import Alarm
from sootline.analysis.watch import Key
from sootline.broker import DEFAULT_PORT, Broker, Network
from sootline.courier.around import outlooks, week_lines
from sootline.courier.courier import Around, Courier
from sootline.errors import SootlineError, StoreUnavailable, UserError
from sootline.files import contacts, profiles
from sootline.files.commissioning import Records
from sootline.files.recordings import Recorder
from sootline.ingest.client import Address, Client, Connected, Delivery, Item, Subscribed
from sootline.ingest.intake import NOISE, Intake
from sootline.ingest.serial_line import SerialLine
from sootline.lifecycle import AlarmList, in_service
from sootline.live import Act, Live, Reread
from sootline.now import FurnaceNow, SetAside
from sootline.people.people import People
from sootline.profile import Profile
from sootline.retained import RetainedAlarms
from sootline.store import Store
from sootline.timeserver import TimeServer
from sootline.units import System
from sootline.watches import Changes, Watches
from sootline.web.app import build
from sootline.web.server import Server, Tls, is_loopback
from sootline.wire import topics
from sootline.wire.message import Message

log = logging.getLogger(__name__)

TICK_S = 5.0
SETTLE_S = 600.0
STANDSTILL_S = 60.0
COMPACT_S = 600.0
BATCH = 500
SET_ASIDE_SHOWN = 10
_RETRY_S = 2.0

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Options:
    """How to run.

    data:     folder of store and broker
    profiles: folder of profile files; None is `data`/profiles
    record:   folder in which every message is recorded as it was taken; None records nothing
    time_at:  address and port where boards are told the time; None is where `network` is, if port 123 can be had
    trust_clock: tell it although nothing keeps this computer's clock right
    tls:      serve the pages by HTTPS
    proxies:  addresses or networks of reverse proxies that may say for whom they ask
    serial:   ports with a board on a USB line
    broker:   an outside broker; None runs our own on broker_port (0: any free one), with `network` for boards
    """

    data: Path
    profiles: Path | None = None
    broker: Address | None = None
    broker_port: int = DEFAULT_PORT
    network: Network | None = None
    time_at: tuple[str, int] | None = None
    trust_clock: bool = False
    serial: tuple[str, ...] = ()
    root: str = topics.ROOT
    web_host: str = "127.0.0.1"
    web_port: int = 8470
    hosts: tuple[str, ...] = ()
    tls: Tls | None = None
    proxies: tuple[str, ...] = ()
    units: System = "si"
    client_id: str = "sootline-host"
    record: Path | None = None


class _Stopped(Exception):
    """The service is being stopped while the worker waits."""


class Service:
    """Runs from start() until stop(). Raises UserError from the constructor or start() where it cannot run."""

    def __init__(self, options: Options) -> None:
        self._options = options
        self._queue: queue.SimpleQueue[Item | Act | None] = queue.SimpleQueue()
        self._stopping = threading.Event()
        self._caught_up = threading.Event()  # all that was stored or told before has been worked through
        self._troubles: dict[str, str] = {}
        self._troubles_turn = threading.Lock()
        self._retained = RetainedAlarms(options.root)
        self.live = Live(self._queue.put)
        people = contacts.ContactsFile(options.data / contacts.NAME)
        self._profiles = profiles.load_folder(options.profiles or options.data / "profiles")
        self.live.profiles = self._profiles
        self.broker = (
            None
            if options.broker
            else Broker(options.data / "broker", options.broker_port, options.network, options.root)
        )
        self.address = options.broker or Address(port=self.broker.port if self.broker else 0)
        self._client = Client(self.address, options.root, options.client_id, self._queue.put)
        parts = (options.root, self._queue.put, self._told_ms, self._answer)
        self._lines = [SerialLine(port, *parts) for port in options.serial]
        self._lock = only_one(options.data)
        local = is_loopback(options.web_host) and not options.proxies
        if not local:
            self._need_an_account()
        try:
            self.store = Store.open(options.data)
        except SootlineError as error:
            self._lock.close()
            raise UserError(str(error)) from None
        self._intake = Intake(self.store, options.root)
        self._commissioning = Records(options.data)
        self._watches = Watches(self.store, self._profile, waiting=self._commissioning.waiting, guarded=True)
        self._alarms = AlarmList()
        self.courier = Courier(self.store, self.live, people, self._around(), now=now_ms)
        self._acts = Acts(
            self.store,
            self._watches,
            self.courier,
            alarms=lambda: self._alarms,
            persist=self._persist,
            record=self._record,
            show=self._show,
            publish=self._publish,
            now=now_ms,
        )
        self.web = Server(
            build(
                self.live,
                options.data,
                options.units,
                now=now_ms,
                hosts=options.hosts,
                profiles=options.profiles,
                local=local,
                about=self._about(),
            ),
            options.web_host,
            options.web_port,
            tls=options.tls,
            proxies=options.proxies,
        )
        self.time = self._time_server()
        self._error: BaseException | None = None
        self._ticked_s = 0.0  # when the worker last had time to look round
        self._history: Iterable[Sequence[Message]] = ()
        self._recorder = Recorder(options.record) if options.record else None
        self._worker = threading.Thread(target=self._run, name="worker", daemon=True)
        self._keeper = threading.Thread(target=self._keep_store, name="keeper", daemon=True)

    def start(self, history: Iterable[Sequence[Message]] = ()) -> None:
        """Returns when the pages are served; what is stored is read back after that.

        history: messages from before, in order of receipt, taken before those of the broker
        """
        self._history = history
        try:
            if self.broker:
                self.broker.start()
            self.web.start()
            self._start_time()
        except BaseException:
            self.stop()
            raise
        self._trouble("start", "reading what is stored; alarms follow in a moment")
        self._trouble("broker", self._client.problem)
        self._worker.start()
        self._keeper.start()

    def stop(self) -> None:
        """Stop in order; nothing that was acknowledged is lost."""
        self._stopping.set()
        self._queue.put(None)
        if self._worker.is_alive():
            self._worker.join(30)
            self._client.stop()
            for line in self._lines:
                line.stop()
        if self._keeper.is_alive():
            self._keeper.join(30)
        self.courier.stop()
        self.web.stop()
        if self.time:
            self.time.stop()
        if self.broker:
            self.broker.stop()
        self.store.close()
        self._lock.close()

    def check(self) -> None:
        """Raise the error of ours that ended the worker, if one did."""
        if self._error is not None:
            raise self._error

    def _time_server(self) -> TimeServer | None:
        options = self._options
        if options.time_at is not None:
            return TimeServer(*options.time_at, self._clock_error_s)
        return TimeServer(options.network.host, error_s=self._clock_error_s) if options.network else None

    def _clock_error_s(self) -> float | None:
        return timeserver.vouched_error_s() if self._options.trust_clock else timeserver.kernel_error_s()

    def _told_ms(self) -> int | None:
        """The time for boards on a line, if it may be told."""
        return None if self._clock_error_s() is None else now_ms()

    def _start_time(self) -> None:
        """Serve the time: where a port was named it must work, else it is tried, and said if it cannot be."""
        if self.time is None:
            return
        try:
            self.time.start()
        except UserError as error:
            if self._options.time_at is not None:
                raise
            log.warning("boards are not told the time: %s", error)

    def _about(self) -> list[tuple[str, str]]:
        """How this service was started, in words for the settings page."""
        options = self._options
        here = "this machine only" if is_loopback(options.web_host) else f"the network ({options.web_host})"
        network = options.network
        return [
            ("Data", str(options.data.resolve())),
            ("Profiles", str((options.profiles or options.data / "profiles").resolve())),
            ("Pages", f"{here}, {'HTTPS' if options.tls else 'HTTP'}, port {options.web_port}"),
            ("Reverse proxies believed", ", ".join(options.proxies) or "none"),
            ("Names of the pages", ", ".join(options.hosts) or "addresses and home-network names only"),
            ("Broker", f"{'outside' if options.broker else 'our own'}, {self.address}"),
            ("Boards connect at", f"{network.host}:{network.port}, with passwords" if network
             else "the outside broker" if options.broker else "this machine only"),
            ("Recording", str(options.record) if options.record else "off"),
        ]  # fmt: skip

    def _need_an_account(self) -> None:
        """Raises UserError where everybody in the network would be the owner."""
        try:
            with closing(People(self._options.data)) as people:
                if not people.any():
                    raise UserError(
                        "beyond this machine people must sign in, and nobody can yet; "
                        f"add an owner first: sootline people add NAME --role owner --data {self._options.data}"
                    )
        except SootlineError as error:
            self._lock.close()
            raise UserError(str(error)) from None

    def _profile(self, furnace: str) -> Profile:
        return self._profiles.get(furnace) or profiles.default(furnace)

    def _around(self) -> Around:
        return Around(
            outlooks=lambda furnaces: outlooks(furnaces, self._profile, now_ms()),
            chain=self._broken,
            lines=lambda contact, end_ms: week_lines(
                contact, end_ms, self.live.furnaces(), self._profile, self.store, self._options.data
            ),
            trouble=lambda text: self._trouble("messages", text),
        )

    def _broken(self) -> str | None:
        """What of the chain from the boards to the alarms does not work; None while all of it does."""
        if not self._client.connected:
            return "the broker cannot be heard"
        if time.monotonic() - self._ticked_s > STANDSTILL_S:
            return "readings are not worked through"
        return self._troubles.get("store") or self._troubles.get("analysis")

    # the worker

    def _run(self) -> None:
        try:
            self._persist(self._resume)
            for messages in self._history:
                self._store_and_analyse(messages)
                if self._stopping.is_set():
                    return
            self._trouble("start", None)
            self._caught_up.set()
            self.courier.start()
            self._client.start()
            for line in self._lines:
                line.start()
            next_tick = settle_at = time.monotonic()
            while not self._stopping.is_set():
                due = min(next_tick, self._retained.due_s or next_tick)
                self._handle(self._collect(due - time.monotonic()))
                now = time.monotonic()
                if now >= due:
                    self._publish()
                if now >= next_tick:
                    self._tick(settle=now >= settle_at)
                    next_tick = now + TICK_S
                    settle_at = now + SETTLE_S if now >= settle_at else settle_at
        except _Stopped:
            pass
        except BaseException as error:
            log.exception("the worker has failed")
            self._error = error
        finally:
            self._caught_up.set()

    def _resume(self) -> None:
        """Bring the watches to where an earlier run stopped."""
        self._alarms = AlarmList(self.store.acknowledgements(), self.store.shelved())
        for name in sorted({*self.store.furnaces(), *self._profiles}):
            changes = self._watches.resume(name, now_ms())
            found = {alarm.key: alarm for alarm in self._watches.furnaces[name].watch.alarms}
            self._alarms.update(found, (), now_ms())
            merged = {key: self._alarms.merged[key] for key in changes.alarms}
            self._keep(replace_alarms(changes, merged))
            self._show([name])

    def _collect(self, wait_s: float) -> list[Item | Act]:
        items: list[Item | Act] = []
        try:
            item = self._queue.get(timeout=max(wait_s, 0.0))
            while item is not None:
                items.append(item)
                if len(items) >= BATCH:
                    break
                item = self._queue.get_nowait()
        except queue.Empty:
            pass
        return items

    def _handle(self, items: Sequence[Item | Act]) -> None:
        deliveries = []
        for item in items:
            if isinstance(item, Delivery):
                deliveries.append(item)
            elif isinstance(item, Connected):
                self._retained.forget()
            elif isinstance(item, Subscribed):
                self._retained.listen(time.monotonic())
                self._watches.listening(now_ms())
                self._trouble("broker", None)
        self._take(deliveries)
        for item in items:
            if isinstance(item, Reread):
                self._reread(item)
            elif isinstance(item, Act):
                answer = self._acts.do(item)
                if not item.done.done():
                    item.done.set_result(answer)

    def _take(self, deliveries: Sequence[Delivery]) -> None:
        if not deliveries:
            return
        self._store_and_analyse([delivery.message for delivery in deliveries], deliveries)

    def _store_and_analyse(self, messages: Sequence[Message], deliveries: Sequence[Delivery] = ()) -> None:
        arrivals = self._persist(lambda: self._intake.take(messages))
        if self._recorder is not None:
            self._persist(lambda: self._write_recording(messages))
        for delivery in deliveries:
            delivery.acknowledge()
            self._retained.heard(delivery.message)
            for line in self._lines:
                line.command(delivery.message)
        self._record(self._watches.deliver(arrivals))
        self._show({arrival.furnace for arrival in arrivals})

    def _write_recording(self, messages: Sequence[Message]) -> None:
        assert self._recorder is not None
        try:
            for message in messages:
                if not topics.is_alarm(message.topic, self._options.root):
                    self._recorder.write(message)
            self._recorder.flush()
        except OSError as error:
            raise StoreUnavailable(f"the recording cannot be written: {error.strerror}") from None

    def _reread(self, act: Reread) -> None:
        """Take a profile up as at a start: the whole past is worked through again, and alarms change with it."""
        try:
            found = profiles.load_folder(self._options.profiles or self._options.data / "profiles")
        except SootlineError as error:
            act.done.set_exception(error)
            return
        self._profiles = self.live.profiles = found
        act.done.set_result(True)
        self._trouble("profile", f"{act.furnace}: its past is worked through with the new profile; wait a moment")
        self._record(self._watches.renew(act.furnace, now_ms()))
        self._trouble("profile", None)
        self._show([act.furnace])

    def _tick(self, *, settle: bool) -> None:
        self._ticked_s = time.monotonic()
        if self._client.connected:
            self._record(self._watches.tick(now_ms()))
        if settle:
            arrivals = self._persist(self._intake.settle)
            self._record(self._watches.deliver(arrivals))
        unshelved = self._alarms.unshelve(now_ms())
        if unshelved:
            self._keep(Changes({alarm.key: alarm for alarm in unshelved}))
        self._trouble("broker", self._client.problem)
        for line in self._lines:
            self._trouble(f"serial {line.port}", line.problem)
        self._trouble("foreign", self._foreign())
        self._trouble("commissioning", "; ".join(self._commissioning.problems.values()) or None)
        self._trouble("analysis", "; ".join(self._watches.troubles) or None)
        self._publish()
        self._show(self._watches.furnaces)

    def _foreign(self) -> str | None:
        """What was set aside and belongs to no furnace on the pages."""
        try:
            last = [aside for aside in self.store.last_set_aside(200) if self._nobodys(aside)]
        except StoreUnavailable:
            return None
        if not last:
            return None
        return f"messages that belong to no known furnace are set aside; the last: {last[0].topic}: {last[0].reason}"

    def _nobodys(self, aside: SetAside) -> bool:
        topic = topics.parse(aside.topic, self._options.root)
        if aside.topic.startswith(f"{NOISE} "):
            return False  # every board says something else when it starts
        return topic is None or topic.furnace not in self._watches.furnaces

    def _record(self, changes: Changes) -> None:
        """Store what the analysis has changed, together with people's acts, and tell the broker."""
        if not changes:
            return
        merged = self._alarms.update(changes.alarms, changes.removed, now_ms())
        for alarm in merged:
            log.info("%s %s %s: %s", alarm.furnace, alarm.alarm, alarm.channel or "", alarm.state)
        self._keep(replace_alarms(changes, {alarm.key: alarm for alarm in merged}))
        self._publish()

    def _keep(self, changes: Changes) -> None:
        if not changes:
            return

        def write() -> None:
            with self.store.batch() as batch:
                batch.alarms(changes.alarms.values(), changes.removed)
                batch.events(changes.events.values(), changes.removed_events)

        self._persist(write)

    def _persist(self, attempt: Callable[[], T]) -> T:
        """Try until the store can be written; meanwhile the broker keeps what comes."""
        while True:
            try:
                result = attempt()
                self._trouble("store", None)
                return result
            except StoreUnavailable as error:
                self._trouble("store", f"{error}; messages wait at the broker until it can be written again")
                if self._stopping.wait(_RETRY_S):
                    raise _Stopped from None

    def _keep_store(self) -> None:
        """Bring finished hours and days of the store into their lasting form: once the history is in, then at times."""
        self._caught_up.wait()
        while not self._stopping.is_set():
            try:
                problems = self.store.compact(now_ms()).problems
                self._trouble("compaction", "; ".join(problems) or None)
            except SootlineError as error:
                self._trouble("compaction", str(error))
            self._stopping.wait(COMPACT_S)

    # what others see

    def _answer(self, topic: str, payload: bytes) -> None:
        """What a board on a line answers to a command goes where the command came from; called by the lines."""
        self._client.publish(topic, payload, retain=False)

    def _publish(self) -> None:
        """Bring the retained alarms at the broker in line with those that stand."""
        if self._client.connected:
            self._retained.publish(self._alarms, time.monotonic(), self._client.publish)

    def _show(self, names: Iterable[str]) -> None:
        self.live.show([self._picture(name) for name in names])

    def _picture(self, name: str) -> FurnaceNow:
        furnace = self._watches.furnace(name)
        try:
            counts, last = self.store.set_aside_counts(name), self.store.last_set_aside(SET_ASIDE_SHOWN, name)
        except StoreUnavailable:
            counts, last = {}, []
        return FurnaceNow(
            furnace=name,
            phase=furnace.watch.phase,
            phase_since_ms=furnace.watch.phase_since_ms,
            readings=dict(furnace.readings),
            alarms=self._alarms.in_sight(name, now_ms()),
            readiness=tuple(furnace.watch.readiness),
            last_word_ms=furnace.last_word_ms,
            board=furnace.board,
            learned=furnace.watch.learned,
            set_aside=counts,
            last_set_aside=tuple(last),
            service=in_service(furnace.watch.service, now_ms()),
            freeze_at_ms=furnace.watch.freeze_at_ms,
        )

    def _trouble(self, kind: str, text: str | None) -> None:
        """Show what is wrong, or that it is so no more; called by worker and keeper."""
        with self._troubles_turn:
            if text is None:
                self._troubles.pop(kind, None)
            else:
                if self._troubles.get(kind) != text and kind in ("store", "compaction"):
                    log.error("%s", text)
                self._troubles[kind] = text
            self.live.show(troubles=tuple(self._troubles.values()))


def replace_alarms(changes: Changes, alarms: dict[Key, Alarm]) -> Changes:
    """The same changes with alarm records as people meet them."""
    return Changes(alarms, changes.removed, changes.events, changes.removed_events)


def now_ms() -> int:
    return time.time_ns() // 1_000_000


def only_one(data: Path) -> IO[str]:
    """Hold the folder for this process. Raises UserError when another holds it or it cannot be written."""
    try:
        data.mkdir(parents=True, exist_ok=True)
        lock = (data / "lock").open("w")
    except OSError as error:
        raise UserError(f"{data}: cannot be written: {error.strerror}; choose another folder with --data") from None
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        lock.close()
        raise UserError(f"another sootline already runs with the folder {data}") from None
    return lock
