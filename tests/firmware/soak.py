"""The whole application over virtual hours in a small heap: with TLS, flash store, and an outage that fills the outbox.

    python -m tests.firmware.soak --hours 24 --heap 96k --tls none --interpreter /usr/bin/micropython

runs it under another interpreter, a 32-bit one say, whose objects have the size of the boards'. Any number here is
printed by that, the last line holding what must hold: no restart, 17,000 bytes in one piece at each look, no drift.
"""

import argparse
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sootline.bench import Bench, Board

from .certificates import Authority
from .conftest import Mosquitto, free_port
from .micropython import SCRIPTS

START_MS = 1_795_600_000_000
PIECE = 17_000  # bytes of one TLS record with its buffer, in one piece
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


@dataclass(frozen=True)
class Soak:
    """used: bytes in use at each look; pieces: size of the large piece that could be had then; faults: the log."""

    used: list[int]
    pieces: list[int]
    restarts: int
    faults: str
    log: str


def soak(
    folder: Path, hours: float, heap: str, tls: str = "psk", outage_min: float = 23.0, interpreter: str | None = None
) -> Soak:
    """Run for `hours` of virtual time, the broker away for `outage_min` from the 17th minute on."""
    port = free_port()
    lines = [f"listener {port} 127.0.0.1", "allow_anonymous true", "set_tcp_nodelay true"]
    broker: dict[str, Any] = {"host": "127.0.0.1", "port": port}
    if tls == "psk":
        (folder / "keys").write_text(f"board-1:{KEY}\n")
        lines += ["psk_hint x", f"psk_file {folder / 'keys'}"]
        broker["tls"] = {"psk_identity": "board-1", "psk_key": KEY}
    elif tls == "certificate":
        own = Authority(folder, "own")
        lines += own.server("broker.test")
        broker["tls"] = {"ca": str(own.der), "server_name": "broker.test"}
    mosquitto = Mosquitto(folder, lines, port)
    settings = {"broker": broker, "data": str(folder / "flash")}
    bench = Bench(signals, start_ms=START_MS, until_ms=START_MS + round(hours * 3_600_000))
    command = [interpreter] if interpreter else None
    board = Board(
        "shed",
        bench=bench,
        speed=0,
        settings=settings,
        program=SCRIPTS / "soak.py",
        heap=heap,
        command=command,
    )
    patience_s = 120 + hours * 200
    mosquitto.start()
    try:
        with bench, board:
            assert bench.wait_until(START_MS + 1_000_000, patience_s), board.log
            mosquitto.stop()
            assert bench.wait_until(START_MS + 1_000_000 + round(outage_min * 60_000), patience_s), board.log
            mosquitto.start()
            assert bench.finished.wait(patience_s), board.log
            looks = [line.split() for line in board.log.splitlines() if line.startswith("look_")]
            kept = folder / "flash" / "faults.log"
            return Soak(
                [int(used) for _, used, _ in looks],
                [int(piece) for _, _, piece in looks],
                board.restarts,
                kept.read_text() if kept.exists() else "",
                board.log,
            )
    finally:
        mosquitto.stop()


def main() -> None:
    parser = argparse.ArgumentParser("python -m tests.firmware.soak")
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--heap", default="96k")
    parser.add_argument("--tls", choices=("none", "psk", "certificate"), default="psk")
    parser.add_argument("--outage", type=float, default=120.0, metavar="MIN")
    parser.add_argument("--interpreter", metavar="PATH", help="a MicroPython whose name begins so")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        got = soak(Path(folder), options.hours, options.heap, options.tls, options.outage, options.interpreter)
    for n, (used, piece) in enumerate(zip(got.used, got.pieces, strict=True), 1):
        print(f"{n * 5:5d} min  in use {used:7d}  piece {piece:6d}")
    drift = got.used[-1] - got.used[0] if got.used else None
    print(got.faults or got.log if not got.used or got.restarts else "")
    print(f"restarts {got.restarts}  looks {len(got.used)}  most in use {max(got.used, default=0)}  drift {drift}")


if __name__ == "__main__":
    main()
