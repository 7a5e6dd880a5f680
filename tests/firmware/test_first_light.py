"""The board code in a real MicroPython process, from chip frames to packs in a real mosquitto."""

import itertools
import math
from pathlib import Path
from typing import Any

import pytest

from sootline.bench import Bench, Board, interpreter

from .conftest import Listener, Mosquitto
from .senml_reader import facts, resolve

START_MS = 1_795_600_000_000
# Half a step of each chip (data sheets) plus half a hundredth of rounding.
RESOLUTION = {"tank": 0.0313, "return_air": 0.0313, "nozzle": 0.035, "stack": 0.004}
ROUNDING = 0.0051
LAG_S = 1.0  # conversion and reading
TOPIC = "sootline/engine-shed/"


def signals(t_ms: int) -> dict[str, float | bool]:
    """Slow sines, and a pump that runs 7.3 s of each 40 s."""
    t = t_ms / 1000
    return {
        "tank": 60 + 5 * math.sin(t / 300),
        "nozzle": 85 + 3 * math.sin(t / 120),
        "stack": 200 + 80 * math.sin(t / 100),
        "return_air": 18 + math.sin(t / 500),
        "air_pressure": 97000.0,
        "supply_level": 0.62,
        "pump": t_ms % 40_000 < 7300,
        "float": t_ms % 40_000 < 7500,
        "call": True,
        "burner": t_ms % 600_000 < 400_000,
    }


def _check_values(packs: list[Any]) -> int:
    checked = 0
    for pack in packs:
        for p in resolve(pack):
            if p.name not in RESOLUTION:
                continue
            near = [float(signals(int((p.t_s - lag) * 1000))[p.name]) for lag in (0.0, LAG_S / 2, LAG_S)]
            slack = RESOLUTION[p.name] + ROUNDING + 0.02  # curvature between the three moments
            assert min(near) - slack <= p.value <= max(near) + slack, (p, near)
            checked += 1
    return checked


def test_board_process_publishes_what_the_chips_measure(broker: Mosquitto, listener: Listener) -> None:
    with Bench(signals) as bench, Board("engine-shed", bench=bench, broker_port=broker.port) as board:
        listener.wait(lambda: len(listener.of("measurements")) >= 4)
        assert board.alive and board.pid, board.log
        assert board.on_micropython
    listener.wait(lambda: listener.of("board")[-1] == {"online": False})  # last will
    announcement = listener.of("board")[-2]
    assert announcement["online"] and announcement["clock"] == "synced"
    assert set(announcement["channels"]) == set(signals(0))
    assert _check_values(listener.of("measurements")) >= 8


def test_half_an_hour_in_virtual_time(broker: Mosquitto, listener: Listener) -> None:
    minutes = 30
    bench = Bench(signals, start_ms=START_MS, until_ms=START_MS + minutes * 60_000)
    with bench, Board("engine-shed", bench=bench, broker_port=broker.port, speed=0) as board:
        assert bench.finished.wait(60), board.log
    packs = listener.of("measurements")
    assert _check_values(packs) >= minutes * 12 * 4
    assert [facts(p)["seq"] for p in packs] == list(range(len(packs)))
    assert len({facts(p)["boot"] for p in packs}) == 1
    points = [p for pack in packs for p in resolve(pack)]
    _check_pump(points)
    fixed = {p.name: p.value for p in points if p.name in ("air_pressure", "supply_level")}
    assert fixed["air_pressure"] == pytest.approx(97000, abs=50)
    assert fixed["supply_level"] == pytest.approx(0.62, abs=0.001)


def _check_pump(points: list[Any]) -> None:
    pump = [p for p in points if p.name == "pump"]
    assert [p.t_s for p in pump] == sorted(p.t_s for p in pump)
    runs = 0
    for before, after in itertools.pairwise(pump):
        if before.value == after.value:
            continue
        # The moment of change is good to 0.2 s.
        ms = int(after.t_s * 1000) % 40_000
        assert min(abs(ms), 40_000 - ms) <= 200 if after.value else abs(ms - 7300) <= 200
        runs += after.value
    assert runs >= 43
    # Seconds on since boot agree with the runs that were seen.
    span_s = pump[-1].t_s - pump[0].t_s
    assert pump[-1].sum - pump[0].sum == pytest.approx(span_s * 7.3 / 40, abs=8)


def test_same_files_under_cpython(broker: Mosquitto, listener: Listener, tmp_path: Path) -> None:
    import sys

    with (
        Bench(signals) as bench,
        Board("engine-shed", bench=bench, broker_port=broker.port, command=[sys.executable]) as board,
    ):
        listener.wait(lambda: len(listener.of("measurements")) >= 2)
        assert board.alive and not board.on_micropython
    assert _check_values(listener.of("measurements")) >= 4


def test_commands(broker: Mosquitto, listener: Listener) -> None:
    with Bench(signals) as bench, Board("engine-shed", bench=bench, broker_port=broker.port):
        listener.wait(lambda: listener.of("board"))
        for text in (
            '{"id": "a", "do": "report-interval", "interval": 2}',
            '{"id": "b", "do": "report-interval", "interval": 0}',
            '{"id": "c", "do": "open-valve"}',
            "not json",
            '{"id": 4, "do": "send-buffer"}',
        ):
            listener.publish(TOPIC + "command", text)
        listener.wait(lambda: len(listener.of("command-result")) == 4)
        listener.wait(lambda: listener.of("board")[-1]["interval"] == 2)
    results = {r["id"]: r for r in listener.of("command-result")}
    assert results["a"] == {"id": "a", "ok": True, "error": None}
    assert results["b"]["error"] == "interval must be a whole number from 1 to 60"
    assert results["c"]["error"] == "unknown command"
    assert results[4]["ok"]


@pytest.mark.parametrize(
    ("channel", "fault", "published"),
    [
        ("tank", "short", "short"),
        ("return_air", "open", "absent"),
        ("return_air", "crc", "crc"),
        ("nozzle", "open", "open"),
        ("nozzle", "short", "short"),
        ("stack", "open", "open"),
        ("stack", "power-on", "crc"),
        ("air_pressure", "short", "short"),
        ("supply_level", "open", "open"),
    ],
)
def test_fault_decoding_reaches_the_pack(
    broker: Mosquitto, listener: Listener, channel: str, fault: Any, published: str
) -> None:
    bench = Bench(signals, start_ms=START_MS, until_ms=START_MS + 12_000)
    bench.faults[channel] = fault
    with bench, Board("engine-shed", bench=bench, broker_port=broker.port, speed=0) as board:
        assert bench.finished.wait(30), board.log
    points = [p for pack in listener.of("measurements") for p in resolve(pack)]
    assert {p.value for p in points if p.name == f"{channel}/fault"} == {published}
    assert not [p for p in points if p.name == channel]


def test_an_interpreter_is_found() -> None:
    assert Path(interpreter()[0]).exists()
