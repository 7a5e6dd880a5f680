"""Packs and rows for the tests of the store."""

import numpy as np

from sootline.series import Rows, SensorFault
from sootline.store import Store
from sootline.wire.pack import Pack

START_MS = 1_767_225_600_000  # 2026-01-01T00:00:00Z
FURNACE = "engine-shed"
HOUR_MS, DAY_MS = 3_600_000, 86_400_000
ALL = (0, 2**60)


def rows(times: list[int], faults: tuple[SensorFault, ...] = (), **columns: list[float]) -> Rows:
    """Rows at `times`; a column named `pump_s` holds the seconds on of `pump`."""
    values = {k: np.array(v, float) for k, v in columns.items() if not k.endswith("_s")}
    sums = {k.removesuffix("_s"): np.array(v, float) for k, v in columns.items() if k.endswith("_s")}
    return Rows(np.array(times, np.int64), values, sums, faults)


def pack(
    seq: int,
    content: Rows | None = None,
    *,
    boot: str = "b1",
    base_ms: int | None = None,
    uptime_ms: int | None = None,
    furnace: str = FURNACE,
    clock: bool = True,
) -> Pack:
    """The pack of one full sample at START_MS + 5 s x seq, unless told otherwise."""
    if content is None:
        content = rows([0], tank=[round(60 + seq % 50 / 10, 1)], stack=[round(40 + seq % 1000 / 10, 1)], pump=[seq % 2])
    if base_ms is None:
        base_ms = START_MS + 5000 * seq
    if uptime_ms is None:
        uptime_ms = 5000 * seq
    return Pack(furnace, boot, seq, uptime_ms, base_ms if clock else None, content)


def same(a: Rows, b: Rows) -> bool:
    """Whether two rows are equal to the bit, in times, columns and faults."""
    return (
        np.array_equal(a.t_ms, b.t_ms)
        and _same_columns(a.values, b.values)
        and _same_columns(a.on_s, b.on_s)
        and a.faults == b.faults
    )


def _same_columns(a: object, b: object) -> bool:
    assert isinstance(a, dict) and isinstance(b, dict)
    return a.keys() == b.keys() and all(a[k].tobytes() == b[k].tobytes() for k in a)


def put(store: Store, *packs, received_ms: int = START_MS):
    with store.batch() as batch:
        return [batch.pack(p, received_ms, p.base_ms if p.base_ms is not None else received_ms) for p in packs]


def slowly(packs) -> dict:
    """(time, kind, channel) -> value, by going through the packs in order of (boot, seq)."""
    told = {}
    for p in sorted(packs, key=lambda p: (p.boot, p.seq)):
        content = p.at(p.base_ms)
        for kind, columns in (("value", content.values), ("on_s", content.on_s)):
            for name, column in columns.items():
                told |= {
                    (t, kind, name): v for t, v in zip(content.t_ms.tolist(), column.tolist(), strict=True) if v == v
                }
        told |= {(f.t_ms, "fault", f.channel): f.kind for f in content.faults}
    return told


def said(read) -> dict:
    told = {(f.t_ms, "fault", f.channel): f.kind for f in read.faults}
    for kind, columns in (("value", read.values), ("on_s", read.on_s)):
        for name, column in columns.items():
            told |= {(t, kind, name): v for t, v in zip(read.t_ms.tolist(), column.tolist(), strict=True) if v == v}
    return told


def day_packs(days: int = 1, every: int = 60, **how):
    """Packs of one sample every `every` x 5 s over some days, with pump edges between."""
    for seq, i in enumerate(range(0, days * 17280, every)):
        edge = rows([0, 1234], tank=[60 + i % 70 / 100, np.nan], pump=[np.nan, i % 2], pump_s=[np.nan, i / 8])
        yield pack(seq, edge, base_ms=START_MS + 5000 * i, **how)
