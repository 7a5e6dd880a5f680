"""The board's connection to a real mosquitto: packet ids, TLS, pre-shared keys, and networks that misbehave."""

import json
import random
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from sootline.bench import FIRMWARE, interpreter

from .certificates import Authority
from .conftest import Listener, Mosquitto, free_port
from .micropython import SCRIPTS, figures, run
from .proxy import MODES, Proxy
from .senml_reader import facts, resolve

KEY = "00112233445566778899aabbccddeeff"


def _connect(**settings: Any) -> str:
    return run("connect_once.py", "256k", 30, json.dumps(settings))


def test_packet_ids_wrap_and_skip_zero(broker: Mosquitto, listener: Listener) -> None:
    assert _connect(port=broker.port, pid=65_530, publish=20) == "connected 20 15\n"
    listener.wait(lambda: len(listener.of("measurements")) == 20)
    assert [m[0] for m in listener.of("measurements")] == list(range(20))


def test_broker_refuses_the_login(tmp_path: Path) -> None:
    port = free_port()
    guarded = Mosquitto(tmp_path, [f"listener {port} 127.0.0.1", "allow_anonymous false"], port)
    guarded.start()
    try:
        assert "broker refused the connection, code 5" in _connect(port=port, user="board")
    finally:
        guarded.stop()


def test_nobody_listens() -> None:
    assert _connect(port=free_port()).startswith("OSError")


# ---------------------------------------------------------------- TLS


@pytest.fixture(scope="module")
def secured(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Any]]:
    """Listeners: good, wrong name, other authority, expired, not yet valid, pre-shared key."""
    place = tmp_path_factory.mktemp("tls")
    own, other = Authority(place, "own"), Authority(place, "other")
    ports = {name: free_port() for name in ("plain", "good", "name", "authority", "expired", "future", "psk")}
    lines = {
        "plain": [],
        "good": own.server("broker.test"),
        "name": own.server("elsewhere.test"),
        "authority": other.server("broker.test"),
        "expired": own.server("broker.test", "20200101000000Z", "20210101000000Z"),
        "future": own.server("broker.test", "20400101000000Z", "20410101000000Z"),
    }
    keys = place / "keys"
    keys.write_text(f"board-1:{KEY}\n")
    lines["psk"] = ["psk_hint x", f"psk_file {keys}", "use_identity_as_username true"]
    settings = ["per_listener_settings true"]
    for name, port in ports.items():
        settings += [f"listener {port} 127.0.0.1", "allow_anonymous true", *lines[name]]
    mosquitto = Mosquitto(place, settings, ports["psk"])
    mosquitto.start()
    yield {"ports": ports, "ca": str(own.der), "broker": mosquitto}
    mosquitto.stop()


def _certificate(secured: dict[str, Any], which: str) -> str:
    tls = {"ca": secured["ca"], "server_name": "broker.test"}
    return _connect(port=secured["ports"][which], tls=tls)


def test_good_certificate(secured: dict[str, Any]) -> None:
    assert _certificate(secured, "good").startswith("connected 1")


@pytest.mark.parametrize("which", ["name", "authority", "expired", "future", "plain"])
def test_bad_certificates_are_refused(secured: dict[str, Any], which: str) -> None:
    assert "connected" not in _certificate(secured, which).split()


def _psk(secured: dict[str, Any], port: str, identity: str, key: str) -> str:
    return _connect(port=secured["ports"][port], tls={"psk_identity": identity, "psk_key": key})


def test_pre_shared_key(secured: dict[str, Any]) -> None:
    assert _psk(secured, "psk", "board-1", KEY).startswith("connected 1")


@pytest.mark.parametrize(
    ("port", "identity", "key"),
    [("psk", "board-1", KEY[:-1] + "0"), ("psk", "board-2", KEY), ("good", "board-1", KEY), ("plain", "board-1", KEY)],
)
def test_pre_shared_key_refusals(secured: dict[str, Any], port: str, identity: str, key: str) -> None:
    assert "connected" not in _psk(secured, port, identity, key).split()


# ---------------------------------------------------------------- networks that misbehave

FAULTS_A_WALK = 50


class _Walk(threading.Thread):
    """One board behind one proxy, led through random faults."""

    def __init__(self, name: str, secured: dict[str, Any], upstream: str, tls: dict[str, str] | None) -> None:
        super().__init__(name=name)
        ports = secured["ports"]
        self.furnace = name
        self.proxy = Proxy(ports[upstream], ports["authority"])
        settings = {"port": self.proxy.port, "furnace": name, "tls": tls}
        self.process = subprocess.Popen(
            [*interpreter(), "-X", "heapsize=1m", str(SCRIPTS / "link_walk.py"), json.dumps(settings)],
            env={"MICROPYPATH": f"{SCRIPTS}:{FIRMWARE}:.frozen"},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.listener = Listener(ports["plain"])
        self.rng = random.Random(name)
        self.problem = ""
        self.output = ""

    def packs(self) -> list[Any]:
        topic = f"sootline/{self.furnace}/measurements"
        return [json.loads(p) for t, p in list(self.listener.messages) if t == topic]

    def _fresh(self) -> bool:
        """A new connection or not: news arrives."""
        before = len(self.packs())
        end = time.monotonic() + 15
        while time.monotonic() < end:
            if len(self.packs()) > before:
                return True
            time.sleep(0.01)
        return False

    def run(self) -> None:
        try:
            if not self._fresh():
                self.problem = "never connected"
                return
            for n in range(FAULTS_A_WALK):
                mode = self.rng.choice(MODES[1:])
                self.proxy.set(mode)
                time.sleep(self.rng.choice((0.03, 0.15, 0.6)))
                self.proxy.set("pass")
                if not self._fresh():
                    self.problem = f"not connected again after fault {n}, {mode}"
                    return
        finally:
            self.output = self.process.communicate("end\n", timeout=30)[0]
            self.proxy.close()

    def check(self) -> None:
        assert not self.problem, self.problem
        got = figures(self.output)
        assert got["left"] == 0, self.output
        # Blocking by the code itself; waiting for a processor is not counted.
        assert got["worst_stall_ms"] < 200, self.output
        packs = self.packs()
        seqs = [facts(p)["seq"] for p in packs]
        assert set(seqs) == set(range(max(seqs) + 1))
        contents: dict[int, Any] = {}
        first_arrivals = []
        for seq, pack in zip(seqs, packs, strict=True):
            if seq not in contents:
                first_arrivals.append(seq)
            assert contents.setdefault(seq, pack) == pack  # repeated unchanged
        assert _two_rising(first_arrivals)
        times = [p.t_s for pack in contents.values() for p in resolve(pack) if p.name == "tank"]
        assert len(times) == len(set(times)) > 100


def _two_rising(numbers: list[int]) -> bool:
    """Whether the numbers are two rising sequences shuffled into one: live ones, and the backlog."""
    a = b = -1
    for n in numbers:
        low, high = sorted((a, b))
        if n > high:
            a, b = low, n
        elif n > low:
            a, b = n, high
        else:
            return False
    return True


def test_random_walk_of_200_faults(secured: dict[str, Any]) -> None:
    tls = {"ca": secured["ca"], "server_name": "broker.test"}
    psk = {"psk_identity": "board-1", "psk_key": KEY}
    walks = [
        _Walk("walk-a", secured, "good", tls),
        _Walk("walk-b", secured, "good", tls),
        _Walk("walk-c", secured, "psk", psk),
        _Walk("walk-d", secured, "plain", None),
    ]
    for walk in walks:
        walk.start()
    for walk in walks:
        walk.join(110)
        walk.listener.close()
    for walk in walks:
        walk.check()
