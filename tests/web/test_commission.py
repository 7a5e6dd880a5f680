"""Commissioning on the page, in a real browser, against a real record on disk."""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import httpx
import pytest
from playwright.sync_api import Browser, expect

from sootline.commissioning import record as rec
from sootline.commissioning.record import Record
from sootline.files import commissioning
from sootline.now import Reading
from sootline.web.app import build
from sootline.web.server import Server
from tests.web.visit import opened, sound
from tests.web.workshop import NOW_MS, SIZES, Workshop, furnace_now

HERE = "furnace/engine-shed/commission"
TODAY = date.fromtimestamp(NOW_MS / 1000)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[tuple[Workshop, str]]:
    """Pages over a folder of their own, where records may be written."""
    shop = Workshop(tmp_path)
    server = Server(build(shop.live, tmp_path, now=lambda: NOW_MS), port=0)
    server.start()
    yield shop, server.url
    server.stop()
    shop.close()


def send(url: str, form: dict[str, Any]) -> httpx.Response:
    with httpx.Client(base_url=url, follow_redirects=True) as client:
        client.get("/")
        token = client.cookies.get("sootline_form")
        return client.post(HERE, data={"token": token, **form})


def test_a_step_from_the_sensors_page_to_the_record(browser: Browser, bench: tuple[Workshop, str]) -> None:
    shop, url = bench
    shop.live.put(furnace_now(stack=0.417, old_s=12))
    with opened(browser, url + "furnace/engine-shed/sensors", "phone") as page:
        expect(page.locator("#commission-title + p")).to_have_text("Not started.")
        page.get_by_role("link", name="Walk through the steps").click()
        expect(page.locator("#step-title")).to_have_text("Bench test")
        page.get_by_role("link", name="Ice point (stack)").click()
        expect(page.locator(".verdict-look")).to_contain_text("Wet hands")
        page.locator("label", has_text="thermocouple").click()
        expect(page.locator(".take")).to_contain_text("0.42 °C, 12 s ago")
        page.get_by_role("button", name="Take the reading now").click()
        expect(page.locator("input[name=reading_C]")).to_have_value("0.42")
        assert page.locator("input[value=thermocouple]").is_checked(), "what was given stays"
        page.locator("input[name=by]").fill("Maud")
        page.get_by_role("button", name="Evaluate and keep").click()
        expect(page.locator(".verdict-calm")).to_contain_text("Accepted: Ice point (stack). offset 0.42 K.")
        expect(page.locator("#waits-title ~ ul li").first).to_contain_text("needs the commissioning step")
        expect(page.locator("input[name=by]")).to_have_value("Maud")
    kept = json.loads(commissioning.path(shop.folder, "engine-shed").read_text())
    (entry,) = kept["entries"]
    assert entry["values"] == {"sensor": "thermocouple", "reading_C": 0.42}
    assert (entry["on"], entry["by"], entry["result"]) == (TODAY.isoformat(), "Maud", {"offset_K": 0.42})


@pytest.mark.parametrize("size", SIZES)
def test_the_pages_fit_and_are_accessible(browser: Browser, bench: tuple[Workshop, str], size: str) -> None:
    shop, url = bench
    shop.live.put(furnace_now())
    with opened(browser, url + HERE, size, "dark" if size == "phone" else "light") as page:
        more = ("?step=swap_test/tank", "?step=ice_point/stack") if size == "phone" else ()
        for path in ("", *more, "/sheet"):
            page.goto(url + HERE + path)
            sound(page)


def test_the_sheet_on_paper(browser: Browser, bench: tuple[Workshop, str]) -> None:
    """Printed: every step with its caution and values, nothing of the screen's furniture."""
    shop, url = bench
    shop.live.put(furnace_now())
    commissioning.add(shop.folder, "engine-shed", "float_travel", TODAY, "Jory", {"volumes_l": [0.44, 0.45, 0.46]})
    with opened(browser, url + HERE + "/sheet") as page:
        page.emulate_media(media="print", color_scheme="light")
        expect(page.locator(".rail")).to_be_hidden()
        expect(page.locator(".tabs")).to_be_hidden()
        expect(page.locator(".sheet h3")).to_have_count(13)
        expect(page.locator("text=Caution:")).to_have_count(13)
        expect(page.locator(".sheet")).to_contain_text("0.44 0.45 0.46 L")
        expect(page.locator(".sheet")).to_contain_text("differential 0.45 L")
        assert len(page.pdf(format="A4")) > 10_000


def test_a_yearly_repeat_shows_on_the_furnace(browser: Browser, bench: tuple[Workshop, str]) -> None:
    shop, url = bench
    shop.live.put(furnace_now())
    values = {"sensor": "thermocouple", "reading_C": 0.4}
    commissioning.add(shop.folder, "engine-shed", "ice_point", date(TODAY.year - 1, 1, 5), "Maud", values, "stack")
    with opened(browser, url + "furnace/engine-shed") as page:
        expect(page.locator("#due")).to_have_text(f"Ice point (stack): due again since {TODAY.year}-01-05")
        page.locator("#due a").click()
        expect(page.locator("h3", has_text="Due again")).to_be_visible()
    commissioning.add(shop.folder, "engine-shed", "ice_point", TODAY, "Maud", values, "stack")
    assert 'id="due"' not in httpx.get(url + "furnace/engine-shed").text


@pytest.mark.parametrize(
    ("step", "given", "why"),
    [
        ("ice_point/stack", {"sensor": "thermocouple", "reading_C": "4"}, "over 1.5 K off"),
        ("ice_point/stack", {"sensor": "thermocouple", "reading_C": "cold"}, "&#39;cold&#39; is no number"),
        ("ice_point/stack", {"reading_C": "0.4"}, "kind of probe: nothing was given"),
        ("float_travel", {"volumes_l": "0.4 0.5 0.6"}, "The runs differ"),
        ("refill_delivery", {"volume_l": "2", "time_s": "66", "runs": "4", "oil_C": "1 2"}, "give one number, not 2"),
    ],
)
def test_what_cannot_be_is_refused_and_kept_in_the_form(
    bench: tuple[Workshop, str], step: str, given: dict[str, str], why: str
) -> None:
    shop, url = bench
    shop.live.put(furnace_now())
    answer = send(url, {"step": step, "by": "Maud", **given})
    assert answer.status_code == 422 and why in answer.text
    assert all(f'value="{text}"' in answer.text for text in given.values())
    assert commissioning.load(shop.folder, "engine-shed") is None


@pytest.mark.parametrize(
    ("reading", "why"),
    [
        (Reading(NOW_MS - 240_000, 0.4), "the newest reading is 4 min ago"),
        (Reading(NOW_MS - 4_000, None, "open"), "probe circuit open"),
    ],
)
def test_a_reading_that_is_old_or_bad_is_not_taken(bench: tuple[Workshop, str], reading: Reading, why: str) -> None:
    shop, url = bench
    now = furnace_now()
    shop.live.put(replace(now, readings={**now.readings, "stack": reading}))
    assert " disabled" in httpx.get(url + HERE, params={"step": "ice_point/stack"}).text
    answer = send(url, {"step": "ice_point/stack", "take": "reading_C"})
    assert answer.status_code == 422 and why in answer.text.replace("&#39;", "'")


def test_fahrenheit_and_gallons_are_kept_in_si(bench: tuple[Workshop, str]) -> None:
    shop, url = bench
    shop.live.put(furnace_now(stack=0.5))
    with httpx.Client(base_url=url, follow_redirects=True) as client:
        client.get("/")
        token = client.cookies.get("sootline_form")
        client.post("/units", data={"token": token, "system": "us", "back": "/"})
        taken = client.post(HERE, data={"token": token, "step": "ice_point/stack", "take": "reading_C"})
        assert 'name="reading_C" value="32.9"' in taken.text and "°F" in taken.text
        form = {"token": token, "step": "float_travel", "by": "Maud", "volumes_l": "0.12, 0.12 0.12"}
        assert "differential 0.12 gal" in client.post(HERE, data=form).text
    record = commissioning.load(shop.folder, "engine-shed")
    assert record is not None and record.entries[0].values["volumes_l"] == pytest.approx([0.454249] * 3, abs=1e-6)


def test_foreign_forms_and_unknown_places_are_turned_away(bench: tuple[Workshop, str]) -> None:
    shop, url = bench
    shop.live.put(furnace_now())
    assert httpx.post(url + HERE, data={"step": "bench"}).status_code == 400
    assert send(url, {"step": "no-such-step"}).status_code == 400
    for path in ("furnace/no-such/commission", "furnace/no-such/commission/sheet", HERE + "?step=no-such"):
        assert httpx.get(url + path).status_code == 404
    assert commissioning.load(shop.folder, "engine-shed") is None


def test_a_broken_record_is_told_and_not_overwritten(bench: tuple[Workshop, str]) -> None:
    shop, url = bench
    shop.live.put(furnace_now())
    file = commissioning.path(shop.folder, "engine-shed")
    file.parent.mkdir()
    file.write_text(rec.dumps(Record("engine-shed"))[:20])
    assert "is not JSON" in httpx.get(url + HERE).text
    assert "is not JSON" in httpx.get(url + "furnace/engine-shed/sensors").text
    assert httpx.get(url + "furnace/engine-shed").status_code == 200
    answer = send(url, {"step": "float_travel", "by": "Maud", "volumes_l": "0.44 0.45 0.46"})
    assert answer.status_code == 422 and len(file.read_text()) == 20
