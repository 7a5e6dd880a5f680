"""Log entries in a real browser against a real host that is killed: kept, sent once, at the time of the tap.

`http://workshop.lan` is how phones reach the host: plain HTTP, where browsers allow no service worker. On the machine
itself (127.0.0.1) they do. The browser of the tests is told where that name leads.
"""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Route, expect

from sootline.logbook import Logged
from sootline.service import now_ms
from sootline.store import Store
from tests.service.kit import eventually, free_port
from tests.service.test_crashes import Host
from tests.web.visit import sound
from tests.web.workshop import SIZES

PHONE = SIZES["phone"]
SET_CLOCK = "(function (now) {{ Date.now = function () {{ return now() + {days} * 864e5; }}; }})(Date.now);"
KEPT_HERE = "Kept on this phone. It goes to the host by itself"


class Workshop:
    """`sootline run` on ports that stay, to be killed and started again."""

    def __init__(self, data: Path) -> None:
        self.port = free_port()
        self.host = Host(data, "--web-port", str(self.port), "--broker-port", str(free_port()))
        self.up = True
        self.seen: set[str] = set()

    def kill(self) -> None:
        self.host.kill()
        self.up = False

    def start(self) -> None:
        if not self.up:
            self.host.start()
            self.up = True

    def new(self) -> list[Logged]:
        """Lines of the logbook that came since it was last asked."""
        with Store.open(self.host.data, read_only=True) as store:
            lines = [line for line in store.logbook() if line.id not in self.seen]
        self.seen |= {line.id for line in lines}
        return lines

    def url(self, path: str = "/log", name: str = "workshop.lan") -> str:
        return f"http://{name}:{self.port}{path}"


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    shop = Workshop(tmp_path_factory.mktemp("host"))
    (shop.host.data / "profiles" / "carriage-shop.toml").write_text('[furnace]\nid = "carriage-shop"\n')
    shop.kill()
    shop.start()
    yield shop
    if shop.up:
        shop.host.stop()


@pytest.fixture
def shop(built: Workshop) -> Iterator[Workshop]:
    built.start()
    built.new()
    yield built


@contextmanager
def phone(browser: Browser, by: str = "Maud", **options: Any) -> Iterator[Page]:
    """A phone; the name was given once before."""
    context = browser.new_context(**{"viewport": PHONE, "has_touch": True, **options})
    for host in ("workshop.lan", "127.0.0.1"):
        context.add_cookies([{"name": "sootline_name", "value": by, "domain": host, "path": "/"}])
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    try:
        yield page
    finally:
        context.close()
    assert wrong == []


def tap(page: Page, words: str) -> None:
    page.locator("label.tile", has_text=words).first.click()


def photo() -> bytes:
    made, notes, out = Image.new("RGB", (4000, 3000), "orange"), Image.Exif(), io.BytesIO()
    notes[0x010F] = "Tollen Camera Works"
    notes.get_ifd(0x8825)[2] = (52.0, 30.0, 0.0)  # GPSLatitude
    made.save(out, "JPEG", exif=notes)
    return out.getvalue()


def choose_photo(page: Page) -> None:
    page.locator("#entry-more summary").click()
    page.locator("input[name=photo]").set_input_files(
        [{"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": photo()}]
    )


def note(page: Page, furnace: str = "Engine shed", kind: str = "Changed oil filter") -> None:
    tap(page, furnace)
    tap(page, kind)
    page.get_by_role("button", name="Keep it").click()


@pytest.mark.parametrize("size", SIZES)
def test_three_taps_from_the_first_page(browser: Browser, shop: Workshop, size: str) -> None:
    with phone(browser, viewport=SIZES[size], color_scheme="dark" if size == "desk" else "light") as page:
        page.goto(shop.url("/"))
        page.locator("#card-engine-shed").get_by_role("link", name="Note what was done").click()
        tap(page, "Cleaned heat exchanger")
        page.get_by_role("button", name="Keep it").click()
        expect(page.locator(".verdict-calm")).to_contain_text("Kept. Cleaned heat exchanger · Engine shed")
        expect(page.locator(".verdict-calm")).to_contain_text("The clean stack is learned anew")
        sound(page)
    [line] = shop.new()
    assert (line.furnace, line.entry.kind, line.by) == ("engine-shed", "cleaning", "Maud")
    assert now_ms() - 60_000 < line.entry.at_ms <= line.entered_ms


def test_the_name_is_asked_once(browser: Browser, shop: Workshop) -> None:
    with phone(browser, by="") as page:
        page.goto(shop.url("/log?furnace=carriage-shop"))
        note(page, "Carriage shop", "Electrodes done")
        name = page.get_by_label("Your name").first
        expect(name).to_be_focused()
        box = name.bounding_box()
        assert box is not None
        seen = "([x, y]) => document.elementFromPoint(x, y).name"
        assert page.evaluate(seen, [box["x"] + 20, box["y"] + box["height"] / 2]) == "by"  # not under the button
        name.fill("Pim")
        for taken in (1, 2):
            note(page, "Carriage shop", "Electrodes done")
            expect(page.locator(".verdict-calm")).to_contain_text("Kept. Electrodes done · Carriage shop")
            expect(page.locator("#entry input[name=by]")).to_have_value("Pim")
            assert [line.by for line in shop.new()] == ["Pim"], taken
            page.goto(shop.url("/log"))


def test_what_was_tapped_for_another_kind_is_not_sent(browser: Browser, shop: Workshop) -> None:
    with phone(browser) as page:
        page.goto(shop.url("/log?furnace=engine-shed"))
        tap(page, "Cleaned heat exchanger")
        tap(page, "white ash")
        tap(page, "Changed oil filter")
        expect(page.locator("label.tile", has_text="white ash")).to_be_hidden()
        tap(page, "sludge")
        page.get_by_role("button", name="Keep it").click()
        expect(page.locator(".verdict-calm")).to_be_visible()
    [line] = shop.new()
    assert (line.entry.kind, line.entry.note) == ("filter", "sludge")


def test_the_host_is_killed_and_the_entry_goes_later_once_at_its_own_time(browser: Browser, shop: Workshop) -> None:
    with phone(browser) as page:
        page.goto(shop.url())
        shop.kill()
        before_ms = now_ms()
        choose_photo(page)
        note(page)
        expect(page.locator("#entry-said")).to_contain_text(KEPT_HERE)
        expect(page.locator("#queue")).to_contain_text("1 entry waits on this phone")
        after_ms = now_ms()
        tap(page, "Other service")  # the form is ready for the next one
        page.get_by_role("button", name="Keep it").click()
        expect(page.locator("#queue li")).to_have_count(1)  # no furnace is chosen yet: the browser asks for it
        note(page, kind="Other service")
        expect(page.locator("#queue li")).to_have_count(2)
        sound(page)
        page.wait_for_timeout(1500)
        shop.start()
        page.evaluate("window.dispatchEvent(new Event('online'))")
        expect(page.locator("#queue")).to_be_hidden(timeout=20_000)
        assert "/log" in page.url and "saved" not in page.url  # nobody is led away from what he does now
    lines = shop.new()
    assert [(line.entry.kind, line.photo) for line in lines] == [("filter", True), ("service", False)]
    assert before_ms - 1000 <= lines[0].entry.at_ms <= after_ms + 1000 and lines[0].entered_ms > after_ms


def test_a_reload_while_the_host_is_away_loses_nothing(browser: Browser, shop: Workshop) -> None:
    """Nor does a phone whose clock is three days behind tell a wrong time."""
    with phone(browser) as page:
        page.add_init_script(SET_CLOCK.format(days=-3))
        page.goto(shop.url())
        shop.kill()
        before_ms = now_ms()
        note(page)
        expect(page.locator("#queue")).to_contain_text("1 entry waits")
        after_ms = now_ms()
        page.goto("about:blank")
        shop.start()
        page.goto(shop.url("/alarms"))  # any page sends what waits
        eventually(lambda: page.evaluate("Object.keys(localStorage).join().indexOf('sootline-entry-')") == -1)
    [line] = shop.new()
    assert line.entry.kind == "filter" and before_ms - 1000 <= line.entry.at_ms <= after_ms + 1000


def test_an_answer_that_is_lost_does_not_double_the_entry(browser: Browser, shop: Workshop) -> None:
    """The host has kept it, but the phone went out of reach before it was told."""
    with phone(browser, service_workers="block") as page:
        page.goto(shop.url(name="127.0.0.1"))
        lost: list[int] = []

        def swallow(route: Route) -> None:
            if route.request.method == "POST" and not lost:
                lost.append(route.fetch().status)
                route.abort()
            else:
                route.continue_()

        page.route("**/log", swallow)
        note(page)
        expect(page.locator("#queue")).to_contain_text("1 entry waits")
        assert lost == [200]
        page.evaluate("window.dispatchEvent(new Event('online'))")
        expect(page.locator("#queue")).to_be_hidden()
    assert len(shop.new()) == 1


def test_a_double_tap_makes_one_entry(browser: Browser, shop: Workshop) -> None:
    with phone(browser) as page:
        page.goto(shop.url())
        tap(page, "Engine shed")
        tap(page, "Changed nozzle")
        page.get_by_role("button", name="Keep it").dblclick()
        expect(page.locator(".verdict-calm")).to_be_visible()
    assert [line.entry.kind for line in shop.new()] == ["nozzle"]


def test_two_pages_send_what_waits_only_once(browser: Browser, shop: Workshop) -> None:
    with phone(browser) as page:
        page.goto(shop.url())
        other = page.context.new_page()
        other.goto(shop.url("/alarms"))
        shop.kill()
        note(page)
        note(page, kind="Electrodes done")
        expect(other.locator("#queue li")).to_have_count(2)
        shop.start()
        for each in (page, other):
            each.evaluate("setTimeout(function () { window.dispatchEvent(new Event('online')); }, 50)")
        for each in (page, other):
            expect(each.locator("#queue")).to_be_hidden(timeout=20_000)
    assert sorted(line.entry.kind for line in shop.new()) == ["electrodes", "filter"]


def test_a_clock_weeks_ahead_still_tells_when(browser: Browser, shop: Workshop) -> None:
    with phone(browser) as page:
        page.add_init_script(SET_CLOCK.format(days=40))
        page.goto(shop.url())
        page.context.set_offline(True)
        before_ms = now_ms()
        note(page)
        expect(page.locator("#queue")).to_be_visible()
        after_ms = now_ms()
        page.wait_for_timeout(1500)
        page.context.set_offline(False)
        expect(page.locator("#queue")).to_be_hidden(timeout=20_000)
    [line] = shop.new()
    assert before_ms - 1000 <= line.entry.at_ms <= after_ms + 1000


def test_any_open_page_takes_an_entry_while_the_host_is_away(browser: Browser, shop: Workshop) -> None:
    with phone(browser) as page:
        page.goto(shop.url("/"))
        eventually(lambda: page.evaluate("localStorage.getItem('sootline-form')"))
        page.context.set_offline(True)
        page.locator("#card-carriage-shop").get_by_role("link", name="Note what was done").click()
        expect(page.locator("#away")).to_be_visible()
        expect(page.locator("input[value=carriage-shop]")).to_be_checked()
        tap(page, "Repaired something")
        page.get_by_role("button", name="Keep it").click()
        expect(page.locator("#queue")).to_contain_text("1 entry waits")
        page.context.set_offline(False)
        expect(page.locator("#queue")).to_be_hidden(timeout=20_000)
    [line] = shop.new()
    assert (line.furnace, line.entry.kind, line.by) == ("carriage-shop", "repair", "Maud")


def test_a_label_opens_the_form_without_the_host_where_service_workers_are_allowed(
    browser: Browser, shop: Workshop
) -> None:
    with phone(browser) as page:
        page.goto(shop.url("/", name="127.0.0.1"))
        page.evaluate("navigator.serviceWorker.ready.then(function () { return caches.match('/log/away'); })")
        eventually(lambda: page.evaluate("caches.match('/log/away').then(function (a) { return !!a; })"))
        page.reload()  # from here on the worker stands before the pages
        page.wait_for_timeout(1100)
        shop.kill()
        before_ms = now_ms()
        page.goto(shop.url("/log?furnace=engine-shed&kind=batch&thing=Barrel+3", name="127.0.0.1"))
        expect(page.locator("#away")).to_be_visible()
        page.get_by_role("button", name="Keep it").click()
        expect(page.locator("#queue")).to_contain_text("New batch of oil · Engine shed")
        after_ms = now_ms()
        shop.start()
        page.evaluate("window.dispatchEvent(new Event('online'))")
        expect(page.locator("#queue")).to_be_hidden(timeout=20_000)
    [line] = shop.new()
    assert (line.entry.kind, line.entry.note) == ("batch", "Barrel 3")
    # the kept page is older than the tap by a second, and must not be taken for the present
    assert before_ms - 200 <= line.entry.at_ms <= after_ms + 200


def test_what_the_host_refuses_is_shown_until_somebody_takes_it_out(browser: Browser, shop: Workshop) -> None:
    with phone(browser) as page:
        page.goto(shop.url())
        page.locator("#entry-more summary").click()
        page.locator("input[name=at]").fill("2001-01-01T10:00")
        note(page)
        expect(page.locator("#queue")).to_contain_text("refused. That is more than a year ago")
        page.get_by_role("button", name="Take out").click()
        expect(page.locator("#queue")).to_be_hidden()
    assert shop.new() == []


@pytest.mark.parametrize("script", [True, False], ids=["script", "plain"])
def test_a_photo_goes_along_and_is_shown(browser: Browser, shop: Workshop, script: bool) -> None:
    with phone(browser, java_script_enabled=script) as page:
        page.goto(shop.url())
        choose_photo(page)
        note(page, kind="Worked on the blower")
        shown = page.locator(".book img")
        expect(shown.first).to_be_visible()
        if script:
            expect(page.locator(".verdict-calm")).to_be_visible()
            assert shown.first.evaluate("image => image.decode().then(() => image.naturalWidth)") == 1600
    [line] = shop.new()
    with Store.open(shop.host.data, read_only=True) as store:
        kept = store.photo(line.id)
    assert kept is not None and b"Tollen" not in kept and b"Exif" not in kept
    assert (shop.host.data / "photos" / f"{line.id}.jpg").exists()


def test_an_entry_is_undone_and_stays_readable(browser: Browser, shop: Workshop) -> None:
    with phone(browser) as page:
        page.goto(shop.url())
        note(page, kind="Cleaned heat exchanger")
        [line] = eventually(shop.new)
        page.locator(f"#undo-{line.id} summary").click()
        page.get_by_role("button", name="Undo it").first.click()
        expect(page.locator(f"#entry-{line.id}")).to_contain_text("by Maud: it acts no more")
        expect(page.locator(f"#undo-{line.id}")).to_have_count(0)
    with Store.open(shop.host.data, read_only=True) as store:
        assert line.entry not in store.log("engine-shed") and store.logged(line.id) is not None
