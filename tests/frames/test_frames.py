"""The store as pandas frames."""

import re
from pathlib import Path

import numpy as np
import pytest

import sootline
from sootline.errors import UserError
from sootline.events import Event
from sootline.series import SensorFault
from sootline.store import Store
from tests.store.making import DAY_MS, FURNACE, START_MS, day_packs, pack, put, rows
from tests.store.test_records import ALARM

pd = pytest.importorskip("pandas")


@pytest.fixture
def folder(tmp_path):
    with Store.open(tmp_path / "store") as store:
        put(store, *day_packs(2, every=720))
        put(store, pack(999, rows([0], (SensorFault(5, "stack", "crc"),), room=[18.5]), base_ms=START_MS + 2 * DAY_MS))
        store.compact(START_MS + 2 * DAY_MS)
        with store.batch() as batch:
            batch.events(
                put=[
                    Event(FURNACE, "refill", START_MS, START_MS + 9100, {"on_time_s": 9.0, "full": True}),
                    Event(FURNACE, "firing", START_MS + 10_000, START_MS + 90_000, {"rise_K": 290.5, "why": None}),
                ]
            )
            batch.alarms(put=[ALARM])
            batch.acknowledge(ALARM.key, "Ffion", START_MS + 60_000)
    return tmp_path / "store"


def test_readings_have_times_units_and_every_row(folder):
    with sootline.open(folder) as data:
        assert data.furnaces == [FURNACE]
        frame = data.readings(FURNACE)
    assert frame.index[0] == pd.Timestamp("2026-01-01T00:00:00Z")
    assert frame.index[1] == pd.Timestamp("2026-01-01T00:00:01.234Z")
    assert len(frame) == 2 * 48 + 1 and set(frame.columns) == {"tank", "pump", "room"}
    assert frame.attrs["units"] == {"tank": "Cel", "pump": "", "room": "Cel"}
    assert frame["tank"].dropna().iloc[0] == 60.0 and np.isnan(frame["pump"].iloc[0])


@pytest.mark.parametrize(
    "start", ["2026-01-02", "2026-01-02T00:00:00Z", pd.Timestamp("2026-01-02T01:00", tz="Europe/Paris")]
)
def test_a_range_is_half_open_and_channels_are_given_in_order(folder, start):
    with sootline.open(folder) as data:
        frame = data.readings(FURNACE, start, "2026-01-02T01:00", ["pump", "tank", "leak"])
    assert list(frame.columns) == ["pump", "tank", "leak"]
    assert frame.index.tolist() == [pd.Timestamp("2026-01-02T00:00Z"), pd.Timestamp("2026-01-02T00:00:01.234Z")]
    assert frame["leak"].isna().all()


def test_the_last_hours_end_with_the_newest_reading(folder):
    with sootline.open(folder) as data:
        every, last = data.readings(FURNACE), data.readings(FURNACE, last="12h")
        with pytest.raises(UserError, match="'a while' is no span of time"):
            data.readings(FURNACE, last="a while")
    assert last.index[-1] == every.index[-1] and 0 < len(last) < len(every)
    assert last.index[0] >= every.index[-1] - pd.Timedelta("12h")


def test_the_example_in_the_readme_runs_as_it_stands(tmp_path, monkeypatch):
    with Store.open(tmp_path / "sootline") as store:
        put(store, pack(0, rows([0, 5000], tank=[60.0, 61.0], nozzle=[85.0, 86.0], stack=[240.0, 241.0])))
    monkeypatch.setenv("HOME", str(tmp_path))
    example = re.search(r"```python\n(.*?)```", (Path(__file__).parents[2] / "README.md").read_text(), re.DOTALL)
    code, _, plot = example[1].partition(".dropna().plot(")
    assert plot.startswith('ylabel="°C")')
    said = {}
    exec(f"{code.replace('week[[', 'drawn = week[[')}", said)
    assert said["drawn"]["stack"].tolist() == [240.0, 241.0]


def test_faults_events_and_alarms(folder):
    with sootline.open(folder) as data:
        faults, events, alarms = data.faults(FURNACE), data.events(), data.alarms(FURNACE)
        refills = data.events(FURNACE, "refill")
        assert data.events("carriage-shop").empty and data.alarms("carriage-shop").empty
    assert faults.to_dict("records") == [{"channel": "stack", "fault": "crc"}]
    assert faults.index[0] == pd.Timestamp("2026-01-03T00:00:00.005Z")
    assert events["kind"].tolist() == ["refill", "firing"]
    assert events["end"].iloc[0] - events["start"].iloc[0] == pd.Timedelta("9.1s")
    assert events.attrs["units"]["rise_K"] == "K" and events.attrs["units"]["on_time_s"] == "s"
    assert len(refills) == 1 and refills["on_time_s"].iloc[0] == 9.0
    (alarm,) = alarms.to_dict("records")
    assert (alarm["alarm"], alarm["channel"], alarm["acknowledged_by"]) == ("preheat-slow", "tank", "Ffion")
    assert alarm["raised"] == pd.Timestamp("2026-01-01T00:00Z") and pd.isna(alarm["cleared"])
    assert alarm["detail"]["took_min"] == 31.5


def test_what_is_not_there_is_said(folder, tmp_path):
    with sootline.open(folder) as data:
        with pytest.raises(UserError, match="there is no furnace 'boiler'"):
            data.readings("boiler")
        with pytest.raises(UserError, match="there is no channel 'tonk'"):
            data.readings(FURNACE, channels=["tonk"])
    with pytest.raises(UserError, match="there is no store"):
        sootline.open(tmp_path / "typo")
