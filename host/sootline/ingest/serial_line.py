"""A board on a serial port: the same messages as over the broker, acknowledged when the worker says they are stored.

At least once: the board repeats a message until it is acknowledged, whichever side has been away meanwhile.
"""

import json
import logging
import secrets
import threading
import time
from collections.abc import Callable
from functools import partial

import serial

from sootline.errors import UserError
from sootline.ingest.client import Delivery, Item
from sootline.ingest.intake import NOISE
from sootline.usb.ports import open_port
from sootline.wire import line, topics
from sootline.wire.message import Message

log = logging.getLogger(__name__)

HELLO_S = 1.0
RETRY_S = 1.0
READ_S = 0.1
ASIDE_S = 10.0  # what is no message is handed on at most this often, or by the kilobyte
_BOARD_SAYS = ("measurements", "board", "command-result")


class SerialLine:
    """Follows one port from start() to stop(), through unplugging and back.

    deliver:   called on the line's own thread with each message
    clock_ms:  the time told to the board [ms since the epoch]; None where ours is not to be relied on
    answer:    called with topic and payload of what the board answers to a command
    problem:   why nothing comes, or None
    """

    def __init__(
        self,
        port: str,
        root: str,
        deliver: Callable[[Item], None],
        clock_ms: Callable[[], int | None],
        answer: Callable[[str, bytes], None],
    ) -> None:
        self.port = port
        self.problem: str | None = f"{port}: not yet opened"
        self.furnace: str | None = None  # the one that spoke last, on this plug-in or an earlier one
        self._speaks = False
        self._aside = bytearray()
        self._aside_at = 0.0
        self._root = root
        self._deliver = deliver
        self._clock_ms = clock_ms
        self._answer = answer
        self._serial: serial.Serial | None = None
        self._turn = threading.Lock()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"serial {port}", daemon=True)

    def start(self) -> None:
        """Open the port, and go on trying whenever it is not there. Returns at once."""
        self._thread.start()

    def stop(self) -> None:
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(10)

    def command(self, message: Message) -> None:
        """Pass a command for the board on this port on to it; others are none of its business."""
        topic = topics.parse(message.topic, self._root)
        if topic and topic.leaf == "command" and topic.furnace == self.furnace and not message.retained:
            try:
                self._send(line.encode(message.topic, message.payload))
            except ValueError as error:
                log.warning("%s: a command is not passed on: %s", self.port, error)

    # the line's own thread

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                port = open_port(self.port, READ_S)
            except UserError as error:
                self._report(str(error))
                self._stopping.wait(RETRY_S)
                continue
            reader = line.Reader()
            try:
                with port:
                    self._serial = port
                    self._follow(port, reader)
            except OSError:  # pyserial's own error is one: the board was unplugged
                self._report(f"{self.port}: the board has gone; waiting for it")
            finally:
                self._serial = None
                self._gone(reader)

    def _follow(self, port: serial.Serial, reader: line.Reader) -> None:
        self._report(f"{self.port}: open, but no board has said anything yet")
        opening = secrets.token_hex(4).encode()
        hello_at = heard_at = time.monotonic()
        while not self._stopping.is_set():
            if time.monotonic() >= hello_at:
                self._send(line.encode(line.HELLO, b"%d %s" % (self._clock_ms() or 0, opening)))
                hello_at = time.monotonic() + HELLO_S
            if self._aside and (len(self._aside) >= line.RUBBISH_BYTES or time.monotonic() >= self._aside_at + ASIDE_S):
                self._set_aside()
            data = port.read(max(1, min(port.in_waiting, line.MAX_LINE)))
            if data:
                heard_at = time.monotonic()
                for found in reader.feed(data):
                    self._take(found)
            elif time.monotonic() - heard_at > 5 * HELLO_S:
                for rubbish in reader.rest():
                    self._take(rubbish)

    def _take(self, found: line.Record | bytes) -> None:
        received_ms = time.time_ns() // 1_000_000
        if isinstance(found, line.Record):
            topic = topics.parse(found.topic, self._root)
            if found.topic in (line.HELLO, line.ACK):
                found = found.topic.encode() + b"\n"  # a prompt echoes what we say: no board program runs there
            elif topic and topic.leaf in _BOARD_SAYS:
                self.furnace, self._speaks = topic.furnace, True
                self._report(None)
                if topic.leaf == "command-result":
                    self._answer(found.topic, found.payload)
                acknowledge = partial(self._send, line.acknowledgement(found))
                self._deliver(Delivery(Message(received_ms, found.topic, found.payload), acknowledge))
                return
            else:
                found = found.topic.encode() + b" " + found.payload
        if not self._aside:
            self._aside_at = time.monotonic()
        self._aside += found

    def _set_aside(self) -> None:
        """Hand on what has come and is no message."""
        place = topics.build(self.furnace, NOISE, self._root) if self.furnace else f"{NOISE} {self.port}"
        self._deliver(Delivery(Message(time.time_ns() // 1_000_000, place, bytes(self._aside)), _nothing))
        self._aside.clear()

    def _gone(self, reader: line.Reader) -> None:
        """The port has gone: say for the board what its last will would say."""
        for rubbish in reader.rest():
            self._take(rubbish)
        if self._aside:
            self._set_aside()
        if self.furnace and self._speaks:
            topic = topics.build(self.furnace, "board", self._root)
            will = Message(time.time_ns() // 1_000_000, topic, json.dumps({"online": False}).encode())
            self._deliver(Delivery(will, _nothing))
        self._speaks = False

    def _report(self, problem: str | None) -> None:
        if problem != self.problem:
            log.log(logging.WARNING if problem else logging.INFO, "%s", problem or f"{self.port}: a board speaks")
        self.problem = problem

    def _send(self, data: bytes) -> None:
        """Called from any thread. What does not go out is asked for again by the board's repetition."""
        with self._turn:
            port = self._serial
            if port is not None:
                try:
                    port.write(data)
                except OSError as error:
                    log.debug("%s: %s", self.port, error)


def _nothing() -> None:
    """Nobody waits for an acknowledgement of what is no message of a board."""
