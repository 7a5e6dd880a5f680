"""Tables of readings: Parquet and CSV give the same rows."""

import gzip
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet
import pytest

from sootline.errors import UserError
from sootline.files import tables
from sootline.files.tables import Tables
from sootline.series import Rows, SensorFault, concatenate

T0 = datetime(2026, 1, 5, 9, tzinfo=UTC)
T0_MS = round(T0.timestamp() * 1000)


def _rows(paths: list[Path], furnace: str = "x") -> Rows:
    return concatenate(list(Tables(paths, "x").rows(furnace)))


def _csv(path: Path, text: str) -> Path:
    path.write_text(text)
    return path


def test_a_csv_as_a_person_would_write_it(tmp_path: Path) -> None:
    path = _csv(
        tmp_path / "a.csv",
        "time,tank,pump,float,stack_fault,note\n"
        "2026-01-05T09:00:00Z,60.5,0,true,,hello\n"
        "2026-01-05T09:00:05.250Z,,1,false,open,\n"
        "2026-01-05T09:00:10Z,61,,,short,\n",
    )
    found = Tables([path], "x")
    assert found.unknown == ("note",)
    rows = concatenate(list(found.rows("x")))
    assert (rows.t_ms - T0_MS).tolist() == [0, 5250, 10_000]
    np.testing.assert_array_equal(rows.values["tank"], [60.5, np.nan, 61])
    np.testing.assert_array_equal(rows.values["pump"], [0, 1, np.nan])
    np.testing.assert_array_equal(rows.values["float"], [1, 0, np.nan])
    assert rows.faults == (SensorFault(T0_MS + 5250, "stack", "open"), SensorFault(T0_MS + 10_000, "stack", "short"))


@pytest.mark.parametrize(
    "times",
    [
        ("2026-01-05T09:00:00Z", "2026-01-05T09:00:05Z"),
        ("2026-01-05 09:00:00", "2026-01-05 09:00:05"),
        ("2026-01-05 09:00:00.000", "2026-01-05 09:00:05.000"),
        ("2026-01-05T10:00:00+01:00", "2026-01-05T10:00:05+01:00"),
        ("2026-01-05T04:00:00-05:00", "2026-01-05T04:00:05-05:00"),
        ("1767603600", "1767603605"),
        ("1767603600.000", "1767603605.000"),
    ],
)
def test_times_may_be_written_in_any_usual_way(tmp_path: Path, times: tuple[str, str]) -> None:
    path = _csv(tmp_path / "a.csv", f"time,tank\n{times[0]},60\n{times[1]},61\n")
    assert (_rows([path]).t_ms - T0_MS).tolist() == [0, 5000]


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
@pytest.mark.parametrize("zone", [None, "UTC"])
def test_parquet_times_of_any_unit(tmp_path: Path, unit: str, zone: str | None) -> None:
    per_s = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9}[unit]
    times = pa.array([int(T0.timestamp()) * per_s, int(T0.timestamp() + 5) * per_s], pa.timestamp(unit, zone))
    pa.parquet.write_table(pa.table({"time": times, "tank": [60.0, 61.0]}), tmp_path / "a.parquet")
    assert (_rows([tmp_path / "a.parquet"]).t_ms - T0_MS).tolist() == [0, 5000]


def _season(n: int) -> pa.Table:
    generator = np.random.default_rng(7)
    tank: list[Any] = np.round(generator.uniform(20, 90, n), 2).tolist()
    pump: list[Any] = (generator.uniform(size=n) < 0.3).tolist()
    for i in range(0, n, 11):
        tank[i] = None
        pump[(i + 3) % n] = None
    times = pa.array([T0_MS + 5000 * i for i in range(n)], pa.timestamp("ms", "UTC"))
    return pa.table({"time": times, "tank": tank, "pump": pump})


def _same(a: Rows, b: Rows) -> None:
    assert a.t_ms.tolist() == b.t_ms.tolist() and a.faults == b.faults
    assert set(a.values) == set(b.values)
    for name in a.values:
        np.testing.assert_array_equal(a.values[name], b.values[name])


def test_every_form_split_and_order_of_a_table_gives_the_same_rows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = _season(5000)
    pa.parquet.write_table(table, tmp_path / "whole.parquet", row_group_size=700)
    expected = _rows([tmp_path / "whole.parquet"])
    assert len(expected) == 5000
    np.testing.assert_array_equal(expected.values["tank"], np.array(table["tank"].to_pylist(), dtype=float))
    np.testing.assert_array_equal(expected.values["pump"], np.array(table["pump"].to_pylist(), dtype=float))

    monkeypatch.setattr(tables, "CHUNK_ROWS", 333)
    _same(_rows([tmp_path / "whole.parquet"]), expected)

    pa.csv.write_csv(table, tmp_path / "whole.csv")
    _same(_rows([tmp_path / "whole.csv"]), expected)
    (tmp_path / "whole.csv.gz").write_bytes(gzip.compress((tmp_path / "whole.csv").read_bytes()))
    _same(_rows([tmp_path / "whole.csv.gz"]), expected)

    shuffled = table.take(np.random.default_rng(1).permutation(5000))
    pa.parquet.write_table(shuffled, tmp_path / "shuffled.parquet")
    _same(_rows([tmp_path / "shuffled.parquet"]), expected)

    pa.parquet.write_table(table.slice(0, 2000), tmp_path / "b.parquet")
    pa.parquet.write_table(table.slice(2000), tmp_path / "a.parquet")
    _same(_rows([tmp_path / "a.parquet", tmp_path / "b.parquet"]), expected)
    pa.parquet.write_table(table.slice(1500), tmp_path / "overlapping.parquet")
    _same(_rows([tmp_path / "overlapping.parquet", tmp_path / "b.parquet"]), expected)
    pa.parquet.write_table(table.select(["time", "tank"]), tmp_path / "tank.parquet")
    pa.parquet.write_table(table.select(["time", "pump"]), tmp_path / "pump.parquet")
    _same(_rows([tmp_path / "pump.parquet", tmp_path / "tank.parquet"]), expected)


def test_one_table_may_hold_several_furnaces(tmp_path: Path) -> None:
    path = _csv(
        tmp_path / "a.csv",
        "time,furnace,tank\n2026-01-05T09:00:00Z,a,60\n2026-01-05T09:00:00Z,b,70\n2026-01-05T09:00:05Z,a,61\n"
        "2026-01-05T09:00:10Z,,50\n",
    )
    found = Tables([path], "unnamed")
    assert found.furnaces == ("a", "b", "unnamed")
    assert concatenate(list(found.rows("a"))).values["tank"].tolist() == [60, 61]
    assert concatenate(list(found.rows("b"))).values["tank"].tolist() == [70]
    assert concatenate(list(found.rows("unnamed"))).values["tank"].tolist() == [50]


def test_absurd_numbers_become_range_faults(tmp_path: Path) -> None:
    times = pa.array([T0_MS, T0_MS + 5000], pa.timestamp("ms", "UTC"))
    table = pa.table({"time": times, "tank": [1e9, 60.0], "pump": [0.5, 1.0], "stack": [np.inf, np.nan]})
    pa.parquet.write_table(table, tmp_path / "a.parquet")
    rows = _rows([tmp_path / "a.parquet"])
    assert rows.faults == tuple(SensorFault(T0_MS, name, "range") for name in ("pump", "stack", "tank"))
    np.testing.assert_array_equal(rows.values["tank"], [np.nan, 60])
    np.testing.assert_array_equal(rows.values["pump"], [np.nan, 1])
    assert np.isnan(rows.values["stack"]).all()


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("tank,pump\n60,0\n", "no 'time' column"),
        ("time,colour\n2026-01-05T09:00:00Z,red\n", "no column is a channel"),
        ("time,tank\nyesterday,60\n", "cannot be read as a table"),
        ("time,tank\n2026-01-05T09:00:00Z,warm\n", "cannot be read as a table"),
        ("time,tank\n2026-01-05T09:00:00Z,60\n,61\n", "1 rows have no time"),
        ("", "cannot be read as a table"),
    ],
)
def test_a_table_that_cannot_be_used_is_one_clear_line(tmp_path: Path, text: str, word: str) -> None:
    path = _csv(tmp_path / "a.csv", text)
    with pytest.raises(UserError, match=word) as caught:
        _rows([path])
    assert str(path) in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize("name", ["none.csv", "none.parquet"])
def test_a_missing_or_damaged_file_is_one_clear_line(tmp_path: Path, name: str) -> None:
    with pytest.raises(UserError, match="cannot be read as a table"):
        _rows([tmp_path / name])
    (tmp_path / name).write_bytes(b"\x00\x01PAR1\xff")
    with pytest.raises(UserError):
        _rows([tmp_path / name])
