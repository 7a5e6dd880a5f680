"""Tables as CSV or Parquet, made and written piece by piece: to a file, or to whoever reads the pieces."""

import os
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.parquet

from sootline.channels import CHANNELS
from sootline.errors import UserError
from sootline.series import Floats, Rows, merge
from sootline.store.block import DAY_MS
from sootline.store.files import UNFINISHED, sync_folder

Read = Callable[[str, int, int], Rows]
Span = tuple[str, int, int]  # furnace, start_ms, end_ms
SUFFIXES = (".csv", ".parquet")
TIME = pa.timestamp("ms", "UTC")


@dataclass(frozen=True, slots=True)
class Table:
    """Its columns, and its rows in pieces of which one is held at a time."""

    schema: pa.Schema
    pieces: Iterable[pa.Table]


def days(spans: Collection[Span]) -> Iterator[Span]:
    """The spans cut at midnight UTC."""
    for furnace, start_ms, end_ms in spans:
        while start_ms < end_ms:
            midnight = min(end_ms, (start_ms // DAY_MS + 1) * DAY_MS)
            yield furnace, start_ms, midnight
            start_ms = midnight


def of_readings(read: Read, spans: Collection[Span]) -> Table:
    """The readings of the spans, a day at a time, that `sootline replay` and any other tool reads.

    Columns: time (UTC), furnace, each channel in its unit, `<channel>_on_s`, `<channel>_fault`.
    """
    columns = sorted({name for span in days(spans) for name in _titles(read(*span))}, key=_order)
    schema = pa.schema([("time", TIME), ("furnace", pa.string()), *((name, _type(name)) for name in columns)])
    return Table(schema, (_rows(furnace, read(furnace, start, end), schema) for furnace, start, end in days(spans)))


def write(table: Table, target: Path) -> int:
    """Write a table to `target`, .csv or .parquet; returns how many rows there are. Raises UserError."""
    check_suffix(target)
    beside = target.with_name(f".{target.name}.{os.getpid()}{UNFINISHED}")
    n = 0
    try:
        with _writer(target.suffix, beside, table.schema) as writer:
            for piece in table.pieces:
                writer.write_table(piece)
                n += len(piece)
        os.replace(beside, target)
        sync_folder(target.absolute().parent)
    except OSError as error:
        why = os.strerror(error.errno) if error.errno else error
        raise UserError(f"{target}: cannot be written: {why}") from None
    finally:
        beside.unlink(missing_ok=True)
    return n


def check_suffix(target: Path) -> None:
    if target.suffix not in SUFFIXES:
        raise UserError(f"{target}: name it .csv or .parquet")


def stream(table: Table, suffix: str) -> Iterator[bytes]:
    """The bytes of the file that `write` would make, as they come."""
    sink = _Sink()
    with _writer(suffix, sink, table.schema) as writer:
        for piece in table.pieces:
            writer.write_table(piece)
            if data := sink.taken():
                yield data
    yield sink.taken()


class _Sink:
    """A file that is read while it is written, for pyarrow."""

    closed = False

    def __init__(self) -> None:
        self._parts: list[bytes] = []
        self._at = 0

    def write(self, data: Any) -> int:
        part = bytes(data)
        self._parts.append(part)
        self._at += len(part)
        return len(part)

    def taken(self) -> bytes:
        data = b"".join(self._parts)
        self._parts.clear()
        return data

    def tell(self) -> int:
        return self._at

    def flush(self) -> None:
        return

    def close(self) -> None:
        return


def _writer(suffix: str, sink: Path | _Sink, schema: pa.Schema) -> AbstractContextManager[Any]:
    where = pa.PythonFile(sink, mode="w") if isinstance(sink, _Sink) else sink
    writer: AbstractContextManager[Any] = (
        _CsvWriter(where, schema) if suffix == ".csv" else pa.parquet.ParquetWriter(where, schema, compression="zstd")
    )
    return writer


class _CsvWriter(pa.csv.CSVWriter):  # type: ignore[misc]  # pyarrow comes without types
    """A text that a spreadsheet would run as a formula gets an apostrophe in front (OWASP, CSV injection)."""

    def write_table(self, table: pa.Table) -> None:
        columns = [
            pc.replace_substring_regex(column, r"\A([=+\-@\t\r])", r"'\1")
            if pa.types.is_string(column.type)
            else column
            for column in table.columns
        ]
        super().write_table(pa.table(columns, schema=table.schema))


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


def _rows(furnace: str, rows: Rows, schema: pa.Schema) -> pa.Table:
    fault_times = np.unique(np.array([fault.t_ms for fault in rows.faults], np.int64))
    rows = merge([rows, Rows(fault_times, {}, {}, rows.faults)]) if len(fault_times) else rows
    n = len(rows)
    arrays = [pa.array(rows.t_ms, TIME), pa.array([furnace] * n, pa.string())]
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
