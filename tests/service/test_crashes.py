"""kill -9 of the host and of the broker, again and again: nothing acknowledged is lost, nothing is doubled."""

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from sootline.errors import StoreUnavailable, UserError
from sootline.ingest.intake import Intake
from sootline.store import Store
from sootline.wire.message import Message
from tests.service.kit import PROFILE, Peer, broker, eventually, free_port, payloads, rows, running, stalled_refill

TOPIC = "sootline/engine-shed/measurements"
ALARM = "sootline/engine-shed/alarms/refill-timeout"


class Host:
    """`sootline run` in a process of its own."""

    def __init__(self, data: Path, *options: str) -> None:
        self.data = data
        self._command = [sys.executable, "-m", "sootline", "run", "--data", str(data), "--web-port", "0", *options]
        (data / "profiles").mkdir(parents=True)
        (data / "profiles" / "engine-shed.toml").write_text(PROFILE)
        self._log = (data / "log").open("ab")
        self.start()

    def start(self) -> None:
        self._process = subprocess.Popen(self._command, stdout=subprocess.PIPE, stderr=self._log, text=True)
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        assert line.startswith("pages at http://"), (self.data / "log").read_text()

    def kill(self) -> None:
        self._process.kill()
        self._process.wait()
        assert self._process.stdout is not None
        self._process.stdout.close()

    def __enter__(self) -> "Host":
        return self

    def __exit__(self, *_: object) -> None:
        if self._process.poll() is None:
            self.stop()

    def stop(self) -> int:
        self._process.terminate()
        code = self._process.wait(30)
        assert self._process.stdout is not None
        self._process.stdout.close()
        self._log.close()
        return code

    def stored(self) -> list[int]:
        """Times of all rows in the store [ms]."""
        try:
            with Store.open(self.data, read_only=True) as store:
                return store.read("engine-shed", 0, 2**62).t_ms.tolist()
        except (UserError, StoreUnavailable):
            return []


@contextmanager
def publishing(peer: Peer, packs: list[bytes], pause_s: float) -> Iterator[threading.Thread]:
    """Publishes the packs one after the other, each once the broker has taken the one before."""

    def publish() -> None:
        for payload in packs:
            peer.publish(TOPIC, payload)
            time.sleep(pause_s)

    thread = threading.Thread(target=publish, daemon=True)
    thread.start()
    yield thread
    thread.join(60)
    assert not thread.is_alive()


def test_a_host_that_is_killed_loses_and_doubles_nothing(tmp_path: Path) -> None:
    start_ms = time.time_ns() // 1_000_000 - 3_600_000
    data = rows(start_ms, tank=[60.0 + i / 100 for i in range(400)])
    with (
        broker(tmp_path / "broker") as address,
        Peer(address.port) as peer,
        Host(tmp_path / "data", "--broker", str(address)) as host,
    ):
        eventually(lambda: "connected to the broker" in (tmp_path / "data" / "log").read_text())
        with publishing(peer, payloads(data), 0.005):
            for pause_s in (0.3, 0.7, 0.2):
                time.sleep(pause_s)
                host.kill()
                host.start()
        eventually(lambda: host.stored() == data.t_ms.tolist())
        host.kill()
        host.start()
        eventually(lambda: host.stored() == data.t_ms.tolist())
        assert host.stop() == 0


def test_a_killed_host_with_its_own_broker_and_then_its_broker_come_back(tmp_path: Path) -> None:
    port = free_port()
    log = tmp_path / "data" / "log"
    pid_file = tmp_path / "data" / "broker" / "mosquitto.pid"
    with Host(tmp_path / "data", "--broker-port", str(port)) as host:
        eventually(lambda: "connected to the broker" in log.read_text())
        stalled = stalled_refill(time.time_ns() // 1_000_000)
        packs = payloads(stalled)
        with Peer(port) as peer:
            for payload in packs[:8]:
                peer.publish(TOPIC, payload)
            eventually(lambda: len(host.stored()) == 8)
            host.kill()  # its broker lives on and takes what boards send meanwhile
            for payload in packs[8:12]:
                peer.publish(TOPIC, payload)
            host.start()  # ends that broker, starts its own
            eventually(lambda: len(host.stored()) == 12)
            os.kill(int(pid_file.read_text()), signal.SIGKILL)
            for payload in packs[12:]:
                peer.publish(TOPIC, payload)
            assert peer.hear(ALARM)["state"] == "unacknowledged"
            eventually(lambda: host.stored() == stalled.t_ms.tolist())
            pid = int(pid_file.read_text())
            with Peer(port) as late:
                assert late.hear(ALARM)["furnace"] == "engine-shed"
        assert host.stop() == 0
    eventually(lambda: not Path(f"/proc/{pid}").exists())


def test_a_host_killed_between_store_and_analysis_finds_the_alarm_when_it_comes_back(tmp_path: Path) -> None:
    packs = payloads(stalled_refill(time.time_ns() // 1_000_000))
    with Store.open(tmp_path) as store:  # as far as the killed host came
        Intake(store).take([Message(time.time_ns() // 1_000_000, TOPIC, payload) for payload in packs])
    with running(tmp_path) as service, Peer(service.address.port) as peer:
        assert peer.hear(ALARM)["state"] == "unacknowledged"
        assert [alarm.alarm for alarm in service.store.alarms()] == ["refill-timeout"]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system of 12 MiB."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=12m", "tmpfs", str(disk)]
    if subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("may not mount a file system here")
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=True)


def test_while_the_disk_is_full_messages_wait_at_the_broker(tmp_path: Path, small_disk: Path) -> None:
    packs = payloads(stalled_refill(time.time_ns() // 1_000_000))
    with (
        broker(tmp_path / "broker") as address,
        running(small_disk / "data", broker=address) as service,
        Peer(address.port) as peer,
    ):
        peer.publish(TOPIC, packs[0])
        eventually(lambda: service.store.extent("engine-shed"))
        with (small_disk / "ballast").open("wb", buffering=0) as ballast, contextlib.suppress(OSError):
            while ballast.write(bytes(4096)):
                pass
        for payload in packs[1:]:
            peer.publish(TOPIC, payload)
        [trouble] = eventually(lambda: service.live.troubles)
        assert "check disk space" in trouble and "wait at the broker" in trouble
        (small_disk / "ballast").unlink()
        assert peer.hear(ALARM)["state"] == "unacknowledged"
        eventually(lambda: not service.live.troubles)
        assert len(service.store.read("engine-shed", 0, 2**62)) == len(packs)
