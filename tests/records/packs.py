"""Write samples as a recording: newline-delimited messages as a subscriber would have kept them."""

from __future__ import annotations

import json
import random
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import zstandard

from tests.records.sensors import SWITCHED, TEMPERATURES, Instruments, Samples
from tests.records.story import Gap

UNITS = {
    "air_pressure": "Pa",
    "suction": "Pa",
    "draft_fire": "Pa",
    "draft_breech": "Pa",
    "supply_level": "/",
    "tank_level": "/",
    "tank_heater_current": "A",
    "nozzle_heater_current": "A",
}


@dataclass(frozen=True)
class Link:
    """How badly the network and the clock behave."""

    unsynced_s: float
    duplicates: float
    late: float
    lost: float
    seed: int


def messages(
    samples: Samples, start: float, furnace: str, tools: Instruments, gaps: list[Gap], link: Link
) -> list[str]:
    """Lines in order of receipt. Samples in a ``late`` gap are packed twenty at a time and sent at its end."""
    dice = random.Random(link.seed)
    topic = f"sootline/{furnace}/measurements"
    board = f"sootline/{furnace}/board"
    writer = Writer(samples, start, furnace)
    out: list[tuple[float, str, str]] = []
    late = [gap for gap in gaps if gap.kind == "late"]
    boot_number, seq, booted = -1, 0, 0.0
    boot_id = ""
    waiting: list[int] = []
    held: Gap | None = None

    def send(rows: list[int], ready: float, at: float) -> None:
        nonlocal seq
        relative = ready - booted < link.unsynced_s
        apart_s = 0.08 if seq % 2 and len(rows) == 1 and samples.change[rows[0]] else 0.0
        body = writer.pack(rows, boot_id, seq, ready - booted, ready, relative, apart_s)
        seq += 1
        if dice.random() < link.lost:
            return
        if dice.random() < link.late:
            at += dice.uniform(3.0, 120.0)
        out.append((at, topic, body))
        if dice.random() < link.duplicates:
            out.append((at + dice.uniform(0.0, 600.0), topic, body))

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
            out.append((t - 0.5, board, _announcement(boot_id, tools, samples, link)))
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
            out.append((gap.start + 90.0, board, '{"online":false}'))
    out.sort(key=lambda item: item[0])
    return [f'{{"at":{start + at:.3f},"topic":"{topic}","payload":{body}}}' for at, topic, body in out]


def _announcement(boot: str, tools: Instruments, samples: Samples, link: Link) -> str:
    return json.dumps(
        {
            "online": True,
            "version": 1,
            "firmware": "0.9",
            "boot": boot,
            "reset": "power-on",
            "channels": sorted(samples.values),
            "interval": tools.interval_s,
            "idle_interval": tools.idle_interval_s,
            "uptime": 4.0,
            "buffered": 0,
            "buffered_oldest_s": 0,
            "heap_free": 101232,
            "rssi": -61,
            "clock": "unsynced" if link.unsynced_s else "synced",
        }
    )


class Writer:
    """Turns rows into SenML text; values are made into text once, a channel at a time."""

    def __init__(self, samples: Samples, start: float, furnace: str) -> None:
        self.samples, self.start, self.furnace = samples, start, furnace
        self.cells = [self._cells(name, values) for name, values in samples.values.items()]

    def _cells(self, name: str, values: np.ndarray) -> list[str]:
        """Each reading of a channel as a record left open for its time; empty where there is none."""
        if name in SWITCHED:
            total = self.samples.on_seconds.get(name)
            states = ["true" if x > 0.5 else "false" for x in values.tolist()]
            if total is None:
                cells = [f'{{"n":"{name}","vb":{state}' for state in states]
            else:
                cells = [f'{{"n":"{name}","vb":{a},"s":{b:.2f}' for a, b in zip(states, total.tolist(), strict=True)]
        else:
            unit = "Cel" if name in TEMPERATURES else UNITS[name]
            cells = [f'{{"n":"{name}","u":"{unit}","v":{round(x, 4)!r}' for x in values.tolist()]
        for row in np.flatnonzero(np.isnan(values)).tolist():
            cells[row] = ""
        for first, last, word in self.samples.faults.get(name, []):
            cells[first:last] = [f'{{"n":"{name}/fault","vs":"{word}"'] * (last - first)
        return cells

    def pack(
        self, rows: list[int], boot: str, seq: int, uptime: float, ready: float, relative: bool, apart_s: float
    ) -> str:
        """One pack as JSON text; ``apart_s`` later than its sample, as when a change is noticed first and sent then."""
        samples = self.samples
        shift = float(samples.t[rows[-1]] - samples.true_t[rows[-1]])
        base = ready + shift + apart_s
        when = "" if relative else f',"bt":{self.start + base:.3f}'
        head = f'{{"bn":"{self.furnace}/","n":"boot","vs":"{boot}"{when}}}'
        parts = [head, f'{{"n":"seq","v":{seq}}}', f'{{"n":"uptime","u":"s","v":{uptime + apart_s:.3f}}}']
        for row in rows:
            offset = float(samples.t[row]) - base
            tail = f',"t":{offset:.3f}}}' if abs(offset) > 0.0005 else "}"
            parts += [column[row] + tail for column in self.cells if column[row]]
        return "[" + ",".join(parts) + "]"


def write_recording(lines: list[str], path: Path) -> None:
    """One message a line, compressed when the name ends in ``.zst``."""
    text = ("\n".join(lines) + "\n").encode()
    path.write_bytes(zstandard.ZstdCompressor(level=3).compress(text) if path.suffix == ".zst" else text)
