"""The MQTT client: messages in, alarms out. A message is acknowledged only when the worker says that it is stored."""

import logging
import ssl
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from sootline.errors import UserError
from sootline.wire.message import Message
from sootline.wire.pack import MAX_BYTES

log = logging.getLogger(__name__)

KEEPALIVE_S = 30
RETRY_S = (1, 30)


@dataclass(frozen=True, slots=True)
class Address:
    """A broker, and how to be let in. ca: file of the authority that signed its certificate; None is no TLS."""

    host: str = "127.0.0.1"
    port: int = 1883
    user: str | None = None
    password: str | None = None
    ca: Path | None = None

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"

    def admit(self, client: mqtt.Client) -> None:
        """Give a client what it needs to be let in. Raises UserError when the certificate cannot be used."""
        if self.user is not None:
            client.username_pw_set(self.user, self.password)
        if self.ca is not None:
            try:
                client.tls_set(str(self.ca))
            except (OSError, ssl.SSLError) as error:
                raise UserError(f"{self.ca}: cannot be used as a certificate: {error}") from None


@dataclass(frozen=True, slots=True)
class Delivery:
    """A message, and what to call once it is stored: its sender may forget it then."""

    message: Message
    acknowledge: Callable[[], None]


@dataclass(frozen=True, slots=True)
class Connected:
    """The broker has let us in; what it has retained follows."""


@dataclass(frozen=True, slots=True)
class Subscribed:
    """From now on nothing the boards publish passes us by."""


Item = Delivery | Connected | Subscribed


class Client:
    """Follows everything below `root` in a session the broker keeps while we are away.

    deliver:   called on the client's own thread with each message and at each connection
    client_id: the name of the session; one host, one name
    """

    def __init__(self, address: Address, root: str, client_id: str, deliver: Callable[[Item], None]) -> None:
        self._address = address
        self._root = root
        self._deliver = deliver
        self.problem: str | None = f"not yet connected to the broker at {address}"
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id, clean_session=False, manual_ack=True)
        client.reconnect_delay_set(*RETRY_S)
        client.max_queued_messages_set(0)
        address.admit(client)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        self._client = client

    @property
    def connected(self) -> bool:
        return self.problem is None

    def start(self) -> None:
        """Connect, and go on trying whenever there is no connection. Returns at once."""
        self._client.connect_async(self._address.host, self._address.port, KEEPALIVE_S)
        self._client.loop_start()

    def stop(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def publish(self, topic: str, payload: bytes, *, retain: bool) -> None:
        """Publish at QoS 1."""
        self._client.publish(topic, payload, qos=1, retain=retain)

    def _on_connect(self, client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._report(f"the broker at {self._address} refuses the host: {reason}; check user and password")
            return
        self._deliver(Connected())
        client.subscribe(f"{self._root}/#", qos=1)

    def _on_subscribe(self, _client: mqtt.Client, _data: Any, _mid: int, reasons: Any, _properties: Any) -> None:
        if any(reason.is_failure for reason in reasons):
            self._report(f"the broker at {self._address} does not let the host read {self._root}/#")
            return
        log.info("connected to the broker at %s", self._address)
        self.problem = None
        self._deliver(Subscribed())

    def _on_connect_fail(self, _client: mqtt.Client, _data: Any) -> None:
        self._report(f"cannot reach the broker at {self._address}; trying again")

    def _on_disconnect(self, _client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure and self.problem is None:
            self._report(f"lost the broker at {self._address}; trying again")
        elif self.problem is None:
            self.problem = "stopped"

    def _report(self, problem: str) -> None:
        if problem != self.problem:
            log.warning("%s", problem)
        self.problem = problem

    def _on_message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = repr(message._topic)
        payload = bytes(message.payload[: MAX_BYTES + 1])  # more is never read
        received_ms = time.time_ns() // 1_000_000
        acknowledge = partial(self._acknowledge, message.mid, message.qos)
        self._deliver(Delivery(Message(received_ms, topic, payload, message.retain), acknowledge))

    def _acknowledge(self, mid: int, qos: int) -> None:
        if qos:
            self._client.ack(mid, qos)
