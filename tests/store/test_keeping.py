"""Retention, sizes, export, backup, and the command that reaches them."""

import csv
import dataclasses
import json
import shutil
import threading
from contextlib import closing
from datetime import date

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from sootline import cli
from sootline.advice.tables import TABLES, Ask
from sootline.events import Event
from sootline.files import commissioning
from sootline.files.tables import Tables
from sootline.logbook import Answer, Search
from sootline.messages.message import Message
from sootline.people.people import People
from sootline.series import SensorFault
from sootline.store import Store, parts, schema, sealing
from sootline.store.exporting import Table, stream, write
from sootline.store.sealing import Retention
from tests.heat.history import Past
from tests.store.making import ALL, DAY_MS, FURNACE, START_MS, day_packs, pack, put, rows, said
from tests.store.test_records import ALARM
from tests.store.writing_child import numbered

OTHER = "carriage-shop"
PROBE = {"insertion_mm": 80, "distances": "300 / 150 mm", "serial": "K-17", "photo": "flue.jpg"}


@pytest.fixture
def ten_days(store):
    put(store, *day_packs(10), *day_packs(2, furnace=OTHER))
    with store.batch() as batch:
        for day in range(10):
            t_ms = START_MS + day * DAY_MS
            batch.events(put=[Event(FURNACE, "refill", t_ms, t_ms + 9000)])
            batch.alarms(put=[dataclasses.replace(ALARM, raised_ms=t_ms, cleared_ms=t_ms + 5 if day else None)])
            batch.acknowledge((*ALARM.key[:3], t_ms), "Ffion", t_ms + 1)
            batch.announce(FURNACE, t_ms, {"online": day % 2 == 0})
    store.compact(START_MS + 11 * DAY_MS)
    return store


def days_left(store, furnace=FURNACE):
    return sorted({int(t - START_MS) // DAY_MS for t in store.read(furnace, *ALL).t_ms})


def test_by_default_everything_is_kept_for_ten_years(ten_days):
    assert ten_days.retention() == Retention(raw_days=3653.0, hourly_days=None, event_days=None)
    ten_days.compact(START_MS + 3653 * DAY_MS)
    assert days_left(ten_days) == list(range(10))
    assert len(ten_days.hours(FURNACE, "tank", *ALL)[0]) == 240
    assert ten_days.compact(START_MS + 3655 * DAY_MS).parts_dropped == 2 + 2
    assert days_left(ten_days) == list(range(2, 10)) and days_left(ten_days, OTHER) == []
    assert len(list((ten_days.folder / parts.DAYS).glob("*/*"))) == 8
    assert len(ten_days.hours(FURNACE, "tank", *ALL)[0]) == 240
    assert len(ten_days.events()) == 10


def test_each_kind_has_its_own_age(ten_days):
    ten_days.set_retention(Retention(raw_days=4, hourly_days=6, event_days=2.5))
    ten_days.compact(START_MS + 11 * DAY_MS)
    assert days_left(ten_days) == [7, 8, 9]
    assert ten_days.hours(FURNACE, "tank", *ALL)[0].min() == START_MS + 5 * DAY_MS
    assert [event.start_ms for event in ten_days.events()] == [START_MS + 9 * DAY_MS]
    # an alarm that still stands stays, whatever its age, and so does what was done about it
    assert [alarm.raised_ms for alarm in ten_days.alarms()] == [START_MS, START_MS + 9 * DAY_MS]
    assert [key[3] for key in ten_days.acknowledgements()] == [START_MS, START_MS + 9 * DAY_MS]
    assert [t for t, _ in ten_days.announced(FURNACE)] == [START_MS + 9 * DAY_MS]
    assert put(ten_days, *day_packs(1)) == [False] * 288, "what was dropped for age must not come back"


def test_the_overview_outlives_the_readings(ten_days):
    before = ten_days.overview(FURNACE, "tank", START_MS, START_MS + 10 * DAY_MS, 10)
    ten_days.set_retention(Retention(raw_days=1))
    ten_days.compact(START_MS + 30 * DAY_MS)
    after = ten_days.overview(FURNACE, "tank", START_MS, START_MS + 10 * DAY_MS, 10)
    assert days_left(ten_days) == []
    assert [column.tolist() for column in after] == [column.tolist() for column in before]


def test_status_tells_size_and_forecast(ten_days, capsys):
    put(ten_days, pack(10**6, base_ms=START_MS + 20 * DAY_MS))
    assert cli.main(["store", "status", "--data", str(ten_days.folder), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    one = next(f for f in told["furnaces"] if f["furnace"] == FURNACE)
    on_disk = sum(path.stat().st_size for path in (ten_days.folder / parts.DAYS / FURNACE).iterdir())
    assert (one["days"], one["rows"], one["waiting"], one["day_bytes"]) == (10, 10 * 288 * 2 + 1, 1, on_disk)
    assert one["forecast_bytes"] == pytest.approx(on_disk / 10 * 3653)
    assert cli.main(["store", "status", "--data", str(ten_days.folder)]) == 0
    text = capsys.readouterr().out
    assert "engine-shed: 2026-01-01 to 2026-01-21, 5,761 rows" in text and "in the 10 years kept" in text
    assert "kept: readings 3653 days, hourly figures for ever, events for ever" in text


def test_compact_sets_how_long_to_keep(ten_days, capsys):
    arguments = ["store", "compact", "--data", str(ten_days.folder), "--keep-raw-days", "all", "--keep-event-days"]
    assert cli.main([*arguments, "40"]) == 0
    assert ten_days.retention() == Retention(raw_days=None, event_days=40.0)
    assert cli.main([*arguments, "none"]) == 2
    assert "write 1 or more, or 'all'" in capsys.readouterr().err


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_export_is_a_table_that_holds_everything(store, tmp_path, ending):
    content = rows(
        [0, 5000], (SensorFault(6000, "stack", "open"),), tank=[60.25, 1 / 3], pump=[0.0, 1.0], pump_s=[1.5, 2.5]
    )
    put(store, pack(0, content), pack(1, rows([0], leak=[1.0]), base_ms=START_MS + 3 * DAY_MS))
    put(store, pack(0, rows([0], room=[5.5]), furnace=OTHER))
    store.compact(START_MS + 2 * DAY_MS)
    path = tmp_path / f"all{ending}"
    assert cli.main(["store", "export", "--data", str(store.folder), str(path)]) == 0
    tables = Tables([path], "none")
    assert tables.furnaces == (OTHER, FURNACE)
    for furnace in tables.furnaces:
        told = {key: value for chunk in tables.rows(furnace) for key, value in said(chunk).items()}
        kept = {key: value for key, value in said(store.read(furnace, *ALL)).items() if key[1] != "on_s"}
        assert told == kept
    if ending == ".parquet":
        assert pq.read_table(path)["pump_on_s"].to_pylist() == [None, 1.5, 2.5, None, None]


def test_export_chooses_furnace_and_time(ten_days, tmp_path, capsys):
    path = tmp_path / "two.parquet"
    arguments = ["store", "export", "--data", str(ten_days.folder), str(path), "--furnace"]
    assert cli.main([*arguments, FURNACE, "--from", "2026-01-03", "--to", "2026-01-04T00:00:00Z"]) == 0
    assert len(pq.read_table(path)) == 576
    for wrong, said_of_it in (("boiler", "there is no furnace 'boiler'"), (FURNACE, "'soon' is no time")):
        assert cli.main([*arguments, wrong, "--from", "2026-01-03" if wrong == "boiler" else "soon"]) == 2
        assert said_of_it in capsys.readouterr().err
    assert cli.main(["store", "export", "--data", str(ten_days.folder), "x.txt"]) == 2


def test_export_of_everything_holds_what_there_is_besides_readings(tmp_path, capsys):
    data, out = tmp_path / "data", tmp_path / "out"
    past = Past(data)
    past.burn(38)
    here = ["--data", str(data)]
    assert cli.main(["cleaning", past.furnace, "--predict", *here]) == 0
    past.log("cleaning")
    oil = ["--source", "own", "--kind", "vg-46", "--volume", "60", "--test", "lead=40"]
    assert cli.main(["batch", "add", *oil, *here]) == 0
    commissioning.add(data, past.furnace, "probe_geometry", date(2026, 1, 4), "Maud", PROBE, "stack")
    with Store.open(data) as store, store.batch() as batch:
        batch.alarms(put=[ALARM])
        told = Answer("chamber", "dry", "Pim", START_MS, "Look in the chamber", "No oil lies there")
        batch.search(Search("a" * 32, past.furnace, "lockout", None, None, START_MS, "Pim", {}, (told,)))
        batch.messages([Message("ABCDEFG", "Maud", "weekly", START_MS, START_MS, "Weekly note", "All is told.")])
    assert cli.main(["store", "export", str(out), "--what", "everything", *here]) == 0
    tables = {path.stem: pq.read_table(path).to_pylist() for path in out.iterdir()}
    assert set(tables) == set(TABLES) and all(tables.values())
    refill = next(row for row in tables["events"] if row["kind"] == "refill")
    assert refill["on_time_s"] == 10.7 and refill["stalled"] is False and refill["residual_K"] is None
    assert len(tables["events"]) == 38 * 4 * (2 + 18)
    (alarm,) = tables["alarms"]
    assert (alarm["alarm"], json.loads(alarm["detail"])) == (ALARM.alarm, dict(ALARM.detail))
    assert alarm["raised"].timestamp() * 1000 == ALARM.raised_ms
    assert [row["kind"] for row in tables["log"]] == ["cleaning"]
    assert [row["answers"] for row in tables["searches"]] == ["Look in the chamber: No oil lies there"]
    assert (tables["oil"][0]["volume_l"], tables["oil"][0]["lead_ppm"]) == (60.0, 40.0)
    assert tables["predictions"][0]["predicted_K"] > 40 and tables["predictions"][0]["cleaned"] is None
    assert json.loads(tables["commissioning"][0]["values"]) == PROBE
    for name in TABLES:
        path = tmp_path / f"{name}.csv"
        assert cli.main(["store", "export", str(path), "--what", name, *here]) == 0
        assert path.read_text().count("\n") >= len(tables[name]) + 1
    assert cli.main(["store", "export", str(out), "--what", "everything", *here]) == 2
    assert "name a new folder" in capsys.readouterr().err


def test_a_stream_is_the_file_piece_by_piece(ten_days, tmp_path):
    """Never more than a day is held: pieces come while the table is read."""
    for suffix in (".csv", ".parquet"):
        made = iter(stream(TABLES["readings"](Ask(ten_days, [FURNACE])), suffix))
        first = next(made)
        pieces = [first, *made]
        assert len(pieces) > 5 and max(map(len, pieces)) < sum(map(len, pieces)) / 3
        path = tmp_path / f"all{suffix}"
        write(TABLES["readings"](Ask(ten_days, [FURNACE])), path)
        assert path.read_bytes() == b"".join(pieces)


def test_verify_says_that_all_is_well_or_what_is_not(ten_days, capsys):
    assert cli.main(["store", "verify", "--data", str(ten_days.folder)]) == 0
    path = ten_days.folder / parts.DAYS / FURNACE / "2026-01-04.parquet"
    path.write_bytes(path.read_bytes()[:-100])
    assert cli.main(["store", "verify", "--data", str(ten_days.folder)]) == 1
    out = capsys.readouterr().out
    assert out.startswith("everything is as it was written\n") and "2026-01-04.parquet is damaged" in out


def test_backup_opens_like_the_original(ten_days, tmp_path, capsys):
    put(ten_days, pack(10**6, base_ms=START_MS + 20 * DAY_MS))
    target = tmp_path / "copies" / "today"
    assert cli.main(["store", "backup", "--data", str(ten_days.folder), str(target)]) == 0
    with Store.open(target) as copy:
        assert said(copy.read(FURNACE, *ALL)) == said(ten_days.read(FURNACE, *ALL))
        assert copy.alarms() == ten_days.alarms() and copy.events() == ten_days.events()
        assert copy.verify() == []
        assert put(copy, *day_packs(10), pack(10**6)) == [False] * 2881
        copy.compact(START_MS + 30 * DAY_MS)
    assert cli.main(["store", "backup", "--data", str(ten_days.folder), str(target)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert not list(tmp_path.glob("copies/*.unfinished"))


def test_a_restored_copy_holds_what_lies_beside_the_store(tmp_path, capsys):
    """Profile, commissioning record, ledger and used-oil log, written by their own commands, read from the copy."""
    data = tmp_path / "data"
    past = Past(data)
    past.burn(38)
    here = ["--data", str(data)]
    assert cli.main(["cleaning", past.furnace, "--predict", *here]) == 0
    assert cli.main(["batch", "add", "--source", "own", "--kind", "vg-46", "--volume", "60", *here]) == 0
    commissioning.add(data, past.furnace, "probe_geometry", date(2026, 1, 4), "Maud", PROBE, "stack")
    people = People(data)  # open, as the service holds it: what is newest is still in its log
    people.add("Maud", "owner", "brass whistle nine", START_MS)
    for name in ("broker", "earlier"):
        (data / name).mkdir()
    (data / "broker" / "mosquitto.db").write_text("waiting")
    (data / "earlier" / schema.FILE).write_text("another copy")
    (data / "lock").touch()
    assert cli.main(["store", "backup", str(tmp_path / "copy"), *here]) == 0
    people.close()
    shutil.rmtree(data)
    (tmp_path / "copy").rename(data)
    assert sorted(path.name for path in data.iterdir()) == [
        "commissioning", "ledger", "oil", "people.db", "profiles", schema.FILE,
    ]  # fmt: skip
    assert (data / "people.db").stat().st_mode & 0o777 == 0o600
    with closing(People(data)) as people:
        assert people.fits("Maud", "brass whistle nine") == "Maud"
    capsys.readouterr()
    assert cli.main(["cleaning", past.furnace, "--predict", *here]) == 2
    assert "were predicted on 2026-02-11" in capsys.readouterr().err
    assert cli.main(["batch", "list", *here]) == 0 and "vg-46" in capsys.readouterr().out
    record = commissioning.load(data, past.furnace)
    assert record is not None and [entry.by for entry in record.entries] == ["Maud"]
    past.log("cleaning")
    past.burn(8)
    assert cli.main(["cleaning", past.furnace, "--prove", *here]) == 0 and "1 of 1" in capsys.readouterr().out


def test_backup_beside_a_writer_is_one_moment(store, tmp_path):
    over = threading.Event()

    def write() -> None:
        seq = 0
        while not over.is_set():
            with store.batch() as batch:
                for p in map(numbered, range(seq, seq + 50)):
                    batch.pack(p, p.base_ms, p.base_ms)
            seq += 50
            if seq % 400 == 0:
                store.compact(START_MS + seq * 100_000)

    thread = threading.Thread(target=write)
    thread.start()
    try:
        for i in range(4):
            store.backup(tmp_path / str(i))
    finally:
        over.set()
        thread.join(60)
    for i in range(4):
        with Store.open(tmp_path / str(i)) as copy:
            read = copy.read(FURNACE, *ALL, ("pump",))
            assert len(set(read.on_s["pump"].tolist()) if len(read) else ()) % 50 == 0
            assert copy.verify() == []


def test_a_folder_without_a_store_is_said_and_nothing_is_made(tmp_path, capsys):
    for act in (["status"], ["verify"], ["compact"], ["export", "x.csv"], ["backup", "y"]):
        assert cli.main(["store", *act, "--data", str(tmp_path / "typo")]) == 2
        assert "there is no store in" in capsys.readouterr().err
    assert not (tmp_path / "typo").exists()


def test_the_database_shrinks_after_a_backlog(store, monkeypatch):
    monkeypatch.setattr(sealing, "SPARE_PAGES", 50)
    put(store, *day_packs(2, every=4))
    store.compact(START_MS + 30 * DAY_MS)
    store.close()
    assert (store.folder / "sootline.db").stat().st_size < 4096 * 150


def test_a_note_that_a_spreadsheet_would_run_stands_there_as_text(tmp_path):
    """The characters of OWASP's page on CSV injection: a helper's note must not act on the owner's machine."""
    notes = ["=1+1", "+1", "-1 K", "@SUM(A1)", "\tx", "cold - and = dark", None]
    table = pa.table({"note": pa.array(notes, pa.string()), "K": pa.array([-1.0] * len(notes))})
    for suffix in (".csv", ".parquet"):
        write(Table(table.schema, [table]), tmp_path / f"log{suffix}")
    assert pq.read_table(tmp_path / "log.parquet").equals(table)
    with (tmp_path / "log.csv").open(newline="") as file:
        found = list(csv.DictReader(file))
    assert [row["note"] for row in found] == ["'=1+1", "'+1", "'-1 K", "'@SUM(A1)", "'\tx", "cold - and = dark", ""]
    assert {row["K"] for row in found} == {"-1"}, "numbers stay numbers"
