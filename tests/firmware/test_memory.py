"""Memory: no drift and always room for TLS, and boards with every channel through an outage in a small heap.

The unix port here is a 64-bit one: what the board takes of it is 1.55 times what it takes of a 32-bit one, as measured
with `python -m tests.firmware.soak` under both.
"""

from pathlib import Path

import pytest

from sootline.bench import Bench, Board
from sootline.sim.workshop import FURNACES

from .conftest import Listener, Mosquitto
from .senml_reader import resolve
from .soak import PIECE, START_MS, signals, soak

HOURS = 1


def test_no_drift_and_always_room_for_tls(tmp_path: Path) -> None:
    """With a pre-shared key, which the 32-bit interpreter of test_small_board.py does not know."""
    got = soak(tmp_path, HOURS, "136k")
    assert got.restarts == 0 and not got.faults, got.log
    assert len(got.used) >= HOURS * 12 - 2, got.log
    assert set(got.pieces) == {PIECE}
    # Before the outage and after it was made good the same is in use.
    assert got.drift <= 1024


@pytest.mark.parametrize("furnace, outage_min", [("engine-shed", 90), ("carriage-shop", 0)])
def test_boards_of_the_demo_fit_a_small_heap(
    furnace: str, outage_min: int, broker: Mosquitto, listener: Listener
) -> None:
    """122 kB on the 64-bit port, plain MQTT, every channel the board has an input for, the backlog in memory."""
    channels = FURNACES[furnace].channels
    steady = dict.fromkeys(channels, 0.5)
    back_ms = START_MS + 600_000 + outage_min * 60_000
    bench = Bench(lambda t_ms: {**steady, **signals(t_ms)}, start_ms=START_MS, until_ms=back_ms + 900_000)
    with bench, Board(furnace, bench=bench, broker_port=broker.port, speed=0, channels=channels, heap="122k") as board:
        assert bench.wait_until(START_MS + 600_000, 300), board.log
        if outage_min:
            broker.stop()
            assert bench.wait_until(back_ms, 300), board.log
            broker.start()
        assert bench.finished.wait(300), board.log
        assert board.restarts == 0
        assert not (board.directory / "faults.log").exists()
    listener.wait(lambda: len(listener.of("board")) >= 4)
    online = [said for said in listener.of("board") if said["online"]]
    said = online[-1]["channels"]
    assert len(said) >= min(len(channels), 20)
    assert {p.name for pack in listener.of("measurements") for p in resolve(pack)} >= set(said)
