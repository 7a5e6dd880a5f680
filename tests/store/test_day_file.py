"""Day files by themselves: exact numbers, and any other tool can read them."""

import json

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sootline.files.tables import Tables
from sootline.series import SensorFault
from sootline.store import day_file, parts
from sootline.store.block import Block
from tests.store import season
from tests.store.making import DAY_MS, FURNACE, START_MS, pack, put, rows

decimals = st.integers(0, 6).flatmap(lambda d: st.integers(-(10**8), 10**8).map(lambda i: float(f"{i}e-{d}")))
anything = st.floats(allow_nan=True, allow_infinity=False)
columns = st.one_of(
    st.lists(st.one_of(decimals, st.just(float("nan"))), min_size=1, max_size=30),
    st.lists(anything, min_size=1, max_size=30),
    st.lists(st.sampled_from((0.0, 1.0, float("nan"))), min_size=1, max_size=30),
)


@settings(max_examples=150, deadline=None)
@given(column=columns, name=st.sampled_from(("tank", "pump", "pump.s")))
def test_every_number_comes_back_to_the_bit(tmp_path_factory, column, name):
    column = np.array(column) + 0.0
    n = len(column)
    block = Block(
        START_MS + np.arange(n) * 5000, np.full(n, 3), np.arange(n), START_MS + np.arange(n) ** 2, {name: column}
    )
    path = tmp_path_factory.mktemp("day") / "x.parquet"
    path.write_bytes(day_file.encode(FURNACE, block, {3: "b1"}))
    read = day_file.decode(path, None, {"b1": 3})
    assert read.columns[name].tobytes() == np.where(np.isnan(column), np.nan, column).tobytes()
    for field in ("t_ms", "boot", "seq", "received_ms"):
        assert getattr(read, field).tolist() == getattr(block, field).tolist()


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        ([60.1, 60.25, np.nan], "decimal128(9, 2)"),
        ([101325.0, -20000.0, 5.0], "decimal128(9, 0)"),
        ([1234567.123, 0.5, np.nan], "decimal128(18, 3)"),
        ([1 / 3, 60.1, np.nan], "double"),
        ([1e-12, 60.1, np.nan], "double"),
    ],
)
def test_each_column_takes_the_smallest_exact_form(store, values, kind):
    put(store, pack(0, rows([0, 1, 2], tank=values)))
    store.compact(START_MS + 3 * DAY_MS)
    assert str(pq.read_schema(store.folder / parts.DAYS / FURNACE / "2026-01-01.parquet").field("tank").type) == kind


@pytest.fixture
def two_days(store):
    """Two days whose columns and decimals differ, with a fault, an edge row and a column that only one day has."""
    first = rows([0, 5000, 6250], tank=[60.1, 60.2, np.nan], pump=[0.0, 0.0, 1.0], pump_s=[np.nan, np.nan, 12.5])
    second = rows([0, 5000], (SensorFault(5000, "stack", "open"),), tank=[60.25, np.nan], stack=[180.0, np.nan])
    put(store, pack(0, first, base_ms=START_MS), pack(1, second, base_ms=START_MS + DAY_MS))
    store.compact(START_MS + 4 * DAY_MS)
    return store.folder / parts.DAYS / FURNACE


def test_pandas_reads_a_day(two_days):
    pandas = pytest.importorskip("pandas")
    day = pandas.read_parquet(two_days / "2026-01-01.parquet")
    assert list(day.columns) == ["time", "tank", "pump", "pump_on_s", "received", "boot", "seq"]
    assert day["time"].iloc[0] == pandas.Timestamp("2026-01-01T00:00:00Z")
    assert day["time"].iloc[2] == pandas.Timestamp("2026-01-01T00:00:06.250Z")
    assert day["tank"].astype(float).tolist()[:2] == [60.1, 60.2] and day["tank"].isna().tolist() == [
        False,
        False,
        True,
    ]
    assert day["pump"].tolist() == [False, False, True]
    both = pandas.concat(pandas.read_parquet(file) for file in sorted(two_days.glob("*.parquet")))
    assert both["tank"].astype(float).dropna().tolist() == [60.1, 60.2, 60.25]
    assert both["stack_fault"].dropna().tolist() == ["open"]


def test_duckdb_reads_all_days(two_days):
    duckdb = pytest.importorskip("duckdb")
    with duckdb.connect() as db:
        told = db.execute(
            "SELECT epoch_ms(time), tank::DOUBLE, pump, stack_fault, boot, seq"
            f" FROM read_parquet('{two_days}/*.parquet', union_by_name = true) ORDER BY time"
        ).fetchall()
    assert told == [
        (START_MS, 60.1, False, None, "b1", 0),
        (START_MS + 5000, 60.2, False, None, "b1", 0),
        (START_MS + 6250, None, True, None, "b1", 0),
        (START_MS + DAY_MS, 60.25, None, None, "b1", 1),
        (START_MS + DAY_MS + 5000, None, None, "open", "b1", 1),
    ]


@pytest.mark.parametrize("grain", [0.1, None])
def test_other_tools_read_a_real_day_exactly(tmp_path, grain):
    """All encodings that real sensors lead to, read by pandas and by DuckDB's own Parquet reader."""
    pandas, duckdb = pytest.importorskip("pandas"), pytest.importorskip("duckdb")
    (day,) = season.days(1, grain=grain)
    n = len(day)
    block = Block(day.t_ms, np.full(n, 3), np.arange(n), season.arrivals(day.t_ms), day.values)
    path = tmp_path / "day.parquet"
    path.write_bytes(day_file.encode(FURNACE, block, {3: "b1"}))
    used = {e for c in range(14) for e in pq.read_metadata(path).row_group(0).column(c).encodings}
    assert used >= {"DELTA_BINARY_PACKED", "BYTE_STREAM_SPLIT"}
    frame = pandas.read_parquet(path)
    with duckdb.connect() as db:
        columns = db.execute(f"SELECT * FROM '{path}'").fetchnumpy()
    for name, column in day.values.items():
        assert frame[name].astype(float).tolist() == column.tolist()
        assert columns[name].astype(float).tolist() == column.tolist()
    assert (columns["seq"] == np.arange(n)).all()


def test_the_file_says_what_it_is(two_days):
    about = json.loads(pq.read_schema(two_days / "2026-01-02.parquet").metadata[b"sootline"])
    assert about == {"layout": 1, "furnace": FURNACE, "units": {"tank": "Cel", "stack": "Cel"}}


def test_the_file_is_a_table_for_replay(two_days):
    tables = Tables([two_days / "2026-01-02.parquet"], FURNACE)
    (chunk,) = tables.rows(FURNACE)
    assert chunk.values["tank"][0] == 60.25 and chunk.values["stack"][0] == 180.0
    assert chunk.faults == (SensorFault(START_MS + DAY_MS + 5000, "stack", "open"),)
