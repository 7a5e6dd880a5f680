"""Write samples as a table: Parquet or CSV, the columns of the recording contract."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from tests.records.sensors import SWITCHED, Samples


def as_table(samples: Samples, start_ms: int, furnace: str, style: int) -> pa.Table:
    """One row a sample. ``style`` varies what owners' tables vary in: booleans or 0/1, a furnace column or not."""
    stamps = start_ms + np.round(samples.t * 1000.0).astype(np.int64)
    columns: dict[str, pa.Array] = {"time": pa.array(stamps, type=pa.timestamp("ms", tz="UTC"))}
    for name, x in samples.values.items():
        empty = np.isnan(x)
        if name in SWITCHED:
            if style % 2:
                columns[name] = pa.array(x > 0.5, mask=empty)
            else:
                columns[name] = pa.array(np.nan_to_num(x).astype(np.int8), mask=empty)
        else:
            columns[name] = pa.array(np.round(x, 4), mask=empty)
    for name, words in samples.faults.items():
        if words:
            column: list[str | None] = [None] * len(samples.t)
            for first, last, word in words:
                column[first:last] = [word] * (last - first)
            columns[f"{name}_fault"] = pa.array(column, type=pa.string())
    if style % 3 == 0:
        columns["furnace"] = pa.array([furnace] * len(samples.t)).dictionary_encode().cast(pa.string())
    return pa.table(columns)


def write_table(table: pa.Table, path: Path) -> None:
    """Write by the ending of ``path``: ``.parquet`` or ``.csv``."""
    if path.suffix == ".parquet":
        pq.write_table(table, path, compression="zstd")
        return
    stamp = pa.compute.strftime(table["time"], format="%Y-%m-%dT%H:%M:%SZ")
    pacsv.write_csv(table.set_column(0, "time", stamp), path)
