"""Write samples as a recording: newline-delimited messages as a subscriber would have kept them."""

from __future__ import annotations

import json
import random
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import zstandard

from tests.records.sensors import SWITCHED, TEMPERATURES, Instruments, Samples
from tests.records.story import Gap

UNITS = {
    "air_pressure": "Pa", "suction": "Pa", "draft_fire": "Pa", "draft_breech": "Pa", "supply_level": "/",
    "tank_level": "/", "tank_heater_current": "A", "nozzle_heater_current": "A",
}  # fmt: skip


@dataclass(frozen=True)
class Link:
    """How badly the network and the clock behave."""

    unsynced_s: float
    duplicates: float
    late: float
    lost: float
    seed: int


def messages(samples: Samples, start: float, furnace: str, tools: Instruments, gaps: list[Gap], link: Link) -> list[dict[str, Any]]:
    """Messages in order of receipt. Samples in a ``late`` gap are packed twenty at a time and sent at its end."""
    dice = random.Random(link.seed)
    topic = f"sootline/{furnace}/measurements"
    out: list[tuple[float, dict[str, Any]]] = []
    late = [gap for gap in gaps if gap.kind == "late"]
    boot_number, seq, booted = -1, 0, 0.0
    boot_id = ""
    waiting: list[int] = []
    held: Gap | None = None

    def send(rows: list[int], ready: float, at: float) -> None:
        nonlocal seq
        body = _pack(samples, rows, start, furnace, boot_id, seq, ready - booted, ready, ready - booted < link.unsynced_s, seq % 2 == 1)
        seq += 1
        if dice.random() < link.lost:
            return
        if dice.random() < link.late:
            at += dice.uniform(3.0, 120.0)
        out.append((at, {"topic": topic, "payload": body}))
        if dice.random() < link.duplicates:
            out.append((at + dice.uniform(0.0, 600.0), {"topic": topic, "payload": body}))

    def flush() -> None:
        nonlocal waiting
        if waiting and held is not None:
            for i in range(0, len(waiting), 20):
                rows = waiting[i : i + 20]
                send(rows, float(samples.true_t[rows[-1]]), held.end + 1.0 + 0.05 * i)
        waiting = []

    for i, t in enumerate(samples.true_t.tolist()):
        if samples.boot[i] != boot_number:
            flush()
            boot_number, seq, booted = int(samples.boot[i]), 0, t - 3.0 - dice.uniform(0.0, 4.0)
            boot_id = f"{dice.getrandbits(40):010x}"
            out.append((t - 0.5, _board(furnace, boot_id, tools, samples, link)))
        elif i and t - samples.true_t[i - 1] > 300.0:
            seq += int((t - samples.true_t[i - 1]) / tools.idle_interval_s)  # sent, and lost on the way
        gap = next((g for g in late if g.start < t < g.end), None)
        if gap is None:
            flush()
            send([i], t, t + dice.uniform(0.02, 0.25))
        else:
            held = gap
            waiting.append(i)
    flush()
    for gap in gaps:
        if gap.end - gap.start > 100.0:
            out.append((gap.start + 90.0, {"topic": f"sootline/{furnace}/board", "payload": {"online": False}}))
    out.sort(key=lambda item: item[0])
    return [{"at": round(start + at, 3), **message} for at, message in out]


def _board(furnace: str, boot: str, tools: Instruments, samples: Samples, link: Link) -> dict[str, Any]:
    payload = {
        "online": True, "version": 1, "firmware": "0.9", "boot": boot, "reset": "power-on", "channels": sorted(samples.values),
        "interval": tools.interval_s, "idle_interval": tools.idle_interval_s, "uptime": 4.0, "buffered": 0,
        "buffered_oldest_s": 0, "heap_free": 101232, "rssi": -61, "clock": "unsynced" if link.unsynced_s else "synced",
    }  # fmt: skip
    return {"topic": f"sootline/{furnace}/board", "payload": payload}


def _pack(
    samples: Samples, rows: list[int], start: float, furnace: str, boot: str, seq: int, uptime: float, ready: float,
    relative: bool, moment_apart: bool,
) -> list[dict[str, Any]]:  # fmt: skip
    shift = float(samples.t[rows[-1]] - samples.true_t[rows[-1]])
    apart = 0.08 if moment_apart and len(rows) == 1 and bool(samples.change[rows[0]]) else 0.0
    base = ready + shift + apart
    head: dict[str, Any] = {"bn": f"{furnace}/", "n": "boot", "vs": boot}
    if not relative:
        head["bt"] = round(start + base, 3)
    pack = [head, {"n": "seq", "v": seq}, {"n": "uptime", "u": "s", "v": round(uptime + apart, 3)}]
    for row in rows:
        offset = round(float(samples.t[row]) - base, 3)
        when = {"t": offset} if abs(offset) > 0.0005 else {}
        for name, values in samples.values.items():
            pack.append(_record(samples, name, float(values[row]), row, when))
    return [record for record in pack if record]


def _record(samples: Samples, name: str, value: float, row: int, when: dict[str, float]) -> dict[str, Any]:
    if np.isnan(value):
        word = next((w for first, last, w in samples.faults.get(name, []) if first <= row < last), None)
        return {"n": f"{name}/fault", "vs": word, **when} if word else {}
    if name in SWITCHED:
        total = {"s": round(float(samples.on_seconds[name][row]), 2)} if name in samples.on_seconds else {}
        return {"n": name, "vb": value > 0.5, **total, **when}
    return {"n": name, "u": "Cel" if name in TEMPERATURES else UNITS[name], "v": round(value, 4), **when}


def write_recording(lines: list[dict[str, Any]], path: Path) -> None:
    """One message a line, compressed when the name ends in ``.zst``."""
    text = "".join(json.dumps(line, separators=(",", ":")) + "\n" for line in lines).encode()
    path.write_bytes(zstandard.ZstdCompressor(level=3).compress(text) if path.suffix == ".zst" else text)
