"""The whole application over virtual hours: with TLS, an outage that fills its buffers, and no drift of the heap.

The unix port is a 64-bit one: its objects are about twice as large as those of the boards.
"""

from pathlib import Path
from typing import Any

import pytest

from sootline.bench import Bench, Board
from sootline.sim.workshop import FURNACES

from .conftest import Listener, Mosquitto, free_port
from .micropython import SCRIPTS
from .senml_reader import resolve

START_MS = 1_795_600_000_000
HOURS = 1
KEY = "00112233445566778899aabbccddeeff"


def signals(t_ms: int) -> dict[str, float | bool]:
    return {
        "tank": 60.0 + t_ms % 600_000 / 100_000,
        "nozzle": 85.0 + t_ms % 90_000 / 50_000,
        "stack": 200.0 + t_ms % 900_000 / 5_000,
        "return_air": 18.0,
        "air_pressure": 97_000.0,
        "pump": t_ms % 300_000 < 9_000,
        "float": t_ms % 300_000 < 9_000,
        "call": True,
        "burner": t_ms % 1_800_000 < 1_200_000,
    }


def _looks(log: str) -> list[tuple[int, int]]:
    """(bytes in use, size of a large piece that could be had) at each look."""
    lines = [line.split() for line in log.splitlines() if line.startswith("look_")]
    return [(int(used), int(piece)) for _, used, piece in lines]


def test_no_drift_and_always_room_for_tls(tmp_path: Path) -> None:
    port = free_port()
    keys = tmp_path / "keys"
    keys.write_text(f"board-1:{KEY}\n")
    lines = [
        f"listener {port} 127.0.0.1",
        "allow_anonymous true",
        "set_tcp_nodelay true",
        "psk_hint x",
        f"psk_file {keys}",
    ]
    mosquitto = Mosquitto(tmp_path, lines, port)
    mosquitto.start()
    tls = {"psk_identity": "board-1", "psk_key": KEY}
    broker = {"host": "127.0.0.1", "port": port, "tls": tls}
    settings: dict[str, Any] = {"broker": broker, "data": str(tmp_path / "flash")}
    bench = Bench(signals, start_ms=START_MS, until_ms=START_MS + HOURS * 3_600_000)
    program = SCRIPTS / "soak.py"
    # More than the usual 128 kB: TLS, the flash store, and a free piece of 17,000 bytes at any time.
    try:
        with bench, Board("shed", bench=bench, speed=0, settings=settings, program=program, heap="160k") as board:
            assert bench.wait_until(START_MS + 1_000_000, 120), board.log
            mosquitto.stop()
            assert bench.wait_until(START_MS + 2_400_000, 120), board.log
            mosquitto.start()
            assert bench.finished.wait(120), board.log
            assert board.restarts == 0
            looks = _looks(board.log)
            assert not (tmp_path / "flash" / "faults.log").exists()
    finally:
        mosquitto.stop()
    assert len(looks) >= HOURS * 12 - 2
    assert all(piece == 17_000 for _, piece in looks)
    # Before the outage and after it was made good the same is in use.
    assert looks[-1][0] - looks[0][0] <= 1024


@pytest.mark.parametrize("furnace", FURNACES)
def test_boards_of_the_demo_fit_a_small_heap(furnace: str, broker: Mosquitto, listener: Listener) -> None:
    """128 kB on the 64-bit port, plain MQTT, every channel the board has an input for."""
    channels = FURNACES[furnace].channels
    steady = dict.fromkeys(channels, 0.5)
    bench = Bench(lambda t_ms: {**steady, **signals(t_ms)}, start_ms=START_MS, until_ms=START_MS + 1_200_000)
    with bench, Board(furnace, bench=bench, broker_port=broker.port, speed=0, channels=channels, heap="128k") as board:
        assert bench.finished.wait(120), board.log
        assert board.restarts == 0
        assert not (board.directory / "faults.log").exists()
    listener.wait(lambda: len(listener.of("board")) >= 5)
    said = listener.of("board")[1]["channels"]
    assert len(said) >= min(len(channels), 20)
    assert {p.name for pack in listener.of("measurements") for p in resolve(pack)} >= set(said)
