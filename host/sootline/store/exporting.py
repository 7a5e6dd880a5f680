"""The readings of furnaces as one table, CSV or Parquet, that `sootline replay` and any other tool reads."""

import os
from collections.abc import Callable, Collection, Iterator, Sequence
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet

from sootline.channels import CHANNELS
from sootline.errors import UserError
from sootline.series import Floats, Rows, merge
from sootline.store.block import DAY_MS
from sootline.store.files import UNFINISHED, sync_folder

Read = Callable[[str, int, int], Rows]
Span = tuple[str, int, int]  # furnace, start_ms, end_ms
_TIME = pa.timestamp("ms", "UTC")


def days(spans: Collection[Span]) -> Iterator[Span]:
    """The spans cut at midnight UTC."""
    for furnace, start_ms, end_ms in spans:
        while start_ms < end_ms:
            midnight = min(end_ms, (start_ms // DAY_MS + 1) * DAY_MS)
            yield furnace, start_ms, midnight
            start_ms = midnight


def export(read: Read, spans: Sequence[Span], target: Path) -> int:
    """Write the readings of the spans to `target`, a day at a time; returns how many rows there are.

    Columns: time (UTC), furnace, each channel in its unit, `<channel>_on_s`, `<channel>_fault`. Raises UserError.
    """
    if target.suffix not in (".csv", ".parquet"):
        raise UserError(f"{target}: name it .csv or .parquet")
    columns = sorted({name for span in days(spans) for name in _titles(read(*span))}, key=_order)
    if not columns:
        raise UserError("there are no readings in that time")
    schema = pa.schema([("time", _TIME), ("furnace", pa.string()), *((name, _type(name)) for name in columns)])
    beside = target.with_name(f".{target.name}.{os.getpid()}{UNFINISHED}")
    n = 0
    try:
        with _writer(target.suffix, beside, schema) as writer:
            for furnace, start_ms, end_ms in days(spans):
                table = _table(furnace, read(furnace, start_ms, end_ms), schema)
                writer.write_table(table)
                n += len(table)
        os.replace(beside, target)
        sync_folder(target.absolute().parent)
    except OSError as error:
        raise UserError(f"{target}: cannot be written: {error.strerror or error}") from None
    finally:
        beside.unlink(missing_ok=True)
    return n


def _writer(suffix: str, path: Path, schema: pa.Schema) -> "pa.csv.CSVWriter | pa.parquet.ParquetWriter":
    if suffix == ".csv":
        return pa.csv.CSVWriter(path, schema)
    return pa.parquet.ParquetWriter(path, schema, compression="zstd")


def _titles(rows: Rows) -> set[str]:
    sums, faults = (f"{name}_on_s" for name in rows.on_s), (f"{fault.channel}_fault" for fault in rows.faults)
    return {*rows.values, *sums, *faults}


def _order(title: str) -> tuple[bool, bool, int]:
    channel = title.removesuffix("_fault").removesuffix("_on_s")
    return title.endswith("_fault"), title.endswith("_on_s"), list(CHANNELS).index(channel)


def _type(title: str) -> pa.DataType:
    if title.endswith("_fault"):
        return pa.string()
    return pa.bool_() if title in CHANNELS and CHANNELS[title].kind == "state" else pa.float64()


def _table(furnace: str, rows: Rows, schema: pa.Schema) -> pa.Table:
    fault_times = np.unique(np.array([fault.t_ms for fault in rows.faults], np.int64))
    rows = merge([rows, Rows(fault_times, {}, {}, rows.faults)]) if len(fault_times) else rows
    n = len(rows)
    arrays = [pa.array(rows.t_ms, _TIME), pa.array([furnace] * n, pa.string())]
    none = np.full(n, np.nan)
    for title in schema.names[2:]:
        channel = title.removesuffix("_fault").removesuffix("_on_s")
        if title.endswith("_fault"):
            arrays.append(_faults(rows, channel))
        else:
            arrays.append(_readings((rows.on_s if title.endswith("_on_s") else rows.values).get(channel, none), title))
    return pa.table(arrays, schema=schema)


def _readings(column: Floats, title: str) -> pa.Array:
    missing = np.isnan(column)
    if pa.types.is_boolean(_type(title)):
        return pa.array(np.where(missing, 0.0, column) != 0.0, mask=missing)
    return pa.array(column, mask=missing)


def _faults(rows: Rows, channel: str) -> pa.Array:
    kinds: list[str | None] = [None] * len(rows)
    for fault in rows.faults:
        if fault.channel == channel:
            kinds[int(np.searchsorted(rows.t_ms, fault.t_ms))] = fault.kind
    return pa.array(kinds, pa.string())
