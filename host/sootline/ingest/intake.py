"""What becomes of each message: a pack is placed in time and stored once, the rest is noted or set aside.

Everything of one `take` is one transaction. Only what has been committed is handed on to the analysis.
"""

import logging
from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import msgspec

from sootline.ingest.rivals import Rivals
from sootline.series import EMPTY, Rows
from sootline.store import Batch, Store
from sootline.wire import pack as packs
from sootline.wire import topics
from sootline.wire.message import Message
from sootline.wire.placement import WINDOW_MS, BootClock

log = logging.getLogger(__name__)

MOVE_AT_ONCE_MS = 1000  # a pack standing this far from its place is moved at once; smaller steps wait for settle()
MAX_ANNOUNCEMENT_BYTES = 16 * 1024
_ANY_SPAN_MS = (-12 * 3_600_000, 12 * 3_600_000)  # no pack of 64 KiB reaches further from its base
SECOND_BOARD = "a second board uses this furnace's name; give one of the two another"
NOISE = "serial"  # leaf, or first word, under which a serial line hands on what is no message
_SENT_BY_HOST = ("alarms/", "command")
_decode = msgspec.json.Decoder(dict[str, Any]).decode


@dataclass(frozen=True, slots=True)
class Arrival:
    """What one message, or the finding of a clock, brought to one furnace; stored already.

    rows:         new rows, placed in time
    announcement: what the board said of itself
    changed:      [first, last] time [ms] between which stored rows have been moved
    """

    furnace: str
    received_ms: int
    rows: Rows = EMPTY
    announcement: Mapping[str, Any] | None = None
    changed: tuple[int, int] | None = None


@dataclass(slots=True)
class _Boot:
    """One boot's clock, and where its packs without a clock stand now.

    order:     (uptime, seq) in order; base_ms, span_ms: of each seq its base and its first and last row from there
    unsettled: the span of uptimes of packs that came since all stood where they belong
    urgent:    some of them stand too far away to wait
    """

    clock: BootClock
    order: list[tuple[int, int]] = field(default_factory=list)
    base_ms: dict[int, int] = field(default_factory=dict)
    span_ms: dict[int, tuple[int, int]] = field(default_factory=dict)
    unsettled: tuple[int, int] | None = None
    urgent: bool = False

    def add(self, pack: packs.Pack, base_ms: int) -> None:
        """A pack without a clock has been placed."""
        i = bisect_left(self.order, (pack.uptime_ms, pack.seq))
        if i:
            uptime_ms, seq = self.order[i - 1]
            offset_ms, before_ms = base_ms - pack.uptime_ms, self.base_ms[seq] - uptime_ms
            self.urgent |= offset_ms + MOVE_AT_ONCE_MS < before_ms
        self.order.insert(i, (pack.uptime_ms, pack.seq))
        self.base_ms[pack.seq] = base_ms
        self.span_ms[pack.seq] = _span(pack.rows)
        low, high = self.unsettled or (pack.uptime_ms, pack.uptime_ms)
        self.unsettled = (min(low, pack.uptime_ms), max(high, pack.uptime_ms))

    def clock_found(self) -> None:
        """The board's own clock has become known: every pack without one has its place now."""
        if self.order:
            self.unsettled, self.urgent = (0, 2**62), True

    def moves(self) -> list[tuple[int, int]]:
        """(seq, base) of packs that do not stand where they belong."""
        low, high = self.unsettled or (0, -1)
        i = bisect_left(self.order, (low - WINDOW_MS, -1))
        near = self.order[i : bisect_right(self.order, (high + WINDOW_MS, 2**62))]
        places = self.clock.place_all([uptime_ms for uptime_ms, _ in near])
        return [(seq, place) for (_, seq), place in zip(near, places, strict=True) if self.base_ms[seq] != place]


class Intake:
    """Takes messages into a store. Not thread-safe: one worker owns it."""

    def __init__(self, store: Store, root: str = topics.ROOT) -> None:
        self._store = store
        self._root = root
        self._boots: dict[tuple[str, str], _Boot] = {}
        self._rivals: dict[str, Rivals] = {}
        self._received_ms = 0

    def take(self, messages: Iterable[Message]) -> list[Arrival]:
        """Store what the messages bring. Raises StoreUnavailable; the same messages may then be taken again."""
        return self._commit(messages)

    def settle(self) -> list[Arrival]:
        """Move every pack without a clock to exactly where it belongs by all that is known now."""
        if not any(boot.unsettled for boot in self._boots.values()):
            return []
        for boot in self._boots.values():
            boot.urgent = boot.unsettled is not None
        return self._commit(())

    def _commit(self, messages: Iterable[Message]) -> list[Arrival]:
        arrivals: list[Arrival] = []
        try:
            with self._store.batch() as batch:
                for message in messages:
                    arrivals.extend(self._message(batch, message))
                    self._received_ms = max(message.received_ms, self._received_ms)
                for (furnace, name), boot in self._boots.items():
                    if boot.urgent:
                        arrivals.extend(self._move(batch, furnace, name, boot))
        except BaseException:
            self._boots.clear()  # what is remembered here must not be ahead of the store
            self._rivals.clear()
            raise
        return arrivals

    def _message(self, batch: Batch, message: Message) -> Sequence[Arrival]:
        topic = topics.parse(message.topic, self._root)
        if (topic.leaf if topic else message.topic.partition(" ")[0]) == NOISE:
            return self._set_aside(batch, message, "no message: noise or other output on the serial line")
        if topic is None:
            return self._set_aside(batch, message, "not a topic of a furnace")
        if topic.leaf.startswith(_SENT_BY_HOST):
            return ()
        if topic.leaf == "measurements":
            return self._pack(batch, message, topic.furnace)
        if topic.leaf == "board":
            return self._announcement(batch, message, topic.furnace)
        return self._set_aside(batch, message, "unknown topic")

    def _set_aside(self, batch: Batch, message: Message, reason: str, detail: str = "") -> Sequence[Arrival]:
        topic = topics.parse(message.topic, self._root)
        furnace = topic.furnace if topic else ""
        batch.set_aside(message.received_ms, message.topic[:200], message.payload, reason, furnace)
        log.warning("set aside a message on %s: %s%s", message.topic[:120], reason, detail and f" ({detail[:200]})")
        return ()

    def _announcement(self, batch: Batch, message: Message, furnace: str) -> Sequence[Arrival]:
        if not message.payload and message.retained:
            return ()
        try:
            if len(message.payload) > MAX_ANNOUNCEMENT_BYTES:
                raise ValueError(f"larger than {MAX_ANNOUNCEMENT_BYTES} bytes")
            said = _decode(message.payload)
            if not isinstance(said.get("online"), bool):
                raise ValueError("it does not say whether the board is online")
        except (ValueError, RecursionError) as error:  # msgspec's and UTF-8 errors are ValueErrors
            return self._set_aside(batch, message, "not an announcement", str(error))
        batch.announce(furnace, message.received_ms, said)
        return () if message.retained else (Arrival(furnace, message.received_ms, announcement=said),)

    def _pack(self, batch: Batch, message: Message, furnace: str) -> Sequence[Arrival]:
        pack = packs.parse(furnace, message.payload, message.received_ms / 1000)
        if isinstance(pack, packs.Rejected):
            return self._set_aside(batch, message, pack.reason, pack.detail)
        boot = self._boot(furnace, pack.boot)
        clock_known = bool(boot.clock.synced)
        if pack.base_ms is None:
            boot.clock.saw_relative(pack.uptime_ms, message.received_ms)
            base_ms = boot.clock.place(pack.uptime_ms)
        else:
            boot.clock.saw_absolute(pack.uptime_ms, pack.base_ms)
            base_ms = pack.base_ms
        if not self._admits(batch, pack, base_ms, message.received_ms):
            return self._set_aside(batch, message, SECOND_BOARD, f"boot {pack.boot}")
        if not batch.pack(pack, message.received_ms, base_ms):
            return (Arrival(furnace, message.received_ms),)
        for reason in pack.refused:
            self._set_aside(batch, message, reason)
        if pack.base_ms is None:
            boot.add(pack, base_ms)
        elif not clock_known:
            boot.clock_found()
        return (Arrival(furnace, message.received_ms, pack.at(base_ms)),)

    def _boot(self, furnace: str, name: str) -> _Boot:
        boot = self._boots.get((furnace, name))
        if boot is None:
            clock = self._store.boot_clocks(furnace).get(name, BootClock())
            boot = self._boots[furnace, name] = _Boot(clock)
            for seq, uptime_ms, base_ms in self._store.relative_packs(furnace, name):
                insort(boot.order, (uptime_ms, seq))
                boot.base_ms[seq], boot.span_ms[seq] = base_ms, _ANY_SPAN_MS
        return boot

    def _admits(self, batch: Batch, pack: packs.Pack, base_ms: int, received_ms: int) -> bool:
        rivals = self._rivals.get(pack.furnace)
        memory = f"boots of {pack.furnace}"
        if rivals is None:
            rivals = self._rivals[pack.furnace] = Rivals(self._store.recall(memory))
        before = rivals.state
        admitted = rivals.admits(pack.boot, pack.uptime_ms, base_ms, received_ms)
        if rivals.state != before:
            batch.remember(memory, rivals.state)
        return admitted

    def _move(self, batch: Batch, furnace: str, name: str, boot: _Boot) -> Sequence[Arrival]:
        """Move packs without a clock to where they belong."""
        moved: list[int] = []
        for seq, place in boot.moves():
            if batch.place(furnace, name, seq, place):
                first, last = boot.span_ms[seq]
                moved += [min(boot.base_ms[seq], place) + first, max(boot.base_ms[seq], place) + last]
            boot.base_ms[seq] = place
        boot.unsettled, boot.urgent = None, False
        if not moved:
            return ()
        return (Arrival(furnace, self._received_ms, changed=(min(moved), max(moved))),)


def _span(rows: Rows) -> tuple[int, int]:
    """First and last time of a pack's rows and faults, relative to its base."""
    times = [*rows.t_ms[[0, -1]].tolist()] if len(rows) else []
    times += [fault.t_ms for fault in rows.faults]
    return min(times, default=0), max(times, default=0)
