"""A sealed day as a Parquet file, which is at the same time a table that any tool can read; described in LAYOUT.md."""

import json
from collections.abc import Collection, Mapping
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from sootline.channels import CHANNELS, FAULTS
from sootline.errors import StoreDamaged
from sootline.series import Floats, Times
from sootline.store.block import FAULT, NO_ORIGIN, SUM, Block, wanted

LAYOUT = 1
MAX_DIGITS = 6  # decimals tried before a column is kept as binary floating point
_TIME = pa.timestamp("ms", "UTC")
_ORIGIN = ("received", "boot", "seq")
_DELTA, _SPLIT = "DELTA_BINARY_PACKED", "BYTE_STREAM_SPLIT"
_LEVELS = {_DELTA: 9, _SPLIT: 15}  # zstd level with each encoding of numbers


class FileMissing(StoreDamaged):
    """A file that a part names is not there: it was replaced a moment ago, or somebody removed it."""


def column_title(name: str) -> str:
    """The name in the file of a block column: `pump`, `pump_on_s`, `tank_fault`."""
    if name.endswith(FAULT):
        return name.removesuffix(FAULT) + "_fault"
    return name.removesuffix(SUM) + "_on_s" if name.endswith(SUM) else name


def column_name(title: str) -> str:
    """The block column of a name in the file."""
    for ending, suffix in (("_fault", FAULT), ("_on_s", SUM)):
        channel = title.removesuffix(ending)
        if channel != title and channel in CHANNELS:
            return channel + suffix
    return title


def encode(furnace: str, block: Block, boot_names: Mapping[int, str]) -> bytes:
    """The file of a day's rows, which must be sorted by time."""
    columns: dict[str, pa.Array] = {"time": pa.array(block.t_ms, _TIME)}
    encodings: dict[str, str | None] = {"time": _DELTA, "received": _DELTA, "seq": _DELTA}
    for name in sorted(block.columns, key=_file_order):
        title = column_title(name)
        columns[title] = array = _array(name, block.columns[name])
        encodings[title] = _encoding(array)
    columns["received"] = pa.array(block.received_ms, _TIME)
    columns["boot"] = _texts(block.boot, boot_names)
    columns["seq"] = pa.array(block.seq)
    about = {"layout": LAYOUT, "furnace": furnace, "units": _units(columns)}
    chosen = {title: encoding for title, encoding in encodings.items() if encoding}
    return _write(pa.table(columns), chosen, {"sootline": json.dumps(about)})


def _file_order(name: str) -> tuple[bool, bool, int]:
    channel = name.removesuffix(FAULT).removesuffix(SUM)
    return name.endswith(FAULT), name.endswith(SUM), list(CHANNELS).index(channel)


def _units(columns: Collection[str]) -> dict[str, str]:
    units = {title: CHANNELS[title].unit for title in columns if title in CHANNELS}
    return units | {title: "s" for title in columns if title.endswith("_on_s")}


def _array(name: str, column: Floats) -> pa.Array:
    none = np.isnan(column)
    if name.endswith(FAULT):
        kinds = pa.array(np.where(none, 0, column).astype(np.int8), mask=none)
        return pa.DictionaryArray.from_arrays(kinds, pa.array(FAULTS)).cast(pa.string())
    filled = np.where(none, 0.0, column)
    if name in CHANNELS and CHANNELS[name].kind == "state" and np.isin(filled, (0.0, 1.0)).all():
        return pa.array(filled.astype(bool), mask=none)
    for digits in range(MAX_DIGITS + 1):
        whole = np.rint(filled * 10**digits)
        if np.abs(whole).max(initial=0) >= 2**53:
            break
        if ((whole + 0.0) / 10**digits == filled).all():
            return _decimals(whole.astype(np.int64), digits, none)
    return pa.array(column, mask=none)


def _decimals(whole: Times, digits: int, none: np.ndarray) -> pa.Array:
    """Whole numbers as decimals with `digits` places; Parquet keeps them as scaled 32- or 64-bit integers."""
    words = np.empty((len(whole), 2), np.int64)
    words[:, 0], words[:, 1] = whole, whole >> 63
    precision = 9 if np.abs(whole).max(initial=0) < 10**9 else 18
    valid = pa.array(~none).buffers()[1] if none.any() else None
    return pa.Array.from_buffers(pa.decimal128(precision, digits), len(whole), [valid, pa.py_buffer(words)])


def _encoding(array: pa.Array) -> str | None:
    """The encoding that makes an array smallest, or None for the usual one."""
    if pa.types.is_boolean(array.type):
        return "RLE"
    if pa.types.is_floating(array.type):
        return _SPLIT
    if not pa.types.is_decimal(array.type):
        return None
    sizes = {}
    for encoding in (_DELTA, _SPLIT):
        metadata = pq.read_metadata(pa.BufferReader(_write(pa.table({"x": array}), {"x": encoding})))
        sizes[encoding] = metadata.row_group(0).column(0).total_compressed_size
    return min(sizes, key=lambda encoding: sizes[encoding])


def _texts(numbers: Times, names: Mapping[int, str]) -> pa.Array:
    distinct, index = np.unique(numbers, return_inverse=True)
    return pa.DictionaryArray.from_arrays(pa.array(index), pa.array([names[n] for n in distinct.tolist()])).cast(
        pa.string()
    )


def _write(table: pa.Table, encodings: Mapping[str, str], about: Mapping[str, str] | None = None) -> bytes:
    sink = pa.BufferOutputStream()
    with pq.ParquetWriter(
        sink,
        table.schema,
        data_page_size=1 << 22,
        compression="zstd",
        compression_level={title: _LEVELS.get(encodings.get(title, ""), 9) for title in table.column_names},
        use_dictionary=[title for title in table.column_names if title not in encodings],
        column_encoding=dict(encodings),
        store_decimal_as_integer=True,
        write_page_checksum=True,
        store_schema=False,
    ) as writer:
        writer.write_table(table, row_group_size=max(1, len(table)))
        if about is not None:
            writer.add_key_value_metadata(dict(about))
    return bytes(sink.getvalue())


def decode(
    path: Path, channels: Collection[str] | None, boots: Mapping[str, int] | None = None, check: bool = False
) -> Block:
    """The rows of a file, without origin unless `boots` (name -> number) is given.

    check: also compare the checksum of every page
    Raises FileMissing, StoreDamaged.
    """
    try:
        with pq.ParquetFile(path, page_checksum_verification=check) as file:
            titles = [t for t in file.schema_arrow.names if t != "time" and t not in _ORIGIN]
            titles = [t for t in titles if wanted(column_name(t), channels)]
            origin = () if boots is None else _ORIGIN
            table = file.read(["time", *titles, *origin], use_threads=False)
        t_ms = _whole(table["time"])
        columns = {column_name(title): _floats(table[title]) for title in titles}
        if boots is None:
            return Block(t_ms, NO_ORIGIN, NO_ORIGIN, NO_ORIGIN, columns)
        boot = _numbers(table["boot"], boots)
        return Block(t_ms, boot, _whole(table["seq"]), _whole(table["received"]), columns)
    except FileNotFoundError as error:
        raise FileMissing(f"{path} is missing; put back its copy from a backup") from error
    except (pa.ArrowException, OSError, KeyError) as error:
        raise StoreDamaged(f"{path} is damaged ({_first_line(error)}); put back its copy from a backup") from error


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]


def _one(column: pa.ChunkedArray) -> pa.Array:
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()


def _whole(column: pa.ChunkedArray) -> Times:
    return np.asarray(_one(column).view(pa.int64()))


def _floats(column: pa.ChunkedArray) -> Floats:
    array = _one(column)
    if pa.types.is_string(array.type):
        array = pc.index_in(array, pa.array(FAULTS))
    if not pa.types.is_decimal(array.type):
        return np.array(array.cast(pa.float64()).to_numpy(zero_copy_only=False))
    words = np.frombuffer(array.buffers()[1], np.int64)[::2][array.offset : array.offset + len(array)]
    floats = words / 10**array.type.scale if array.type.scale else words.astype(np.float64)
    if array.null_count:
        floats[~np.asarray(array.is_valid())] = np.nan
    return floats


def _numbers(column: pa.ChunkedArray, numbers: Mapping[str, int]) -> Times:
    names = column.unique().to_pylist()
    index = np.asarray(pc.index_in(_one(column), pa.array(names, pa.string())))
    found: Times = np.array([numbers[name] for name in names], np.int64)[index]
    return found


def boot_names(path: Path) -> list[str]:
    """The boots whose rows a file holds."""
    with pq.ParquetFile(path) as file:
        return [str(name) for name in file.read(["boot"])["boot"].unique().to_pylist()]
