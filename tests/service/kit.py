"""A service with its real broker on ports of its own, and boards that speak to it."""

import json
import queue
import socket
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from sootline.broker import Broker
from sootline.ingest.client import Address
from sootline.series import Rows
from sootline.service import Options, Service
from sootline.wire import encode

PROFILE = """
[furnace]
id = "engine-shed"
[refill]
limit_s = 20.0
[tank]
setpoint_C = 60.0
limit_C = 95.0
heater_W = 1000.0
"""


def eventually(check: Callable[[], Any], timeout_s: float = 20.0) -> Any:
    """The first true value `check` gives."""
    until = time.monotonic() + timeout_s
    while time.monotonic() < until:
        found = check()
        if found:
            return found
        time.sleep(0.02)
    raise AssertionError(f"not within {timeout_s} s: {check}")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def running(data: Path, **options: Any) -> Iterator[Service]:
    """A service on `data` with a profile of engine-shed, its own broker and pages on free ports."""
    (data / "profiles").mkdir(parents=True, exist_ok=True)
    (data / "profiles" / "engine-shed.toml").write_text(PROFILE)
    service = Service(Options(data, **{"broker_port": 0, "web_port": 0, **options}))
    service.start()
    try:
        eventually(lambda: not service.live.troubles)
        yield service
        service.check()
    finally:
        service.stop()


@contextmanager
def broker(folder: Path) -> Iterator[Address]:
    """A broker that outlives services."""
    with Broker(folder, 0) as own:
        yield Address(port=own.port)


class Peer:
    """Another client of the broker: publishes as a board does, and keeps what it hears."""

    def __init__(self, port: int, subscribe: str = "sootline/+/alarms/#") -> None:
        self.heard: queue.SimpleQueue[tuple[str, Any, bool]] = queue.SimpleQueue()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = lambda _c, _d, m: self.heard.put(
            (m.topic, json.loads(m.payload) if m.payload else None, m.retain)
        )
        self._taken: set[int] = set()
        self._client.on_publish = lambda _c, _d, mid, *_: self._taken.add(mid)
        self._client.on_connect = lambda c, *_: c.subscribe(subscribe, qos=1)
        self._client.reconnect_delay_set(0.1, 0.5)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def __enter__(self) -> "Peer":
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def publish(self, topic: str, payload: bytes, *, retain: bool = False, qos: int = 1) -> None:
        """Publish and wait until the broker has it, however often it has to be started again meanwhile."""
        mid = self._client.publish(topic, payload, qos=qos, retain=retain).mid
        eventually(lambda: mid in self._taken)

    def hear(self, topic: str, timeout_s: float = 20.0) -> Any:
        """The next payload on a topic; others are dropped."""
        until = time.monotonic() + timeout_s
        while time.monotonic() < until:
            try:
                heard, payload, _ = self.heard.get(timeout=0.1)
            except queue.Empty:
                continue
            if heard == topic:
                return payload
        raise AssertionError(f"nothing on {topic}")


def rows(start_ms: int, **columns: Sequence[float]) -> Rows:
    """Rows 5 s apart from start_ms."""
    values = {name: np.array(column, float) for name, column in columns.items()}
    n = len(next(iter(values.values())))
    return Rows(start_ms + 5000 * np.arange(n), values)


def stalled_refill(end_ms: int) -> Rows:
    """Two minutes ending at end_ms: at rest, then 20 s of pump with the float calling on after it."""
    n = 25
    t_ms = end_ms - 5000 * np.arange(n)[::-1]
    pump = np.zeros(n)
    pump[-8:-4] = 1.0
    calls = np.zeros(n)
    calls[-8:] = 1.0
    steady = np.full(n, 60.0)
    return Rows(t_ms, {"tank": steady, "nozzle": steady + 20, "stack": steady - 40, "pump": pump, "float": calls})


def payloads(data: Rows, boot: str = "b1", first_seq: int = 0, **options: Any) -> list[bytes]:
    """The packs of a board named engine-shed that booted a minute before its first row."""
    boot_ms = options.pop("boot_ms", int(data.t_ms[0]) - 60_000)
    encoded = encode.packs(data, "engine-shed", boot, boot_ms, first_seq=first_seq, **options)
    return [one.payload for one in encoded]
