"""One contract for the embedded store and both servers: the same questions, the same answers."""

from dataclasses import replace

import numpy as np
import pytest

from sootline import cli
from sootline.errors import UserError
from sootline.logbook import Logged
from sootline.mirror import InfluxReader, Mirror, PrometheusReader, ServerUnavailable
from sootline.profile import LogEntry
from sootline.series import SensorFault
from sootline.store import Store
from tests.mirror.test_mirror import Clock, deliver, settled
from tests.store.making import ALL, DAY_MS, FURNACE, START_MS, day_packs, pack, rows, said, same

OTHER = "carriage-shop"


@pytest.fixture
def filled(store, engine):
    """A store and its mirror, with two furnaces, edges, faults and a gap of days."""
    fault = (SensorFault(5000, "stack", "open"), SensorFault(9000, "room", "crc"))
    deliver(store, day_packs(2, every=40))
    deliver(
        store,
        [pack(9000, rows([0, 5000], fault, stack=[180.5, np.nan], room=[0.3333, 5.5]), base_ms=START_MS + 4 * DAY_MS)],
    )
    deliver(store, day_packs(1, every=400, furnace=OTHER))
    entries = (
        LogEntry(START_MS + 1000, "cleaning", note="brush 40 mm, two hours"),
        LogEntry(START_MS + 2000, "setpoint", "tank", 62.5),
        LogEntry(START_MS + 2000, "setpoint", "nozzle", 80.0),
        LogEntry(START_MS + 3000, "filter"),
    )
    with store.batch() as batch:
        for i, entry in enumerate(entries):
            batch.log(Logged(f"entry-{i}-of-a-test", FURNACE, entry, "Ffion", START_MS + 5000))
    Clock().run(Mirror(store, engine.line_server()))
    settled(engine)
    return store, engine.reader()


def test_readers_answer_as_the_store_does(filled):
    store, reader = filled
    assert reader.furnaces() == store.furnaces() == [OTHER, FURNACE]
    for furnace in (FURNACE, OTHER, "no-such"):
        assert reader.extent(furnace) == store.extent(furnace)
    for furnace, span, channels in (
        (FURNACE, ALL, None),
        (FURNACE, ALL, ("tank",)),
        (FURNACE, ALL, ("pump", "room")),
        (FURNACE, (START_MS + 200_000, START_MS + 400_000), None),
        (FURNACE, (START_MS + 200_000, START_MS + 200_001), ("tank", "pump")),
        (FURNACE, (START_MS + DAY_MS - 1, START_MS + DAY_MS + 1), None),
        (FURNACE, ALL, ("leak",)),
        (OTHER, ALL, None),
        ("no-such", ALL, None),
    ):
        kept, mirrored = store.read(furnace, *span, channels), reader.read(furnace, *span, channels)
        assert said(mirrored) == said(kept), (furnace, span, channels)
        assert mirrored.t_ms.tolist() == kept.t_ms.tolist()
    tank = ("tank",)
    assert same(store.read(FURNACE, *ALL, tank), reader.read(FURNACE, *ALL, tank))


def without_notes(entries):
    return sorted((replace(entry, note=None) for entry in entries), key=str)


def test_the_log_is_that_of_the_store_also_after_an_entry_was_undone(filled, engine):
    store, reader = filled
    assert len(store.log(FURNACE)) == 4 and reader.log(OTHER) == []
    assert without_notes(reader.log(FURNACE)) == without_notes(store.log(FURNACE))
    with store.batch() as batch:
        batch.undo("entry-0-of-a-test", "Ffion", START_MS + 6000)
    Clock().run(Mirror(store, engine.line_server()))
    settled(engine)
    assert [entry.kind for entry in store.log(FURNACE)].count("cleaning") == 0
    assert without_notes(reader.log(FURNACE)) == without_notes(store.log(FURNACE))


def test_overview_is_that_of_the_store(filled):
    store, reader = filled
    for span in ((START_MS, START_MS + DAY_MS), (START_MS + 12_345, START_MS + 5 * DAY_MS)):
        ours, theirs = store.overview(FURNACE, "tank", *span, 50), reader.overview(FURNACE, "tank", *span, 50)
        assert [column.tolist() for column in theirs] == [column.tolist() for column in ours]


def test_a_store_is_filled_from_the_server_alone(filled, tmp_path, engine, capsys):
    store, _ = filled
    arguments = ["store", "fetch", engine.url, "--data", str(tmp_path / "new")]
    arguments += ["--influxql"] if engine.kind == "influxdb" else []
    for n in (sum(len(store.read(furnace, *ALL)) for furnace in store.furnaces()), 0):
        assert cli.main(arguments) == 0
        assert capsys.readouterr().out.startswith(f"{n:,} new rows")
    with Store.open(tmp_path / "new") as new:
        for furnace in (FURNACE, OTHER):
            assert said(new.read(furnace, *ALL)) == said(store.read(furnace, *ALL)) != {}
            assert without_notes(new.log(furnace)) == without_notes(store.log(furnace))
        assert new.verify() == []


@pytest.mark.parametrize("reader", [PrometheusReader("http://127.0.0.1:9"), InfluxReader("http://127.0.0.1:9")])
def test_a_server_that_is_not_there_is_said(reader):
    with pytest.raises(ServerUnavailable, match="does not answer"):
        reader.furnaces()


def test_a_wrong_question_is_said(engine):
    reader = engine.reader()
    with pytest.raises(UserError, match=r"answers 4|error parsing"):
        reader.extent("engine-shed'\"}[")
