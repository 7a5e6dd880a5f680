"""One board, reached over the broker: what it says of itself and of the furnace, and commands with their answers."""

import json
import queue
import time
import uuid
from collections.abc import Mapping
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from sootline.errors import UserError
from sootline.ingest.client import Address
from sootline.wire import pack as packs
from sootline.wire import topics

_CONNECT_S = 10.0
_LEAVES = ("board", "command-result", "measurements")


class Remote:
    """A connection to the broker for one furnace's board. Use it in a `with`.

    announced: what the board last said of itself; pack: the last readings of it
    """

    def __init__(self, address: Address, root: str, furnace: str) -> None:
        self.furnace = furnace
        self.announced: Mapping[str, Any] | None = None
        self.pack: packs.Pack | None = None
        self._address = address
        self._root = root
        self._arrived: queue.SimpleQueue[tuple[str, bytes]] = queue.SimpleQueue()
        self._problem: str | None = f"the broker at {address} does not answer; does sootline run?"
        client = mqtt.Client(CallbackAPIVersion.VERSION2)
        address.admit(client)
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = lambda _client, _data, message: self._arrived.put((message.topic, bytes(message.payload)))
        self._client = client

    def __enter__(self) -> "Remote":
        self._client.connect_async(self._address.host, self._address.port)
        self._client.loop_start()
        end = time.monotonic() + _CONNECT_S
        while self._problem is not None:
            if time.monotonic() > end:
                self.__exit__()
                raise UserError(self._problem)
            time.sleep(0.02)
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def ask(self, command: Mapping[str, Any], timeout_s: float) -> Mapping[str, Any] | None:
        """Send a command; the board's answer, or None when none came in time."""
        token = uuid.uuid4().hex[:12]
        text = json.dumps({"id": token, **command}, separators=(",", ":"))
        self._client.publish(topics.build(self.furnace, "command", self._root), text, qos=1)
        end = time.monotonic() + timeout_s
        while (answer := self.listen(end - time.monotonic())) is not None:
            if answer.get("id") == token:
                return answer
        return None

    def listen(self, timeout_s: float) -> Mapping[str, Any] | None:
        """Take in what comes until an answer to a command does, which is returned; None when the time is over."""
        end = time.monotonic() + timeout_s
        while True:
            try:
                topic, payload = self._arrived.get(timeout=max(0.0, end - time.monotonic()))
            except queue.Empty:
                return None
            answer = self._take(topic.rsplit("/", 1)[-1], payload)
            if answer is not None:
                return answer

    def _take(self, leaf: str, payload: bytes) -> Mapping[str, Any] | None:
        if leaf == "measurements":
            pack = packs.parse(self.furnace, payload)
            if isinstance(pack, packs.Pack):
                self.pack = pack
            return None
        try:
            said = json.loads(payload)
        except ValueError:
            return None  # the service counts what is no JSON
        if not isinstance(said, dict):
            return None
        if leaf == "board":
            self.announced = said
            return None
        return said

    def _on_connect(self, client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._problem = f"the broker at {self._address} refuses the host: {reason}; check user and password"
            return
        client.subscribe([(topics.build(self.furnace, leaf, self._root), 1) for leaf in _LEAVES])

    def _on_subscribe(self, _client: mqtt.Client, _data: Any, _mid: int, reasons: Any, _properties: Any) -> None:
        if any(reason.is_failure for reason in reasons):
            self._problem = f"the broker at {self._address} does not let the host read what {self.furnace} sends"
        else:
            self._problem = None
