"""Digests over what is stored of one furnace, so that a paper handed out can be held against the rows later.

A digest is SHA-256 over rows in one fixed form: readings by day (UTC), all else as a list. Only whole past days are
taken, and of the lists only what was noted for them. Findings (events, alarms) are made again by a newer version and so
are digested apart from what was measured and noted.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

import msgspec
import numpy as np

from sootline.advice.tables import TABLES, Ask
from sootline.errors import UserError
from sootline.series import Rows
from sootline.store import Store
from sootline.store.exporting import days

DAY_MS = 86_400_000
VERSION = 1
WHOLE = "all"
Result = Literal["as it was", "changed", "no longer kept", "new"]


class Manifest(msgspec.Struct, frozen=True, kw_only=True):
    """What was digested: table -> part -> SHA-256; `digest` over all of them. Moments are days, the last one left out.

    made: when [ISO 8601]; readings have a part a day, every other table one part
    """

    version: int = VERSION
    furnace: str
    start: str
    end: str
    made: str
    tables: dict[str, dict[str, str]]
    digest: str


@dataclass(frozen=True, slots=True)
class Compared:
    """One part of a table, then and now."""

    table: str
    part: str
    result: Result


def manifest(store: Store, furnace: str, start_ms: int, end_ms: int, now_ms: int) -> Manifest:
    """Digests of whole days (UTC) from start_ms on until the last midnight before end_ms."""
    first_ms, last_ms = start_ms - start_ms % DAY_MS, end_ms - end_ms % DAY_MS
    if last_ms <= first_ms:
        raise UserError("a digest needs at least one whole day (UTC)")
    tables = _tables(store, furnace, first_ms, last_ms)
    return Manifest(
        furnace=furnace,
        start=_day(first_ms),
        end=_day(last_ms),
        made=datetime.fromtimestamp(now_ms / 1000, UTC).isoformat(timespec="seconds"),
        tables=tables,
        digest=_of_tables(tables),
    )


def compare(store: Store, then: Manifest) -> list[Compared]:
    """Every part as it was digested against what is stored now. Raises UserError for a manifest that is not ours."""
    if then.version != VERSION:
        raise UserError(f"the digests have version {then.version}; this reads version {VERSION}")
    if _of_tables(then.tables) != then.digest:
        raise UserError("the digests do not fit together: the file itself has been changed")
    now = _tables(store, then.furnace, _ms(then.start), _ms(then.end))
    compared = []
    for table in dict.fromkeys((*then.tables, *now)):
        was, is_now = then.tables.get(table, {}), now.get(table, {})
        for part in sorted({*was, *is_now}):
            result: Result = "as it was"
            if part not in is_now:
                result = "no longer kept"
            elif part not in was:
                result = "new"
            elif was[part] != is_now[part]:
                result = "changed"
            compared.append(Compared(table, part, result))
    return compared


def _tables(store: Store, furnace: str, start_ms: int, end_ms: int) -> dict[str, dict[str, str]]:
    made = {"readings": dict(_readings(store, furnace, start_ms, end_ms))}
    ask = Ask(store, [furnace], start_ms, end_ms)
    for name in ("log", "oil", "predictions", "commissioning", "events", "alarms"):
        digest = hashlib.sha256()
        for piece in TABLES[name](ask).pieces:
            for row in piece.to_pylist():
                if kept := _kept(name, row, end_ms):
                    digest.update(msgspec.json.encode(kept, order="deterministic") + b"\n")
        made[name] = {WHOLE: digest.hexdigest()}
    return made


def _kept(table: str, row: dict[str, Any], end_ms: int) -> dict[str, Any] | None:
    """What counts of a row: what was noted for the days digested, without what people did about an alarm later."""
    day = _day(end_ms)
    if (table == "oil" and row["received"] >= day) or (table == "commissioning" and row["on"] >= day):
        return None
    if table == "predictions":
        if _of(row["written"]) >= end_ms:
            return None
        if row["cleaned"] is None or _of(row["cleaned"]) >= end_ms:
            return {key: row[key] for key in ("furnace", "written", "predicted_K", "predicted_sd_K")}
        return {key: value for key, value in row.items() if key != "digest"}
    if table == "alarms":
        return {key: row[key] for key in ("furnace", "alarm", "channel", "raised", "first_step", "hazard")}
    return {key: value for key, value in row.items() if value is not None}


def _readings(store: Store, furnace: str, start_ms: int, end_ms: int) -> Iterator[tuple[str, str]]:
    extent = store.extent(furnace)
    if extent is None:
        return
    span = (furnace, max(start_ms, extent[0] - extent[0] % DAY_MS), min(end_ms, extent[1] + 1))
    for _, from_ms, to_ms in days([span]):
        rows = store.read(furnace, from_ms, to_ms)
        if len(rows) or rows.faults:
            yield _day(from_ms), _of_rows(rows)


def _of_rows(rows: Rows) -> str:
    """Of a day's rows: each channel's times and numbers where it has one, little-endian, then the faults."""
    digest = hashlib.sha256()
    for kind, columns in (("value", rows.values), ("on_s", rows.on_s)):
        for name in sorted(columns):
            known = np.isfinite(columns[name])
            if known.any():
                digest.update(f"{kind} {name} {int(known.sum())}\n".encode())
                digest.update(rows.t_ms[known].astype("<i8").tobytes())
                digest.update(columns[name][known].astype("<f8").tobytes())
    for fault in sorted(rows.faults, key=lambda fault: (fault.t_ms, fault.channel, fault.kind)):
        digest.update(f"fault {fault.t_ms} {fault.channel} {fault.kind}\n".encode())
    return digest.hexdigest()


def _of_tables(tables: dict[str, dict[str, str]]) -> str:
    return hashlib.sha256(msgspec.json.encode(tables, order="deterministic")).hexdigest()


def _day(t_ms: int) -> str:
    return datetime.fromtimestamp(t_ms / 1000, UTC).date().isoformat()


def _ms(day: str) -> int:
    try:
        return round(datetime.fromisoformat(day).replace(tzinfo=UTC).timestamp() * 1000)
    except ValueError:
        raise UserError(f"the digests name no day: {day!r}") from None


def _of(moment: datetime) -> int:
    return round(moment.timestamp() * 1000)
