"""The numbered layouts of the SQLite file."""

import sqlite3

import pytest

from sootline.errors import UserError
from sootline.store import Store, schema
from tests.store import layouts
from tests.store.making import ALL, DAY_MS, FURNACE, START_MS, put, said
from tests.store.test_records import ALARM


def layout_of(folder) -> int:
    db = sqlite3.connect(folder / schema.FILE)
    layout = db.execute("PRAGMA user_version").fetchone()[0]
    db.close()
    return layout


def test_a_new_store_has_the_newest_layout(tmp_path):
    Store.open(tmp_path).close()
    assert layout_of(tmp_path) == schema.LAYOUT


@pytest.mark.parametrize("read_only", [False, True])
def test_a_newer_layout_is_refused_with_one_clear_line(tmp_path, read_only):
    Store.open(tmp_path).close()
    db = sqlite3.connect(tmp_path / schema.FILE)
    db.execute(f"PRAGMA user_version = {schema.LAYOUT + 1}")
    db.close()
    with pytest.raises(UserError, match="install a newer sootline") as caught:
        Store.open(tmp_path, read_only=read_only)
    assert "\n" not in str(caught.value)
    assert layout_of(tmp_path) == schema.LAYOUT + 1


def test_an_older_layout_is_not_read_before_it_is_brought_up(tmp_path):
    sqlite3.connect(tmp_path / schema.FILE).close()
    with pytest.raises(UserError, match="start the service once"):
        Store.open(tmp_path, read_only=True)


def test_no_store_is_said_in_one_line(tmp_path):
    with pytest.raises(UserError, match="there is no store"):
        Store.open(tmp_path, read_only=True)


def test_a_step_that_fails_leaves_the_layout_before_it(tmp_path, monkeypatch):
    monkeypatch.setattr(schema, "MIGRATIONS", (schema.MIGRATIONS[0], "CREATE TABLE a (x);\nCREATE TABLE furnace (x)"))
    monkeypatch.setattr(schema, "LAYOUT", 2)
    with pytest.raises(Exception, match="already exists"):
        Store.open(tmp_path)
    assert layout_of(tmp_path) == 1
    db = sqlite3.connect(tmp_path / schema.FILE)
    assert not db.execute("SELECT name FROM sqlite_master WHERE name = 'a'").fetchall()
    db.close()


def test_every_layout_has_its_store():
    assert sorted(int(path.name) for path in layouts.FOLDER.iterdir()) == list(range(1, schema.LAYOUT + 1))


@pytest.mark.parametrize("layout", range(1, schema.LAYOUT + 1))
def test_a_store_of_a_released_layout_is_brought_up_with_everything_in_it(tmp_path, layout):
    layouts.rebuild(layout, tmp_path)
    with Store.open(tmp_path) as store, Store.open(tmp_path / "new") as new:
        layouts.fill(new)
        assert layout_of(tmp_path) == schema.LAYOUT
        for when in (None, START_MS + 9 * DAY_MS):
            if when is not None:
                store.compact(when)
            assert said(store.read(FURNACE, *ALL)) == said(new.read(FURNACE, *ALL)) != {}
            assert store.verify() == []
        assert store.boot_clocks(FURNACE) == new.boot_clocks(FURNACE)
        assert store.relative_packs(FURNACE, "b2") == new.relative_packs(FURNACE, "b2") != []
        assert store.alarms() == [ALARM] and store.events() == [layouts.EVENT]
        assert store.acknowledgements() == new.acknowledgements() and store.shelved() == new.shelved()
        assert store.messages() == ([layouts.MESSAGE] if layout > 1 else []) and store.log(FURNACE) == [layouts.ENTRY]
        assert store.logbook() == new.logbook() == [layouts.LOGGED] and store.searches() == []
        assert store.announced(FURNACE) == [(START_MS, layouts.WORD)]
        assert store.set_aside_counts(FURNACE) == {"not a SenML pack": 1}
        assert store.recall("small") == {"value": 1}
        span = (START_MS, START_MS + 3 * DAY_MS, 10)
        ours, theirs = new.overview(FURNACE, "tank", *span), store.overview(FURNACE, "tank", *span)
        assert [c.tolist() for c in ours] == [c.tolist() for c in theirs]
        assert put(store, *layouts.packs()) == [False] * len(list(layouts.packs()))
