"""The broker the host runs by itself."""

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from sootline.broker import Broker, Network
from sootline.errors import UserError
from tests.service.kit import Peer, eventually, free_port


def _alive(pid: int) -> bool:
    """Whether a process runs (one that has ended and was not yet collected does not)."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state != "Z"


def test_it_listens_on_loopback_only_and_ends_when_stopped(tmp_path: Path) -> None:
    with Broker(tmp_path, 0) as broker:
        pid = broker.pid
        assert pid is not None
        listening = subprocess.run(["ss", "-Hltnp"], capture_output=True, text=True).stdout
        addresses = [line.split()[3] for line in listening.splitlines() if f"pid={pid}," in line]
        assert addresses == [f"127.0.0.1:{broker.port}"]
    assert not _alive(pid)


def test_it_is_started_again_when_it_is_killed_and_has_kept_what_it_held(tmp_path: Path) -> None:
    with Broker(tmp_path, 0) as broker:
        with Peer(broker.port) as peer:
            peer.publish("sootline/a/alarms/leak", b'{"a": 1}', retain=True)
        kept = tmp_path / "mosquitto.db"  # written in the round after the one that took the message
        eventually(lambda: kept.exists() and b'{"a": 1}' in kept.read_bytes())
        first = broker.pid
        assert first is not None
        os.kill(first, signal.SIGKILL)
        eventually(lambda: broker.pid != first)
        eventually(lambda: _listens(broker.port))
        with Peer(broker.port) as late:
            assert late.hear("sootline/a/alarms/leak") == {"a": 1}


def _listens(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), 1).close()
        return True
    except OSError:
        return False


def test_one_left_behind_by_a_killed_host_does_not_bar_the_next(tmp_path: Path) -> None:
    port = free_port()
    host = (
        "import sys, time; from pathlib import Path; from sootline.broker import Broker\n"
        f"broker = Broker(Path({str(tmp_path)!r}), {port})\n"
        "broker.start(); print(broker.pid, flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", host], stdout=subprocess.PIPE, text=True) as killed:
        assert killed.stdout is not None
        left = int(killed.stdout.readline())
        killed.kill()
    time.sleep(0.1)
    assert _alive(left)
    with Broker(tmp_path, port) as broker:
        assert not _alive(left) and broker.pid != left


def test_another_process_that_has_the_number_of_an_old_broker_is_left_alone(tmp_path: Path) -> None:
    with subprocess.Popen(["sleep", "60"]) as other:
        (tmp_path / "mosquitto.pid").write_text(str(other.pid))
        with Broker(tmp_path, 0):
            assert other.poll() is None
        other.kill()


def test_a_taken_port_is_one_clear_line(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(UserError, match=f"port {port} .*--broker") as caught:
            Broker(tmp_path, port).start()
        assert "\n" not in str(caught.value)


def test_a_missing_mosquitto_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sootline.broker._PLACES", ())
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(UserError, match="sudo apt install mosquitto"):
        Broker(tmp_path, 0)


def _connects(port: int, user: str | None, password: str | None) -> tuple[bool, mqtt.Client]:
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    if user is not None:
        client.username_pw_set(user, password)
    answers: list[bool] = []
    client.on_connect = lambda _c, _d, _f, reason, _p: answers.append(not reason.is_failure)
    client.connect("127.0.0.1", port)
    client.loop_start()
    eventually(lambda: answers)
    return answers[0], client


def test_boards_on_the_network_need_their_password_and_speak_only_for_themselves(tmp_path: Path) -> None:
    passwords = tmp_path / "passwords.txt"
    passwords.write_text("engine-shed:lamp oil\ncarriage-shop:brake van\n")
    network_port = free_port()
    with Broker(tmp_path / "broker", 0, Network("127.0.0.1", network_port, passwords)) as broker:
        stored = (tmp_path / "broker" / "passwords").read_text()
        assert "lamp oil" not in stored and "engine-shed:$" in stored
        assert (tmp_path / "broker" / "passwords").stat().st_mode & 0o077 == 0
        for user, password in ((None, None), ("engine-shed", "wrong"), ("nobody", "lamp oil")):
            let_in, client = _connects(network_port, user, password)
            client.loop_stop()
            assert not let_in
        with Peer(broker.port, "sootline/#") as peer:
            let_in, client = _connects(network_port, "engine-shed", "lamp oil")
            assert let_in
            client.publish("sootline/carriage-shop/measurements", b'"forged"', qos=0)
            client.publish("sootline/engine-shed/alarms/leak", b'"forged"', qos=0)
            own = "sootline/engine-shed/measurements", b'"own"', 1
            eventually(lambda: client.publish(*own).rc == mqtt.MQTT_ERR_SUCCESS)  # a busy broker may hang up once
            assert peer.heard.get(timeout=10)[:2] == ("sootline/engine-shed/measurements", "own")
            client.disconnect()
            client.loop_stop()
            assert peer.heard.empty()


@pytest.mark.parametrize("text", ["engine-shed\n", "Engine Shed:x\n", "engine-shed:\n"])
def test_a_password_file_that_cannot_be_used_names_its_line(tmp_path: Path, text: str) -> None:
    passwords = tmp_path / "passwords.txt"
    passwords.write_text("carriage-shop:x\n" + text)
    with pytest.raises(UserError, match="line 2 must be"):
        Broker(tmp_path / "broker", 0, Network("127.0.0.1", free_port(), passwords)).start()
