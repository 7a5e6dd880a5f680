"""A real mosquitto on its own port, and a listener that keeps every message with its topic."""

import json
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest

from sootline.bench import FIRMWARE

# The board code's pure modules are also looked at from here.
for _folder in (FIRMWARE, FIRMWARE / "bench"):
    if str(_folder) not in sys.path:
        sys.path.insert(0, str(_folder))

MOSQUITTO = shutil.which("mosquitto") or "/usr/sbin/mosquitto"


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port: int = s.getsockname()[1]
        return port


class Mosquitto:
    """The broker; `stop()` and `start()` as often as wanted."""

    def __init__(self, directory: Path, lines: list[str], port: int) -> None:
        self.port = port
        self._file = directory / "mosquitto.conf"
        self._file.write_text("\n".join(["user root", *lines]) + "\n")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self._process = subprocess.Popen(
            [MOSQUITTO, "-c", str(self._file)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        for _ in range(200):
            try:
                socket.create_connection(("127.0.0.1", self.port), timeout=1).close()
                return
            except OSError:
                time.sleep(0.02)
        raise AssertionError("mosquitto does not listen")

    def stop(self) -> None:
        if self._process:
            self._process.kill()
            self._process.wait()
            self._process = None


class Listener:
    """Keeps what is published under `sootline/`, in order."""

    def __init__(self, port: int) -> None:
        self.messages: list[tuple[str, bytes]] = []
        self._subscribed = threading.Event()
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        self._client.on_connect = lambda client, *_: client.subscribe("sootline/#", 1)
        self._client.on_message = lambda _c, _u, m: self.messages.append((m.topic, m.payload))
        self._client.on_subscribe = lambda *_: self._subscribed.set()
        self._client.on_disconnect = lambda *_: self._subscribed.clear()
        self._client.max_inflight_messages_set(1000)
        self._client.reconnect_delay_set(1, 1)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self.wait(self.connected)

    def publish(self, topic: str, payload: str) -> None:
        self._client.publish(topic, payload, qos=1).wait_for_publish(5)

    def connected(self) -> bool:
        """Whether the listener itself is connected and subscribed (it comes back by itself after the broker did)."""
        return self._subscribed.is_set()

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def of(self, leaf: str) -> list[Any]:
        """Decoded payloads of the topics that end in `leaf`."""
        return [json.loads(p) for t, p in list(self.messages) if t.endswith("/" + leaf) and p]

    @staticmethod
    def wait(condition: Any, timeout_s: float = 20.0) -> None:
        """Until `condition()` holds."""
        end = time.monotonic() + timeout_s
        while not condition():
            assert time.monotonic() < end, "nothing came in time"
            time.sleep(0.02)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    port = free_port()
    lines = [
        f"listener {port} 127.0.0.1",
        "allow_anonymous true",
        "set_tcp_nodelay true",
        "max_queued_messages 100000",
    ]
    mosquitto = Mosquitto(tmp_path, lines, port)
    mosquitto.start()
    yield mosquitto
    mosquitto.stop()


@pytest.fixture
def listener(broker: Mosquitto) -> Iterator[Listener]:
    heard = Listener(broker.port)
    yield heard
    heard.close()
