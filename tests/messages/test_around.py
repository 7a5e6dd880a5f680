"""What the courier is told of the furnaces: the cold now and then, and the week's lines."""

from pathlib import Path

import pytest

from sootline.advice import oil_log
from sootline.courier.around import OutlooksThen, outlooks, week_lines
from sootline.events import Event
from sootline.files.profiles import default
from sootline.messages.contacts import Contact
from sootline.messages.freezing import FREEZE_C, Outlook
from sootline.now import FurnaceNow, Readiness, Reading
from sootline.profile import Profile, parse
from sootline.store import Store
from sootline.wire.pack import Pack
from sootline.wire.pack import parse as parse_pack
from tests.messages.kit import DAY_MS, HOUR_MS, MINUTE_MS, NOON
from tests.service.kit import payloads, rows

MAUD = Contact("Maud", ("json://maud.example",), units="us")
SHED = parse('[furnace]\nid = "engine-shed"\n[room]\nfreeze_C = 5.0\n[refill]\ndifferential_l = 0.45\n')


def profile_of(name: str) -> Profile:
    return SHED if name == "engine-shed" else default(name)


def now(name: str, age_ms: int = 0, freeze_at_ms: int | None = None, **readings: float) -> FurnaceNow:
    told = {channel: Reading(NOON - age_ms, value) for channel, value in readings.items()}
    ready = (
        Readiness("lockout", "ready"),
        Readiness("leak", "blind", needs="leak"),
        Readiness("stack-step", "learning"),
    )
    return FurnaceNow(name, "standby", None, told, (), ready, None, freeze_at_ms=freeze_at_ms)


def test_the_cold_is_that_of_fresh_readings_and_outdoors_is_the_same_for_all() -> None:
    shed, shop = (
        now("engine-shed", room=9.0, outdoor=-8.0, freeze_at_ms=NOON + HOUR_MS),
        now("carriage-shop", room=14.0),
    )
    assert outlooks([shed, shop], profile_of, NOON) == {
        "engine-shed": Outlook(9.0, -8.0, 5.0, NOON + HOUR_MS),
        "carriage-shop": Outlook(14.0, -8.0, FREEZE_C, None),
    }
    old = now("engine-shed", 31 * MINUTE_MS, room=9.0, outdoor=-8.0)
    assert outlooks([old], profile_of, NOON)["engine-shed"] == Outlook(None, None, 5.0, None)


def test_the_cold_of_the_past_is_read_from_the_store(tmp_path: Path) -> None:
    cold = rows(NOON - 10 * MINUTE_MS, room=[9.0, 11.0], outdoor=[-8.0, -8.0])
    with Store.open(tmp_path) as store:
        with store.batch() as batch:
            for payload in payloads(cold):
                pack = parse_pack("engine-shed", payload)
                assert isinstance(pack, Pack) and pack.base_ms is not None
                batch.pack(pack, NOON, pack.base_ms)
        then = OutlooksThen(store, profile_of, NOON)
        assert list(then) == ["engine-shed"] and then["engine-shed"] == Outlook(10.0, -8.0, 5.0)
        assert then["carriage-shop"] == Outlook(None, -8.0, FREEZE_C)
        assert OutlooksThen(store, profile_of, NOON + 2 * HOUR_MS)["engine-shed"] == Outlook(None, None, 5.0)


def test_the_weeks_lines_are_of_the_furnaces_the_contact_cares_for(tmp_path: Path) -> None:
    day_ms = NOON - 2 * DAY_MS
    firing = Event("engine-shed", "firing", day_ms, day_ms + 2 * HOUR_MS, {"burned_s": 7200.0})
    refill = Event("engine-shed", "refill", day_ms, day_ms + 9000, {"tank_C": 65.0, "stalled": False})
    with Store.open(tmp_path) as store:
        with store.batch() as batch:
            batch.events(put=[firing, refill])
        furnaces = [now("engine-shed"), now("carriage-shop")]
        both = week_lines(MAUD, NOON, furnaces, profile_of, store, tmp_path)
        assert any(line.startswith("Engine shed: 2 h of fire, 1 start") and "gal" in line for line in both)
        assert "Carriage shop: not lit this week." in both
        assert "Engine shed is blind to: liquid in the drip tray." in both
        assert "Engine shed still learns 1 of 3 alarms." in both
        own = Contact("Pim", MAUD.ways, furnaces=("carriage-shop",))
        assert not any("Engine" in line for line in week_lines(own, NOON, furnaces, profile_of, store, tmp_path))


@pytest.mark.parametrize("rubbish", ["{", "[1]"])
def test_a_damaged_book_leaves_the_note_without_its_lines(tmp_path: Path, rubbish: str) -> None:
    oil_log.path_of(tmp_path).parent.mkdir(parents=True, exist_ok=True)
    oil_log.path_of(tmp_path).write_text(rubbish)
    with Store.open(tmp_path) as store:
        [line, *_] = week_lines(MAUD, NOON, [now("engine-shed")], profile_of, store, tmp_path)
    assert line.startswith("engine-shed: ") and str(oil_log.path_of(tmp_path).name) in line
