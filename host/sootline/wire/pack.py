"""A measurements pack: the bytes a board publishes, turned into rows, or rejected with the reason."""

from dataclasses import dataclass

import numpy as np

from sootline.channels import CHANNELS, FAULTS
from sootline.series import Rows, SensorFault
from sootline.wire.senml import RELATIVE_BELOW_S, Resolved, SenmlError, decode

MAX_BYTES = 64 * 1024
FUTURE_S = 600.0  # a clock this far ahead of the receipt is wrong, not early
EARLIEST_S = 1_577_836_800.0  # 2020-01-01: an earlier clock was never set, whatever it says
LONGEST_S = 400 * 86400.0  # no pack spans more than this, and no sum or uptime of a boot exceeds ten times as much
MAX_SEQ = 2**53
MAX_BOOT = 64
_NONE = float("nan")


@dataclass(frozen=True, slots=True)
class Rejected:
    """A message that cannot be used as it stands; it is set aside and counted under `reason`, one of a few."""

    reason: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Pack:
    """One pack.

    rows:      times are milliseconds relative to the pack's base time
    uptime_ms: since boot, at the base time
    base_ms:   base time on the Unix clock where the board's clock was set, else None
    refused:   records of the pack that were left out, one reason each
    """

    furnace: str
    boot: str
    seq: int
    uptime_ms: int
    base_ms: int | None
    rows: Rows
    refused: tuple[str, ...] = ()

    def at(self, base_ms: int) -> Rows:
        """The rows placed on the Unix clock."""
        rows = self.rows
        faults = tuple(SensorFault(f.t_ms + base_ms, f.channel, f.kind) for f in rows.faults)
        return Rows(rows.t_ms + base_ms, rows.values, rows.on_s, faults)


def parse(furnace: str, payload: bytes, received_s: float | None = None) -> Pack | Rejected:
    """The pack in `payload` published under `furnace`.

    received_s: receipt on the Unix clock [s]; where given, times more than FUTURE_S ahead of it are rejected.
    """
    if len(payload) > MAX_BYTES:
        return Rejected(f"larger than {MAX_BYTES} bytes")
    try:
        records = decode(payload)
    except SenmlError as error:
        return Rejected("not a SenML pack", str(error))
    head = _head(furnace, records)
    if isinstance(head, Rejected):
        return head
    times = [record.t for record in head.readings]
    times.append(head.base_s)
    first, last = min(times), max(times)
    absolute = head.base_s >= RELATIVE_BELOW_S
    if (first >= RELATIVE_BELOW_S) != absolute or (last >= RELATIVE_BELOW_S) != absolute:
        return Rejected("mixes absolute and relative times")
    if not last - first <= LONGEST_S:  # also where a time is not finite
        return Rejected("its times lie more than a year apart")
    if absolute and first < EARLIEST_S:
        return Rejected("its clock is years behind; check the board's clock")
    if absolute and received_s is not None and last > received_s + FUTURE_S:
        return Rejected("its clock is ahead of the receipt; check the board's clock")
    rows, refused = _rows(head.readings, head.base_s, len(furnace) + 1)
    base_ms = round(head.base_s * 1000) if absolute else None
    return Pack(furnace, head.boot, head.seq, round(head.uptime_s * 1000), base_ms, rows, refused)


@dataclass(frozen=True, slots=True)
class _Head:
    """What stands in a pack beside its readings."""

    boot: str
    seq: int
    uptime_s: float
    base_s: float
    readings: list[Resolved]


def _head(furnace: str, records: list[Resolved]) -> _Head | Rejected:
    prefix = furnace + "/"
    boot: str | None = None
    seq: int | None = None
    uptime: Resolved | None = None
    readings: list[Resolved] = []
    for record in records:
        if not record.n.startswith(prefix):
            return Rejected("names another furnace than its topic", f"'{record.n[:80]}' under '{furnace}'")
        leaf = record.n[len(prefix) :]
        if leaf == "boot":
            boot = record.vs
        elif leaf == "seq":
            seq = _count(record.v)
        elif leaf == "uptime":
            uptime = record
        else:
            readings.append(record)
    if not boot or len(boot) > MAX_BOOT:
        return Rejected("no boot id")
    if seq is None:
        return Rejected("no sequence number")
    if uptime is None or uptime.v is None or not 0.0 <= uptime.v <= 10 * LONGEST_S:
        return Rejected("no uptime")
    return _Head(boot, seq, uptime.v, uptime.t, readings)


def _count(value: float | None) -> int | None:
    return int(value) if value is not None and 0 <= value < MAX_SEQ and value == int(value) else None


def _rows(records: list[Resolved], base_s: float, skip: int) -> tuple[Rows, tuple[str, ...]]:
    """Readings as rows in time order, times in milliseconds relative to base_s, and what was refused."""
    values: dict[str, dict[int, float]] = {}
    sums: dict[str, dict[int, float]] = {}
    faults: list[SensorFault] = []
    refused: dict[str, None] = {}
    base_ms = round(base_s * 1000)
    t, t_ms = base_s, 0
    for record in records:
        name = record.n[skip:]
        if record.t != t:
            t, t_ms = record.t, round(record.t * 1000) - base_ms
        channel = CHANNELS.get(name)
        if channel is None:
            fault = _fault(name, record.vs)
            if fault is None:
                refused[f"unknown channel '{name[:40]}'"] = None
            else:
                faults.append(SensorFault(t_ms, *fault))
        elif channel.kind == "state":
            if record.vb is None and record.s is None:
                refused[f"'{name}' is not on/off"] = None
            if record.vb is not None:
                values.setdefault(name, {})[t_ms] = 1.0 if record.vb else 0.0
            if record.s is not None and 0.0 <= record.s <= 10 * LONGEST_S:
                sums.setdefault(name, {})[t_ms] = record.s
        elif record.v is None:
            refused[f"'{name}' is not a number"] = None
        elif record.u is not None and record.u != channel.unit:
            refused[f"'{name}' is not in '{channel.unit}'"] = None
        elif channel.low <= record.v <= channel.high:
            values.setdefault(name, {})[t_ms] = record.v
        else:
            refused[f"'{name}' outside {channel.low:g} to {channel.high:g} {channel.unit}"] = None
            faults.append(SensorFault(t_ms, name, "range"))
    times = sorted({t for column in (*values.values(), *sums.values()) for t in column})
    columns = [[column.get(t, _NONE) for t in times] for column in (*values.values(), *sums.values())]
    table = np.array(columns, np.float64).reshape(len(columns), len(times))
    return Rows(
        np.array(times, np.int64),
        dict(zip(values, table, strict=False)),
        dict(zip(sums, table[len(values) :], strict=True)),
        tuple(sorted(faults)),
    ), tuple(refused)


def _fault(name: str, kind: str | None) -> tuple[str, str] | None:
    """(channel, kind) of a record that says a reading is bad."""
    channel, _, leaf = name.partition("/")
    return (channel, kind) if leaf == "fault" and channel in CHANNELS and kind in FAULTS and kind else None
