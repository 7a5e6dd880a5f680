"""The demo's people: told by a receiver on this machine, of the past as of now."""

from contextlib import closing
from datetime import datetime
from pathlib import Path

import httpx

from sootline import demo
from sootline.courier import ways
from sootline.courier.inbox import Inbox
from sootline.files.contacts import NAME, load
from sootline.store import Store
from tests.messages.kit import DAY_MS, NOON, alarm, over, taken


def test_what_is_sent_to_maud_stands_in_the_file(tmp_path: Path) -> None:
    heard: list[tuple[str, str]] = []
    with closing(Inbox(tmp_path / "messages.txt", lambda *told: heard.append(told))) as inbox:
        demo.write_contacts(tmp_path, inbox, "http://127.0.0.1:8470")
        demo.write_contacts(tmp_path, inbox, "http://127.0.0.1:8470")  # a demo that is started again
        maud, jory = load(tmp_path / NAME).people
        assert (maud.name, jory.turn, jory.form) == ("Maud", 2, "short")
        assert ways.send(maud.ways[0], "A title", "A body\nof two lines") is None
        assert ways.send(jory.ways[0], "One line", "") is None
        rubbish = httpx.post(
            jory.ways[0].replace("json:", "http:"), content=b"rubbish", headers={"Connection": "close"}
        )
        assert rubbish.status_code == 400
        assert ways.usable(maud.ways[0]) and all("127.0.0.1" in way for one in (maud, jory) for way in one.ways)
    text = (tmp_path / "messages.txt").read_text()
    assert "to Maud\nA title\nA body\nof two lines\n" in text and "to Jory\n" in text and "rubbish" not in text
    assert heard == [("Maud", "A title"), ("Jory", "One line")]


def test_the_past_is_told_into_the_log_and_the_file_and_no_further(tmp_path: Path) -> None:
    stuck = over(alarm("heater-stuck-on", "critical", NOON), NOON + DAY_MS)
    heard: list[object] = []
    with (
        closing(Inbox(tmp_path / "messages.txt", lambda *told: heard.append(told))) as inbox,
        Store.open(tmp_path) as store,
    ):
        demo.write_contacts(tmp_path, inbox, "http://127.0.0.1:8470")
        with store.batch() as batch:
            batch.alarms(put=[stuck, taken(alarm("lockout", "high", NOON + DAY_MS // 4))])
        demo.tell_the_past(store, tmp_path, inbox, NOON + 8 * DAY_MS)
        said = store.messages()
    by_kind = [one.what for one in reversed(said) if one.key is not None and one.key[1] == "heater-stuck-on"]
    assert by_kind == ["raised", "again"]  # Maud has it after seven minutes
    notes = [one for one in said if one.code is not None]
    assert notes and all(one.confirmed_by == one.contact for one in notes)
    text = (tmp_path / "messages.txt").read_text()
    assert f"--- {datetime.fromtimestamp(NOON / 1000):%a %d %b %H:%M} to Maud\nENGINE SHED: HEATER STUCK ON" in text
    assert heard == []
