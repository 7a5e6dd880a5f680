"""A measurements pack: the bytes a board publishes, turned into rows, or rejected with the reason."""

from dataclasses import dataclass

import numpy as np

from sootline.channels import CHANNELS, FAULTS
from sootline.series import Floats, Rows, SensorFault
from sootline.wire.senml import RELATIVE_BELOW_S, Resolved, SenmlError, decode

MAX_BYTES = 64 * 1024
FUTURE_S = 600.0  # a clock this far ahead of the receipt is wrong, not early


@dataclass(frozen=True, slots=True)
class Rejected:
    """A message that cannot be used as it stands; it is set aside and counted under `reason`."""

    reason: str


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
        return Rejected(str(error))
    prefix = furnace + "/"
    boot: str | None = None
    seq: int | None = None
    uptime: Resolved | None = None
    readings: list[Resolved] = []
    for record in records:
        if not record.n.startswith(prefix):
            return Rejected(f"'{record.n}' does not belong to furnace '{furnace}'")
        leaf = record.n[len(prefix) :]
        if leaf == "boot":
            boot = record.vs
        elif leaf == "seq":
            seq = _count(record.v)
        elif leaf == "uptime":
            uptime = record
        else:
            readings.append(record)
    if not boot:
        return Rejected("no boot id")
    if seq is None:
        return Rejected("no sequence number")
    if uptime is None or uptime.v is None or uptime.v < 0:
        return Rejected("no uptime")
    absolute = uptime.t >= RELATIVE_BELOW_S
    if any((record.t >= RELATIVE_BELOW_S) != absolute for record in readings):
        return Rejected("mixes absolute and relative times")
    latest = max((record.t for record in readings), default=uptime.t)
    if absolute and received_s is not None and max(latest, uptime.t) > received_s + FUTURE_S:
        return Rejected("its clock is ahead of the receipt; check the board's clock")
    rows, refused = _rows(readings, uptime.t, len(prefix))
    return Pack(
        furnace,
        boot,
        seq,
        round(uptime.v * 1000),
        round(uptime.t * 1000) if absolute else None,
        rows,
        refused,
    )


def _count(value: float | None) -> int | None:
    return int(value) if value is not None and value >= 0 and value == int(value) else None


def _rows(records: list[Resolved], base_s: float, skip: int) -> tuple[Rows, tuple[str, ...]]:
    """Readings as rows in time order, times in milliseconds relative to base_s, and what was refused."""
    values: dict[str, dict[int, float]] = {}
    sums: dict[str, dict[int, float]] = {}
    faults: list[SensorFault] = []
    refused: list[str] = []
    base_ms = round(base_s * 1000)
    for record in records:
        name = record.n[skip:]
        t_ms = round(record.t * 1000) - base_ms
        channel = CHANNELS.get(name)
        if channel is None:
            measured, slash, leaf = name.partition("/")
            if slash and leaf == "fault" and measured in CHANNELS and record.vs in FAULTS:
                faults.append(SensorFault(t_ms, measured, record.vs))
            else:
                refused.append(f"unknown channel '{name}'" if leaf != "fault" else f"unknown fault on '{measured}'")
            continue
        if channel.kind == "state":
            if record.vb is not None:
                values.setdefault(name, {})[t_ms] = 1.0 if record.vb else 0.0
            elif record.s is None:
                refused.append(f"'{name}' is not on/off")
                continue
            if record.s is not None:
                sums.setdefault(name, {})[t_ms] = record.s
        elif record.v is None:
            refused.append(f"'{name}' is not a number")
        elif record.u is not None and record.u != channel.unit:
            refused.append(f"'{name}' in '{record.u}', not '{channel.unit}'")
        elif channel.low <= record.v <= channel.high:
            values.setdefault(name, {})[t_ms] = record.v
        else:
            refused.append(f"'{name}' outside {channel.low:g} to {channel.high:g} {channel.unit}")
            faults.append(SensorFault(t_ms, name, "range"))
    times = sorted({t for column in (*values.values(), *sums.values()) for t in column})
    row_of = {t: i for i, t in enumerate(times)}
    return Rows(
        np.array(times, np.int64),
        {name: _column(column, row_of) for name, column in values.items()},
        {name: _column(column, row_of) for name, column in sums.items()},
        tuple(sorted(faults)),
    ), tuple(refused)


def _column(readings: dict[int, float], row_of: dict[int, int]) -> Floats:
    column = np.full(len(row_of), np.nan)
    for t, value in readings.items():
        column[row_of[t]] = value
    return column
