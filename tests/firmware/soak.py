"""The whole application over virtual hours in a small heap: with TLS, flash store, a full outbox and outages.

    python -m tests.firmware.soak --full --tls certificate --interpreter .stamps/micropython-32/micropython

runs it under the 32-bit interpreter that `make test` fetches, whose objects have the size of the boards'. Any number
here is printed by that, the last line holding what must hold: no restart, 17,000 bytes in one piece at each look, no
drift.
"""

import argparse
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sootline.bench import Bench, Board
from sootline.sim.workshop import FURNACES

from .certificates import Authority
from .conftest import Mosquitto, free_port
from .micropython import SCRIPTS

START_MS = 1_795_600_000_000
LOOK_MIN = 5
FULL_MIN = 60.0  # the broker is away for that long from the start while the outbox is full
SEGMENTS = 256  # of the store: as many as 1 MiB has blocks of 4 KiB
PIECE = 17_000  # bytes of one TLS record with its buffer, in one piece
KEY = "00112233445566778899aabbccddeeff"


def signals(t_ms: int) -> dict[str, float | bool]:
    """A cold day: a call of 20 min in each 45, with refills; quiet between, when rows are a minute apart."""
    at_ms = t_ms % 2_700_000
    call = at_ms < 1_200_000
    refill = call and at_ms % 300_000 < 9_000
    return {
        "tank": 60.0 + t_ms % 900_000 / 450_000,
        "nozzle": 85.0 + t_ms % 90_000 / 200_000,
        "stack": 200.0 + at_ms / 10_000 if call else 25.0,
        "return_air": 18.0,
        "air_pressure": 97_000.0 if call else 0.0,
        "pump": refill,
        "float": refill,
        "call": call,
        "burner": call and at_ms > 60_000,
    }


def every_signal(t_ms: int) -> dict[str, float | bool]:
    """As `signals`, with something to read for every input that a board has."""
    return {**dict.fromkeys(FURNACES["engine-shed"].channels, 0.5), **signals(t_ms)}


@dataclass(frozen=True)
class Soak:
    """used: bytes in use at each look; pieces: size of the large piece that could be had then; faults: the log;
    left: segments of the store that were not sent."""

    used: list[int]
    pieces: list[int]
    restarts: int
    faults: str
    log: str
    left: int
    full: bool

    @property
    def drift(self) -> int:
        """By how much what is in use has grown since the first look at which nothing had to wait [bytes]."""
        settled = self.used[round(FULL_MIN / LOOK_MIN) + 2 :] if self.full else self.used
        return self.used[-1] - settled[0] if settled else 0


def fill(flash: Path, segments: int = SEGMENTS) -> None:
    """Leave `segments` segments of an earlier boot in the store, a frame of 24 rows in each."""
    from sootboard import frame  # on the path since conftest was loaded

    flash.mkdir()
    for n in range(1, segments + 1):
        at_ms = n * 120_000
        rows = [frame.Row(at_ms + i * 5000, 0, True, 0, [0] * 4, {0: 6000 + i, 2: 20_000 + i}, {}) for i in range(24)]
        writer = frame.Writer(0xB007, n, 0, rows[0])
        for row in rows:
            writer.add(row)
        (flash / f"{n:08d}.seg").write_bytes(writer.data())


def soak(
    folder: Path,
    hours: float,
    heap: str,
    *,
    tls: str = "psk",
    outage_min: float = 23.0,
    interpreter: str | None = None,
    full: bool = False,
    every: bool = False,
) -> Soak:
    """Run for `hours` of virtual time; the broker goes away for `outage_min`, 17 minutes after it was there first.

    full: the outbox is full at the start, and the broker comes only after FULL_MIN
    every: with every channel that the board has an input for
    """
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
    flash = folder / "flash"
    if full:
        fill(flash)
    settings = {"broker": broker, "data": str(flash), "poll_ms": 100}
    bench = Bench(every_signal if every else signals, start_ms=START_MS, until_ms=START_MS + round(hours * 3_600_000))
    command = [str(Path(interpreter).resolve())] if interpreter else None
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
    there_ms = START_MS
    try:
        if full:
            there_ms += round(FULL_MIN * 60_000)
        else:
            mosquitto.start()
        with bench, board:
            if full:
                assert bench.wait_until(there_ms, patience_s), board.log
                assert len(list(flash.glob("*.seg"))) >= SEGMENTS
                mosquitto.start()
            assert bench.wait_until(there_ms + 1_000_000, patience_s), board.log
            mosquitto.stop()
            assert bench.wait_until(there_ms + 1_000_000 + round(outage_min * 60_000), patience_s), board.log
            mosquitto.start()
            assert bench.finished.wait(patience_s), board.log
            looks = [line.split() for line in board.log.splitlines() if line.startswith("look_")]
            kept = flash / "faults.log"
            return Soak(
                [int(used) for _, used, _ in looks],
                [int(piece) for _, _, piece in looks],
                board.restarts,
                kept.read_text() if kept.exists() else "",
                board.log,
                len(list(flash.glob("*.seg"))),
                full,
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
    parser.add_argument("--full", action="store_true", help="start with a full outbox, the broker away for an hour")
    parser.add_argument("--every", action="store_true", help="every channel the board has an input for")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        got = soak(
            Path(folder),
            options.hours,
            options.heap,
            tls=options.tls,
            outage_min=options.outage,
            interpreter=options.interpreter,
            full=options.full,
            every=options.every,
        )
    for n, (used, piece) in enumerate(zip(got.used, got.pieces, strict=True), 1):
        print(f"{n * LOOK_MIN:5d} min  in use {used:7d}  piece {piece:6d}")
    print(got.faults or got.log if len(got.used) < options.hours * 60 / LOOK_MIN - 2 or got.restarts else "")
    print(f"restarts {got.restarts}  looks {len(got.used)}  most in use {max(got.used, default=0)}", end="  ")
    print(f"drift {got.drift}  segments left {got.left}")


if __name__ == "__main__":
    main()
