"""Tables: Parquet or CSV with a `time` column (UTC) and a column per channel, read in chunks that keep memory small.

Optional columns: `<channel>_fault` (the kind of fault, or empty) and `furnace`. On/off channels are booleans or 0/1.
A number outside its channel's plausible range becomes a range fault, as it does in a pack.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.parquet
from numpy.typing import NDArray

from sootline.channels import CHANNELS, FAULTS
from sootline.errors import UserError
from sootline.series import Floats, Rows, SensorFault, Times, merge

Mask = NDArray[np.bool_]

CHUNK_ROWS = 131_072
SUFFIXES = (".parquet", ".csv", ".csv.gz")
_CSV_BLOCK_BYTES = 16 * 2**20
_TRUE = ["1", "1.0", "true", "True", "TRUE"]
_FALSE = ["0", "0.0", "false", "False", "FALSE"]


def is_table(path: Path) -> bool:
    """Whether the name says that this is a table."""
    return path.name.lower().endswith(SUFFIXES)


@dataclass(frozen=True, slots=True)
class _Span:
    """What a first look at the times of one furnace in one file shows."""

    path: Path
    first_ms: int
    last_ms: int
    in_order: bool


class Tables:
    """The rows of several tables, as (furnace, rows) with the rows of each furnace in time order.

    unnamed: the furnace of tables that have no `furnace` column
    unknown: columns that are no channel, found on opening
    Raises UserError for a file that is missing, damaged or has no usable columns.
    """

    def __init__(self, paths: Sequence[Path], unnamed: str) -> None:
        self._unnamed = unnamed
        self._first: dict[str, Times] = {}
        spans: dict[str, list[_Span]] = {}
        unknown: dict[str, None] = {}
        for path in paths:
            names = _column_names(path)
            unknown.update(dict.fromkeys(name for name in names if not _usable(name)))
            for furnace, span in self._survey(path).items():
                spans.setdefault(furnace, []).append(span)
        self.unknown = tuple(unknown)
        self._spans = {
            furnace: sorted(found, key=lambda s: (s.first_ms, str(s.path))) for furnace, found in spans.items()
        }

    @property
    def furnaces(self) -> tuple[str, ...]:
        return tuple(sorted(self._spans))

    def first_times(self, furnace: str) -> Times:
        """Times of the first rows of a furnace, for their usual spacing."""
        return self._first[furnace]

    def rows(self, furnace: str) -> Iterator[Rows]:
        """The rows of one furnace, in chunks, strictly increasing in time across chunks."""
        spans = self._spans.get(furnace, [])
        chained = all(a.last_ms < b.first_ms for a, b in pairwise(spans))
        if chained and all(span.in_order for span in spans):
            for span in spans:
                yield from self._chunks(span.path, furnace)
            return
        everything = merge([rows for span in spans for rows in self._chunks(span.path, furnace)])
        edges = [*everything.t_ms[::CHUNK_ROWS].tolist(), everything.t_ms[-1] + 1]
        for start_ms, end_ms in pairwise(edges):
            yield everything.between(start_ms, end_ms)

    def _survey(self, path: Path) -> dict[str, _Span]:
        spans: dict[str, _Span] = {}
        for batch in _batches(path, times_only=True):
            t_ms = _times_ms(batch, path)
            for furnace, chosen in _by_furnace(batch, self._unnamed):
                times = t_ms if chosen is None else t_ms[chosen]
                if not len(times):
                    continue
                if furnace not in self._first:
                    self._first[furnace] = np.sort(times)
                in_order = bool((np.diff(times) > 0).all())
                first, last = int(times.min()), int(times.max())
                before = spans.get(furnace)
                if before is not None:
                    in_order = in_order and before.in_order and before.last_ms < first
                    first, last = min(first, before.first_ms), max(last, before.last_ms)
                spans[furnace] = _Span(path, first, last, in_order)
        return spans

    def _chunks(self, path: Path, furnace: str) -> Iterator[Rows]:
        """Chunks as they stand in the file; a chunk out of order is put in order by itself."""
        for batch in _batches(path, times_only=False):
            t_ms = _times_ms(batch, path)
            for name, chosen in _by_furnace(batch, self._unnamed):
                if name != furnace:
                    continue
                part = batch if chosen is None else batch.filter(pa.array(chosen))
                rows = _to_rows(part, t_ms if chosen is None else t_ms[chosen])
                if len(rows):
                    yield rows if (np.diff(rows.t_ms) > 0).all() else merge([rows])


def _usable(name: str) -> bool:
    return name in ("time", "furnace") or name in CHANNELS or name.removesuffix("_fault") in CHANNELS


def _is_parquet(path: Path) -> bool:
    return path.name.lower().endswith(".parquet")


def _column_names(path: Path) -> list[str]:
    try:
        if _is_parquet(path):
            names = list(pa.parquet.read_schema(path).names)
        else:
            names = list(_open_csv(path, {}, None).schema.names)
    except (OSError, pa.ArrowException) as error:
        raise UserError(f"{path}: cannot be read as a table: {_first_line(error)}") from None
    if "time" not in names:
        raise UserError(f"{path}: has no 'time' column; columns are {', '.join(names[:8])}")
    if not any(name in CHANNELS for name in names):
        raise UserError(f"{path}: no column is a channel; columns are {', '.join(names[:8])}")
    return names


def _first_line(error: Exception) -> str:
    """What a library complains of, without what it may quote from a file that is no text."""
    text = (str(error).splitlines() or [type(error).__name__])[0]
    return "".join(c for c in text if c.isprintable())[:200]


def _batches(path: Path, *, times_only: bool) -> Iterator[pa.RecordBatch]:
    names = [name for name in _column_names(path) if _usable(name)]
    if times_only:
        names = [name for name in names if name in ("time", "furnace")]
    try:
        if _is_parquet(path):
            with pa.parquet.ParquetFile(path) as file:
                yield from file.iter_batches(CHUNK_ROWS, columns=names, use_threads=False)
        else:
            yield from _open_csv(path, _csv_types(path, names), names)
    except (OSError, pa.ArrowException) as error:
        raise UserError(f"{path}: cannot be read as a table: {_first_line(error)}") from None


def _open_csv(path: Path, types: Mapping[str, pa.DataType], names: list[str] | None) -> Any:
    options = pa.csv.ConvertOptions(column_types=types, include_columns=names, true_values=_TRUE, false_values=_FALSE)
    read = pa.csv.ReadOptions(block_size=_CSV_BLOCK_BYTES)
    return pa.csv.open_csv(pa.input_stream(str(path)), read_options=read, convert_options=options)


def _csv_types(path: Path, names: Sequence[str]) -> dict[str, pa.DataType]:
    """Column types by name, not by what the first rows happen to hold; only the form of the time is looked at."""
    first = next(iter(_open_csv(path, {"time": pa.string()}, ["time"])))
    time = next((str(text) for text in first.column(0).to_pylist() if text), "")
    types: dict[str, pa.DataType] = {"furnace": pa.string()}
    if time.replace(".", "", 1).isdigit():
        types["time"] = pa.float64()
    else:
        zoned = time.endswith("Z") or "+" in time[10:] or "-" in time[10:]
        types["time"] = pa.timestamp("us", "UTC") if zoned else pa.timestamp("us")
    for name in names:
        if name in CHANNELS:
            types[name] = pa.bool_() if CHANNELS[name].kind == "state" else pa.float64()
        elif name.endswith("_fault"):
            types[name] = pa.string()
    return types


def _times_ms(batch: pa.RecordBatch, path: Path) -> Times:
    """Times as Unix milliseconds; a number is taken as Unix seconds."""
    column = batch.column(batch.schema.get_field_index("time"))
    if column.null_count:
        raise UserError(f"{path}: {column.null_count} rows have no time; fill them in or leave the rows out")
    if pa.types.is_timestamp(column.type) and column.type.unit == "ms":
        return _numbers(column, np.dtype(np.int64))
    if pa.types.is_timestamp(column.type):
        micro = column.cast(pa.timestamp("us", column.type.tz), safe=False).cast(pa.int64())
        return (_numbers(micro, np.dtype(np.int64)) + 500) // 1000
    if pa.types.is_floating(column.type) or pa.types.is_integer(column.type):
        return np.rint(_floats(column) * 1000).astype(np.int64)
    raise UserError(f"{path}: 'time' must be timestamps in UTC or Unix seconds, not {column.type}")


def _by_furnace(batch: pa.RecordBatch, unnamed: str) -> Iterator[tuple[str, Mask | None]]:
    """(furnace, which rows); None is all of them."""
    index = batch.schema.get_field_index("furnace")
    if index < 0:
        yield unnamed, None
        return
    column = batch.column(index).cast(pa.string())
    names = pc.unique(column).to_pylist()
    for name in names:
        if len(names) == 1:
            yield name or unnamed, None
        else:
            mask = pc.equal(column, name) if name is not None else pc.is_null(column)
            yield name or unnamed, np.asarray(pc.fill_null(mask, False))


def _to_rows(batch: pa.RecordBatch, t_ms: Times) -> Rows:
    values: dict[str, Floats] = {}
    faults: list[SensorFault] = []
    for name, column in zip(batch.schema.names, batch.columns, strict=True):
        if name in CHANNELS:
            reading = _floats(column)
            absurd = np.flatnonzero(_absurd(name, reading)) if not pa.types.is_boolean(column.type) else ()
            if len(absurd):
                faults.extend(SensorFault(int(t), name, "range") for t in t_ms[absurd])
                reading = reading.copy()
                reading[absurd] = np.nan
            values[name] = reading
        elif name.endswith("_fault") and column.null_count < len(column):
            kinds = column.cast(pa.string())
            for i in np.flatnonzero(np.asarray(pc.fill_null(pc.is_in(kinds, pa.array(FAULTS)), False))).tolist():
                faults.append(SensorFault(int(t_ms[i]), name.removesuffix("_fault"), kinds[i].as_py()))
    return Rows(t_ms, values, {}, tuple(sorted(faults)))


def _floats(column: pa.Array) -> Floats:
    if pa.types.is_boolean(column.type):
        column = column.cast(pa.uint8())
    column = column.cast(pa.float64())
    return _numbers(column.fill_null(math.nan) if column.null_count else column, np.dtype(np.float64))


def _numbers(column: pa.Array, kind: np.dtype[Any]) -> NDArray[Any]:
    """A column without nulls, as it lies in memory; pyarrow's own way would load pandas for it."""
    if not len(column):
        return np.empty(0, kind)
    return np.frombuffer(column.buffers()[1], kind)[column.offset : column.offset + len(column)]


def _absurd(name: str, reading: Floats) -> Mask:
    channel = CHANNELS[name]
    if channel.kind == "state":
        return ~(np.isin(reading, (0.0, 1.0)) | np.isnan(reading))
    absurd: Mask = (reading < channel.low) | (reading > channel.high)
    return absurd
