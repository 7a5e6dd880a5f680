"""The demo: an invented railway workshop, four weeks of its history, then its two boards live.

History: the furnace model's readings, encoded as the boards would have sent them, taken by the normal intake. Live: the
real board code in its own processes, its chips fed by the model in real time.
"""

import json
import multiprocessing
import random
import re
import shutil
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from sootline.advice import ledger, oil_log, proof
from sootline.advice.burned import burned, opened
from sootline.advice.cleaning import draw
from sootline.advice.limits import Given
from sootline.alarms import Acknowledgement
from sootline.bench import Bench, Board
from sootline.courier.around import OutlooksThen
from sootline.courier.inbox import Inbox
from sootline.errors import OutOfRange, UserError
from sootline.files import commissioning, contacts, profiles
from sootline.heat.conversions import POUND_KG
from sootline.messages.rehearse import rehearse
from sootline.series import Rows
from sootline.sim.bookkeeping import BATCHES, MONDAY, commissioned
from sootline.sim.furnace import Furnace
from sootline.sim.scenarios import FURNACES, Story, live_actions, live_faults, live_model, story
from sootline.sim.weather import DAY_MS
from sootline.store import Store
from sootline.wire import encode, topics
from sootline.wire.message import Message

INTERVAL_S = 10.0  # how often the boards of the past reported while anything was on; live they report every 5 s
SAMPLES, SPAN_MS = 3, 20_000  # a pack of the past
RESEND_MS = 50  # between buffered packs after an outage
WILL_AFTER_MS = 45_000  # the broker gives a silent board up after 1.5 x its keep-alive
BATCH_MS = 8 * 3_600_000
TAKEN_AFTER_MS = 7 * 60_000  # so soon Maud has an alarm she was told of
PREDICTED_BEFORE_MS = 3 * 3_600_000  # a cleaning
ASH_WEIGHED_KG = 4.1 * POUND_KG  # as the log of the story says


def tales(now_ms: int, days: int) -> dict[str, Story]:
    """The furnaces' stories, moved by whole days so that `days` of them lie before today; of the log only what was."""
    moved = {}
    for furnace in FURNACES:
        told = story(furnace)
        first_day = told.start_ms // DAY_MS
        last_day = min(first_day + days, told.end_ms // DAY_MS - 1)
        tale = told.moved((now_ms // DAY_MS - last_day) * DAY_MS)
        moved[furnace] = replace(tale, log=tuple(entry for entry in tale.log if entry.at_ms <= now_ms))
    return moved


def profile_toml(tale: Story) -> str:
    """The owner's profile with his log, its dates moved with the story."""
    days = timedelta(milliseconds=tale.offset_ms)
    return re.sub(
        r"(?m)^(clean_on = )(\d{4}-\d\d-\d\d)",
        lambda found: found[1] + (date.fromisoformat(found[2]) + days).isoformat(),
        tale.profile_toml,
    )


def write_profiles(folder: Path, stories: Mapping[str, Story]) -> None:
    """The workshop's profile files."""
    folder.mkdir(parents=True, exist_ok=True)
    for furnace, tale in stories.items():
        (folder / f"{furnace}.toml").write_text(profile_toml(tale))


# books


def write_books(folder: Path, stories: Mapping[str, Story], now_ms: int) -> None:
    """The workshop's used-oil log and commissioning records, as far as the story has come."""
    moved = timedelta(milliseconds=min(tale.offset_ms for tale in stories.values()))
    path = oil_log.path_of(folder)
    if not path.exists():
        for batch in BATCHES:
            came = replace(batch, received=batch.received + moved)
            if came.received <= datetime.fromtimestamp(now_ms / 1000, UTC).date():
                oil_log.append(path, came)
    for furnace in stories:
        if not commissioning.path(folder, furnace).exists():
            for done in commissioned(furnace):
                on = MONDAY + moved - timedelta(days=1)
                commissioning.add(folder, furnace, done.step, on, done.by, done.values, done.channel)


def predict_before_cleanings(folder: Path, stories: Mapping[str, Story], now_ms: int) -> "list[Moment]":
    """For each cleaning of the stories: a few hours before it, what it should bring is written down."""
    return [
        Moment(entry.at_ms - PREDICTED_BEFORE_MS, partial(_predict, folder, furnace))
        for furnace, tale in stories.items()
        for entry in tale.log
        if entry.kind == "cleaning" and entry.at_ms <= now_ms
    ]


def _predict(folder: Path, furnace: str) -> None:
    """From what is stored by then; nothing where the fit refuses."""
    with opened(folder, furnace) as (store, profile, now_ms), suppress(OutOfRange):
        picture = draw(store, burned(store, profile, now_ms), Given())
        if picture.course is not None:
            proof.predict(ledger.path_of(folder, furnace), now_ms, picture.rise, picture.ash)


def prove_cleanings(folder: Path, stories: Mapping[str, Story]) -> None:
    """Compare with what was written down, where enough has been fired since; the ash is that of the log's note."""
    for furnace in stories:
        with suppress(UserError, OutOfRange), opened(folder, furnace) as (store, profile, now_ms):
            proof.prove(store, profile, now_ms, folder, ASH_WEIGHED_KG)


def write_contacts(folder: Path, inbox: Inbox, page: str) -> None:
    """Maud is told first, Jory of what is critical and nobody has taken. Nothing leaves this machine."""
    path = folder / contacts.NAME
    path.unlink(missing_ok=True)
    maud, jory = (json.dumps([inbox.way(name)]) for name in ("Maud", "Jory"))
    text = f"""page = {json.dumps(page)}
[[contact]]
name = "Maud"
ways = {maud}
units = "us"
[[contact]]
name = "Jory"
ways = {jory}
turn = 2
form = "short"
daily = ""
"""
    contacts.write(path, text)


def tell_the_past(store: Store, folder: Path, inbox: Inbox, now_ms: int) -> None:
    """What would have been said in the weeks before, had the host been there: into its log and the file of messages."""
    known = profiles.load_folder(folder / "profiles")
    alarms = store.alarms()
    said = rehearse(
        contacts.load(folder / contacts.NAME),
        alarms,
        min((alarm.raised_ms for alarm in alarms), default=now_ms),
        now_ms,
        outlooks=lambda t_ms: OutlooksThen(store, lambda name: known.get(name) or profiles.default(name), t_ms),
        taken_after_ms=TAKEN_AFTER_MS,
    )
    with store.batch() as batch:
        batch.messages(said)
        for one in said:
            if one.code is not None:
                batch.confirm(one.contact, one.code, one.contact, one.made_ms + TAKEN_AFTER_MS)
    for one in said:
        inbox.write(one.contact, one.title, one.body, datetime.fromtimestamp(one.made_ms / 1000))


def take_the_past(store: Store, before_ms: int) -> None:
    """Of the alarms that are over, each was taken by whoever was told of it first, some minutes later."""
    first_told = {one.key: one for one in store.messages() if one.key is not None}  # the newest come first
    with store.batch() as batch:
        for alarm in store.alarms():
            first = first_told.get(alarm.key)
            if first is not None and alarm.cleared_ms is not None and alarm.cleared_ms < before_ms:
                taken = Acknowledgement(first.contact, first.made_ms + TAKEN_AFTER_MS)
                batch.alarms(put=[replace(alarm, acknowledged=taken)])
                batch.acknowledge(alarm.key, taken.by, taken.at_ms)


# history


@dataclass(frozen=True, slots=True)
class Moment:
    """Something done in the story once all before at_ms has been taken in."""

    at_ms: int
    act: Callable[[], None]


@dataclass(frozen=True, slots=True)
class _Source:
    """One furnace's messages, made in a process of their own; each batch is (up to which moment, messages)."""

    process: "multiprocessing.process.BaseProcess"
    batches: "Connection[Any, Any]"


class History:
    """The messages of the stories up to now_ms, made by one process a furnace. Iterate once; close() ends early.

    progress: the share that has been handed out so far, 0 to 1; `begun` once the first message is there
    """

    def __init__(self, stories: Mapping[str, Story], now_ms: int, moments: Sequence[Moment] = ()) -> None:
        self._now_ms = now_ms
        self._moments = sorted(moments, key=lambda moment: moment.at_ms)
        self._start_ms = min(tale.start_ms for tale in stories.values())
        self.progress = 0.0
        self.begun = False
        context = multiprocessing.get_context("spawn")
        self._sources = []
        for tale in stories.values():
            receiving, sending = context.Pipe(duplex=False)
            process = context.Process(target=_generate, args=(tale, self._start_ms, now_ms, sending), daemon=True)
            process.start()
            sending.close()
            self._sources.append(_Source(process, receiving))

    def __iter__(self) -> Iterator[Sequence[Message]]:
        """Batches in order of receipt across furnaces."""
        until_ms = self._start_ms
        while until_ms < self._now_ms:
            until_ms = min(until_ms + BATCH_MS, self._now_ms)
            while self._moments and self._moments[0].at_ms < until_ms:
                self._moments.pop(0).act()  # whoever asks for the next batch has worked through the ones before
            batch: list[Message] = []
            for source in self._sources:
                try:
                    batch.extend(Message(*parts) for parts in source.batches.recv())
                except EOFError:
                    raise RuntimeError("the furnace model's process has ended too soon") from None
            self.begun = True
            batch.sort(key=lambda message: message.received_ms)
            yield batch
            self.progress = (until_ms - self._start_ms) / (self._now_ms - self._start_ms)
        self.close()

    def close(self) -> None:
        for source in self._sources:
            source.batches.close()
            source.process.terminate()
            source.process.join()


def _generate(tale: Story, start_ms: int, now_ms: int, out: "Connection[Any, Any]") -> None:
    """The body of a furnace's process: one list of messages for each BATCH_MS from start_ms to now_ms."""
    rows, _ = tale.run(until_ms=now_ms, interval_s=INTERVAL_S)
    messages = board_messages(tale, rows)
    pending = next(messages, None)
    try:
        until_ms = start_ms
        while until_ms < now_ms:
            until_ms = min(until_ms + BATCH_MS, now_ms)
            batch = []
            while pending is not None and (pending.received_ms < until_ms or until_ms == now_ms):
                batch.append((pending.received_ms, pending.topic, pending.payload))
                pending = next(messages, None)
            out.send(batch)
    except (BrokenPipeError, KeyboardInterrupt):  # nobody wants the rest
        pass


def board_messages(tale: Story, rows: Rows) -> Iterator[Message]:
    """What the board published, in order of receipt: packs, held back in outages, and words about itself."""
    furnace = tale.spec.id
    dice = random.Random(f"{tale.seed}/network")
    boot_ms = tale.start_ms - 20_000
    boot = f"{dice.getrandbits(32):08x}"
    measurements = topics.build(furnace, "measurements")
    says = {
        "online": True, "version": 1, "firmware": "demo", "boot": boot, "reset": "power-on",
        "channels": sorted(rows.values), "interval": INTERVAL_S, "idle_interval": 60.0, "clock": "unsynced",
    }  # fmt: skip
    words = [(boot_ms + 5000, says), (tale.clock_set_ms, {**says, "clock": "synced"})]
    for start_ms, end_ms in tale.outages:
        words += [(start_ms + WILL_AFTER_MS, {"online": False}), (end_ms - 500, {**says, "clock": "synced"})]
    board = topics.build(furnace, "board")
    waiting = [Message(at_ms, board, json.dumps(word).encode()) for at_ms, word in words]
    unset, after = rows.between(-(2**62), tale.clock_set_ms), rows.between(tale.clock_set_ms, 2**62)
    seq, free_ms = 0, 0
    for part, clock in ((unset, False), (after, True)):
        for pack in encode.packs(
            part, furnace, boot, boot_ms, samples=SAMPLES, span_ms=SPAN_MS, first_seq=seq, clock=clock
        ):
            seq = pack.seq + 1
            sent_ms = next((end for start, end in tale.outages if start <= pack.last_ms < end), pack.last_ms)
            received_ms = max(sent_ms + dice.randint(30, 250), free_ms)
            free_ms = received_ms + (RESEND_MS if sent_ms > pack.last_ms else 0)
            while waiting and waiting[0].received_ms <= received_ms:
                yield waiting.pop(0)
            yield Message(received_ms, measurements, pack.payload)


# live


class LiveFurnace:
    """One furnace of the model in real time, on a bench, watched by a board in its own process."""

    def __init__(self, furnace: str, now_ms: int, broker_port: int, folder: Path) -> None:
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        stalls = furnace == "engine-shed"
        self.model: Furnace = live_model(furnace, now_ms, faults=live_faults(now_ms) if stalls else ())
        self._todo = list(live_actions(now_ms)) if stalls else []
        self._turn = threading.Lock()
        self._parts = ExitStack()
        self._bench = self._parts.enter_context(Bench(self._signals))
        channels = FURNACES[furnace].channels
        self.board = Board(furnace, bench=self._bench, broker_port=broker_port, channels=channels, directory=folder)
        self._parts.enter_context(self.board)

    def _signals(self, t_ms: int) -> dict[str, float | bool]:
        with self._turn:
            while self._todo and self._todo[0][0] <= t_ms:
                at_ms, action, details = self._todo.pop(0)
                self.model.advance(at_ms)
                self.model.act(action, **details)
            self.model.advance(t_ms)
            return self.model.signals()

    def mend(self) -> None:
        """Tighten the suction side and push the refill reset, now."""
        with self._turn:
            self._todo.clear()
            self.model.repair("air-leak")
            self.model.act("refill-reset")

    def close(self) -> None:
        self._parts.close()
