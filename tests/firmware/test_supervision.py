"""Watchdog, restarts, reset causes, safe mode, kept exceptions, and the lamp on the board."""

import itertools
import os
import signal
import types
from pathlib import Path
from typing import Any

import pytest
from sootboard import faultlog, memo, warning

from sootline.bench import FIRMWARE, Bench, Board, board_pins

from .conftest import Listener, Mosquitto
from .micropython import figures, run

START_MS = 1_795_600_000_000
VIRTUAL = (FIRMWARE / "bench" / "virtual",)


def signals(t_ms: int) -> dict[str, float | bool]:
    return {"tank": 60.0, "nozzle": 85.0, "stack": 200.0, "pump": False}


def test_outage_is_no_fault_and_frozen_tasks_are_found() -> None:
    got = figures(run("supervisor_days.py", "256k", 60, "3", paths=VIRTUAL))
    assert got["worst_gap_ms"] <= 2000
    assert got["records_in_outage"] == 0
    for name, deadline_ms in (("contacts", 5000), ("measure", 150_000), ("link", 300_000)):
        assert 0 <= got[f"late_{name}_ms"] <= deadline_ms + 1000
    assert got["failures_recorded"] == 4
    assert got["reset_for_crash"] == 1


def test_stopped_board_is_restarted_by_its_watchdog(broker: Mosquitto, listener: Listener) -> None:
    wiring = {"board": "picow"}
    with Bench(signals) as bench, Board("shed", bench=bench, broker_port=broker.port, settings=wiring) as board:
        listener.wait(lambda: bench.watchdog_fed)
        assert bench.watchdog_ms == 8000
        assert board.pid
        os.kill(board.pid, signal.SIGSTOP)
        listener.wait(lambda: board.restarts == 1)
        listener.wait(lambda: listener.of("board")[-1].get("reset") == "watchdog")


# ---------------------------------------------------------------- reset causes

PORT = types.SimpleNamespace(PWRON_RESET=1, HARD_RESET=2, WDT_RESET=3, DEEPSLEEP_RESET=4, SOFT_RESET=5)


@pytest.mark.parametrize(
    ("cause", "noted", "label"),
    [
        (1, None, "power"),
        (1, ("", 0), "brownout"),  # the ESP32 calls it power-on, but memory was kept
        (3, ("", 0), "watchdog"),
        (3, None, "watchdog"),
        (3, ("crash", 1), "crash"),  # the RP2 resets itself through the watchdog
        (2, ("link", 0), "link"),
        (2, ("", 0), "crash"),  # a panic of the ESP32
        (5, ("", 0), "console"),
        (2, None, "power"),  # the EN button
        (3, ("safe", 0), "safe"),
    ],
)
def test_reset_causes_are_told_apart(cause: int, noted: Any, label: str) -> None:
    assert memo.label(cause, PORT, noted) == label


@pytest.mark.parametrize("intent", memo.INTENTS)
@pytest.mark.parametrize("bad", [0, 3, 255, 300])
def test_memo_comes_back(intent: str, bad: int) -> None:
    assert memo.unpack(memo.pack(intent, bad) + b"rows") == (intent, min(bad, 255))


def test_garbage_is_no_memo() -> None:
    good = memo.pack("crash", 2)
    for bit in range(32):
        bad = bytearray(good)
        bad[bit // 8] ^= 1 << bit % 8
        assert memo.unpack(bytes(bad)) is None
    assert memo.unpack(b"") is None
    assert memo.unpack(b"\xff" * 4) is None


def test_only_bad_boots_count() -> None:
    assert memo.bad_boots("power", ("", 4)) == 0
    assert memo.bad_boots("link", ("link", 4)) == 0
    assert memo.bad_boots("watchdog", ("", 4)) == 5
    assert memo.bad_boots("crash", None) == 1


def test_file_memo(tmp_path: Path) -> None:
    kept = memo.FileMemo(str(tmp_path / "memo"))
    assert kept.read() == b""
    kept.write(memo.pack("link", 1))
    assert memo.unpack(kept.read()) == ("link", 1)
    memo.FileMemo(str(tmp_path / "nowhere" / "memo")).write(b"1234")


def test_boot_loop_ends_in_safe_mode(broker: Mosquitto, listener: Listener, tmp_path: Path) -> None:
    """Five bad boots: no sampling, but the board is there and says so; after an hour it tries again."""
    (tmp_path / "rtc.bin").write_bytes(memo.pack("crash", memo.BAD_BOOTS - 1))
    bench = Bench(signals, start_ms=START_MS, until_ms=START_MS + 3_700_000)
    with bench, Board("shed", bench=bench, broker_port=broker.port, speed=0, directory=tmp_path) as board:
        assert bench.finished.wait(40), board.log
        assert board.restarts == 1
    states = [a for a in listener.of("board") if a["online"]]
    safe = [a for a in states if a["safe_mode"]]
    assert safe and safe[0]["reset"] == "crash"
    assert states[-1]["reset"] == "safe" and not states[-1]["safe_mode"]
    first = min(p[0]["bt"] for p in listener.of("measurements"))
    assert first * 1000 > START_MS + 3_600_000


# ---------------------------------------------------------------- kept exceptions


def _raise(text: str) -> Exception:
    try:
        raise ValueError(text)
    except ValueError as e:
        return e


def test_exceptions_outlive_the_boot(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import sys
    import traceback

    monkeypatch.setattr(sys, "print_exception", lambda e, f: traceback.print_exception(e, file=f), raising=False)
    path = tmp_path / "faults.log"
    log = faultlog.FaultLog(str(path), types.SimpleNamespace(uptime_ms=lambda: 65_000))
    for n in range(5):
        log.record("measure", _raise(f"number {n}"), "")
    log.record("link", None, "no progress")
    assert "Traceback" in path.read_text()
    again = faultlog.FaultLog(str(path), None)
    assert again.short == [
        "measure at 65 s: ValueError number 3",
        "measure at 65 s: ValueError number 4",
        "link at 65 s: no progress",
    ]
    for _ in range(200):
        log.record("measure", _raise("x" * 90), "")
    assert sum(p.stat().st_size for p in tmp_path.iterdir()) < 2 * faultlog.FILE_BYTES + 1000
    path.unlink()
    tmp_path.joinpath("faults.log").mkdir()
    log.record("measure", None, "refused")
    assert log.refused == 1 and log.short[-1].endswith("refused")


# ---------------------------------------------------------------- the lamp

LIMITS = {"pump_s": 20, "tank_C": 95, "nozzle_C": 120}


def _state(now_ms: int, **changes: Any) -> str:
    sampler = types.SimpleNamespace(values={}, pump_since_ms=None)
    vars(sampler).update(changes)
    shown = warning.Warning(types.SimpleNamespace(uptime_ms=lambda: now_ms), sampler, LIMITS, print)
    shown.host_heard_ms = changes.get("heard_ms", now_ms)
    return shown.state()


@pytest.mark.parametrize(
    ("changes", "state"),
    [
        ({}, "well"),
        ({"values": {0: 9500, 1: 12000}}, "well"),
        ({"values": {0: 9501}}, "over-temperature"),
        ({"values": {1: 12001}}, "over-temperature"),
        ({"pump_since_ms": 10_000_000 - 22_000}, "well"),
        ({"pump_since_ms": 10_000_000 - 22_001}, "pump-overrun"),
        ({"heard_ms": 10_000_000 - 1_800_001}, "host-silent"),
        ({"heard_ms": 10_000_000 - 1_800_000}, "well"),
        ({"pump_since_ms": 0, "values": {0: 9600}, "heard_ms": 0}, "over-temperature"),
    ],
)
def test_what_the_lamp_says(changes: dict[str, Any], state: str) -> None:
    assert _state(10_000_000, **changes) == state


def test_lamp_blinks_on_a_real_board_without_any_network(broker: Mosquitto) -> None:
    def stuck_pump(t_ms: int) -> dict[str, float | bool]:
        return {**signals(t_ms), "pump": t_ms > START_MS + 60_000}

    bench = Bench(stuck_pump, start_ms=START_MS, until_ms=START_MS + 120_000)
    bench.wifi = False
    with bench, Board("shed", bench=bench, broker_port=broker.port, speed=0, settings={"limits": LIMITS}) as board:
        assert bench.finished.wait(40), board.log
    led = board_pins("esp32")["PINS"]["led"]
    changes = [(t, level) for t, pin, level in bench.output_log if pin == led]

    def lit(from_ms: int, to_ms: int) -> list[int]:
        return [
            b - a
            for (a, on), (b, _) in itertools.pairwise(changes)
            if on and START_MS + from_ms <= a < START_MS + to_ms
        ]

    assert set(lit(5_000, 55_000)) == {warning.PATTERNS["well"][0]}
    # 20 s limit + 2 s; the pattern in hand is finished first.
    assert set(lit(88_000, 119_000)) == {warning.PATTERNS["pump-overrun"][0]}
    assert len(lit(88_000, 118_000)) >= 45
