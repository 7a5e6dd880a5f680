"""The logbook over HTTP: entries and what cannot be used, once however often sent, undoing, photos."""

import importlib
import io
import struct
from dataclasses import replace
from datetime import datetime
from typing import Any

import httpx
import pytest
from PIL import Image
from starlette.requests import Request

from sootline.events import Event
from sootline.logbook import Logged
from sootline.people.person import Person
from sootline.profile import LogEntry, LogKind, parse
from sootline.web import photos
from sootline.web.entry_form import EntryForm, logged
from sootline.web.log_views import ACTS, CHIPS, entry_views
from sootline.wording import LOG_WORDS
from tests.web.test_pages import token
from tests.web.workshop import NOW_MS, Workshop, furnace_now

HOUR_MS = 3_600_000


def form(client: httpx.Client, **change: Any) -> dict[str, Any]:
    return {
        "token": token(client, "/log"), "furnace": "engine-shed", "kind": "cleaning", "by": "Jory", "id": "a" * 32,
        "note": "", "at": "", "channel": "tank", "value": "65",
    } | change  # fmt: skip


def taken(shop: Workshop) -> Logged:
    [(what, logged, _)] = shop.live.acts
    assert what == "log"
    return logged


def test_an_entry_is_kept_with_its_author_and_what_was_tapped(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    sent = form(client, note=" 4.1 lb\r\n ash ", chip=["full", "white ash"], thing="Tubes")
    answer = client.post("/log", data=sent)
    assert answer.status_code == 200 and "Kept." not in answer.text  # nothing behind the staged service keeps it
    entry = LogEntry(NOW_MS, "cleaning", note="Tubes; full; white ash; 4.1 lb ash")
    assert taken(shop) == Logged("a" * 32, "engine-shed", entry, "Jory", NOW_MS)
    assert "/log?furnace=engine-shed&saved=" in str(answer.url)


def test_a_set_point_is_given_in_the_units_shown(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    client.post("/units", data={"token": token(client), "system": "us", "back": "/"})
    sent = form(client, kind="setpoint", channel="nozzle", value="203", at="2026-01-16T09:00")
    assert client.post("/log", data=sent).status_code == 200
    entry = taken(shop).entry
    assert (entry.channel, entry.value_C) == ("nozzle", 95.0)
    assert entry.at_ms == datetime(2026, 1, 16, 9).timestamp() * 1000 < NOW_MS


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"kind": "wish"}, "Choose what was done"), ({"furnace": "nowhere"}, "Choose the furnace"),
        ({"by": ""}, "Give your name"), ({"at": "2026-01-17T09:00"}, "not come yet"),
        ({"at": "1999-01-17T09:00"}, "more than a year ago"), ({"at": "yesterday"}, "date and a time"),
        ({"kind": "setpoint", "value": "warm"}, "as a number"), ({"kind": "setpoint", "value": "999"}, "between"),
        ({"kind": "setpoint", "value": "nan"}, "between"),
        ({"kind": "setpoint", "channel": "stack"}, "whose set point"), ({"id": "../x"}, "cannot be read"),
        ({"id": "x"}, "cannot be read"),
    ],
)  # fmt: skip
def test_an_entry_that_cannot_be_used_says_why(
    client: httpx.Client, shop: Workshop, change: dict[str, str], words: str
) -> None:
    shop.live.put(furnace_now())
    answer = client.post("/log", data=form(client, **change))
    assert answer.status_code == 400 and words in answer.text and shop.live.acts == []
    scripted = client.post("/log", data=form(client, **change), headers={"Accept": "application/json"})
    assert scripted.status_code == 400 and words in scripted.json()["refused"]


def test_a_form_that_is_not_ours_changes_nothing(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    json = {"Accept": "application/json"}
    answer = client.post("/log", data=form(client, token="x" * 43), headers=json)
    assert answer.status_code == 403 and "grown old" in answer.json()["refused"]
    cross = client.post("/log", data=form(client), headers={"Sec-Fetch-Site": "cross-site"})
    assert cross.status_code == 403
    assert client.post("/log", content=b"\xff", headers={"Content-Type": "multipart/form-data; boundary=x"}).is_error
    assert client.post("/log", content=b"{}", headers={"Content-Type": "application/json"}).is_error
    assert shop.live.acts == []


@pytest.mark.parametrize(
    ("tapped", "counts"),
    [
        (NOW_MS - 5 * HOUR_MS, True), (NOW_MS, True),
        (NOW_MS + 60_000, False), (NOW_MS - 500 * 24 * HOUR_MS, False), ("soon", False), ("9" * 30, False),
    ],
)  # fmt: skip
def test_the_moment_of_the_tap_counts_unless_it_cannot_be(
    client: httpx.Client, shop: Workshop, tapped: Any, counts: bool
) -> None:
    """A phone whose clock is wrong never puts an entry into the future or long before the furnace."""
    shop.live.put(furnace_now())
    answer = client.post("/log", data=form(client, tapped=tapped), headers={"Accept": "application/json"})
    assert answer.json() == {"kept": "/log?furnace=engine-shed&saved=" + "a" * 32}
    assert taken(shop).entry.at_ms == (tapped if counts else NOW_MS)


def test_token_for_what_waited_comes_with_its_cookie(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    client.cookies.clear()
    fresh = client.get("/log/token").json()
    assert fresh["now"] == NOW_MS
    assert client.post("/log", data=form(client) | {"token": fresh["token"]}).status_code == 200


@pytest.mark.parametrize(
    ("noted", "by"), [("Maud", "Maud"), ("", "Maud"), ("Pim", "Pim, sent by Maud"), (" Pim\n", "Pim, sent by Maud")]
)
def test_an_entry_that_waited_keeps_the_name_of_whoever_noted_it(noted: str, by: str) -> None:
    """Pim noted it on a shared phone; Maud had signed in on it when the host answered again."""
    request = Request({"type": "http", "headers": [], "sootline.person": Person("Maud", "helper")})
    sent = EntryForm({"furnace": "engine-shed", "kind": "filter", "by": noted}, (), None)
    assert logged(sent, request, ["engine-shed"], NOW_MS, "si").by == by


# photos


def picture(size: tuple[int, int] = (3000, 2000), kind: str = "JPEG", exif: bool = True) -> bytes:
    """A photo, its left half red, as a phone sends it: lying on its side, with the place in it."""
    made = Image.new("RGB", size, "blue")
    made.paste("red", (0, 0, size[0] // 2, size[1]))
    out, notes = io.BytesIO(), Image.Exif()
    notes[0x010F] = "Tollen Camera Works"
    notes[0x0112] = 6  # to be turned by 90 degrees (Exif 2.3, Orientation)
    notes.get_ifd(0x8825)[2] = (52.0, 30.0, 0.0)  # GPSLatitude
    made.save(out, kind, **({"exif": notes} if exif else {}))
    return out.getvalue()


def test_a_photo_is_kept_small_upright_and_without_its_place(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    sent = picture()
    assert b"Tollen Camera" in sent and Image.open(io.BytesIO(sent)).getexif().get_ifd(0x8825)
    answer = client.post("/log", data=form(client), files={"photo": ("a.jpg", sent, "image/jpeg")})
    assert answer.status_code == 200
    [(_, logged, kept)] = shop.live.acts
    assert logged.photo and b"Tollen" not in kept and b"Exif" not in kept
    with Image.open(io.BytesIO(kept)) as small:
        assert small.format == "JPEG" and max(small.size) == photos.SIDE and small.height > small.width
        assert dict(small.getexif()) == {} and set(small.info) <= {"jfif", "jfif_version", "jfif_density", "jfif_unit"}
        red, blue = small.getpixel((100, 100)), small.getpixel((100, small.height - 100))
    assert isinstance(red, tuple) and isinstance(blue, tuple)
    assert red[0] > 200 > 60 > red[2] and blue[2] > 200 > 60 > blue[0]


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_other_pictures_become_jpeg(kind: str) -> None:
    kept = photos.kept(picture((300, 200), kind, exif=False))
    assert Image.open(io.BytesIO(kept)).format == "JPEG"


def _huge() -> bytes:
    """A PNG that says it has 20 000 x 20 000 pixels, in 60 bytes (PNG specification, IHDR)."""
    ihdr = struct.pack(">IIBBBBB", 20_000, 20_000, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + b"IHDR" + ihdr + b"\0" * 32


@pytest.mark.parametrize(
    "data",
    [b"GIF89a" + b"\0" * 50, b"%PDF-1.7", b"<svg xmlns='http://www.w3.org/2000/svg'/>", picture()[:4000], _huge()],
    ids=["gif", "pdf", "svg", "cut", "huge"],
)
def test_what_is_no_photo_is_refused(client: httpx.Client, shop: Workshop, data: bytes) -> None:
    importlib.import_module("weasyprint")  # it wants pictures that are cut off to be taken all the same
    shop.live.put(furnace_now())
    answer = client.post("/log", data=form(client), files={"photo": ("a.jpg", data, "image/jpeg")})
    assert answer.status_code == 400 and "photo" in answer.text and shop.live.acts == []


def test_a_photo_that_is_too_big_is_refused_before_it_is_read(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    data = b"\xff\xd8" + b"\0" * (photos.MOST_BYTES + 100_000)
    answer = client.post("/log", data=form(client), files={"photo": ("a.jpg", data, "image/jpeg")})
    assert answer.status_code == 400 and "too big" in answer.text and shop.live.acts == []


def test_a_photo_is_shown_at_its_entry(fresh: tuple[Workshop, httpx.Client]) -> None:
    shop, client = fresh
    shop.live.put(furnace_now())
    entry = LogEntry(NOW_MS - HOUR_MS, "cleaning")
    with shop.store.batch() as batch:
        batch.log(Logged("b" * 32, "engine-shed", entry, "Maud", NOW_MS, photo=True), b"\xff\xd8jpeg")
        batch.log(Logged("c" * 32, "engine-shed", replace(entry, kind="filter"), "Maud", NOW_MS))
    text = client.get("/log").text
    assert text.count("<img") == 1 and f'src="/log/photo/{"b" * 32}"' in text
    answer = client.get("/log/photo/" + "b" * 32)
    assert answer.content == b"\xff\xd8jpeg" and answer.headers["content-type"] == "image/jpeg"
    for wrong in ("c" * 32, "d" * 32, "..%2f..%2fsootline.db"):
        assert client.get("/log/photo/" + wrong).status_code == 404


# what was done, and what came of it


def test_the_book_shows_who_when_and_what_was_undone(client: httpx.Client, shop: Workshop) -> None:
    text = client.get("/log").text
    assert "New gasket at the bowl" in text and "Maud" in text and "learned anew" in text
    assert "Changed a set point: day tank 65 °C" in text
    undone = text[text.index('id="entry-cleaned-1"') :].partition("</li>")[0]
    assert "<s>" in undone and "by Maud: it acts no more" in undone and "/log/undo" not in undone
    assert "/log/undo" not in text  # all of it is older than a day


def test_a_line_can_be_taken_back_for_a_day(fresh: tuple[Workshop, httpx.Client]) -> None:
    shop, client = fresh
    shop.live.put(furnace_now())
    with shop.store.batch() as batch:
        batch.log(Logged("b" * 32, "engine-shed", LogEntry(NOW_MS - HOUR_MS, "cleaning"), "Maud", NOW_MS - HOUR_MS))
    assert client.get("/log").text.count("/log/undo") == 1
    sent = {"token": token(client, "/log"), "id": "b" * 32, "by": "Jory"}
    assert client.post("/log/undo", data=sent).status_code == 200
    assert shop.live.acts == [("undo", "b" * 32, "Jory")]
    assert client.post("/log/undo", data=sent | {"token": "y" * 43}).status_code == 400
    assert client.post("/log/undo", data=sent | {"by": ""}).status_code == 400
    assert len(shop.live.acts) == 1


def test_an_entry_tells_what_the_analysis_did_with_it() -> None:
    line = Logged("b" * 32, "engine-shed", LogEntry(NOW_MS, "cleaning"), "Maud", NOW_MS)
    did: dict[str, float | str | bool | None] = {"stack-rising": "learning 0 of 30", "ended": "stack-rising stack-step"}
    event = Event("engine-shed", "entry-cleaning", NOW_MS, NOW_MS, did)
    [waits] = entry_views([line], {}, NOW_MS, "si")
    assert waits.did == ("It acts with the next readings from the board.",)
    [acted] = entry_views([line], {event.key: event}, NOW_MS, "si")
    assert acted.did == (
        "Then learning again: stack temperature keeps rising (0 of 30).",
        "Ended: stack temperature keeps rising, stack temperature jumped.",
    )  # fmt: skip
    late = replace(line, entered_ms=NOW_MS + HOUR_MS)
    assert entry_views([late], {}, NOW_MS + HOUR_MS, "si")[0].entered and not waits.entered


def test_every_kind_has_its_words_and_tiles(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    assert set(ACTS) == set(CHIPS) == set(LOG_WORDS) == set(LogKind.__args__)  # type: ignore[attr-defined]
    for kind in LOG_WORDS:
        text = client.get(f"/log?furnace=engine-shed&kind={kind}&thing=Barrel+3").text
        assert f'value="{kind}" required checked' in text and 'value="Barrel 3"' in text
        assert 'value="engine-shed" required checked' in text


def test_what_the_profile_names_stands_in_the_book_too(
    fresh: tuple[Workshop, httpx.Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    shop, client = fresh
    shop.live.put(furnace_now())
    both = LogEntry(NOW_MS - HOUR_MS, "cleaning", note="as in the profile")
    own = parse('[furnace]\nid = "engine-shed"\n')
    monkeypatch.setattr(shop.live, "profiles", {"engine-shed": replace(own, log=(both, replace(both, kind="filter")))})
    with shop.store.batch() as batch:
        batch.log(Logged("b" * 32, "engine-shed", both, "Maud", NOW_MS))
    text = client.get("/log").text
    assert text.count("as in the profile") == 2 and text.count("From the furnace's profile") == 1
    assert text.count("/log/undo") == 1 and "Kept." not in text and "fresh" not in text
