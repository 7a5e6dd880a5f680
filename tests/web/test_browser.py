"""The pages in a real browser, as people use them: thumb, keyboard, screen reader, bad connection."""

import re
from collections.abc import Callable
from dataclasses import replace

import pytest
from playwright.sync_api import Browser, Page, expect

from sootline import units
from sootline.now import Reading
from sootline.web.app import build
from sootline.web.server import Server
from tests.web.states import STATES
from tests.web.visit import opened, sound
from tests.web.workshop import NOW_MS, SIZES, Workshop, alarm, furnace_now

FURNACE = "/furnace/engine-shed"
PAGES = ("/", FURNACE)
MORE_PAGES = (
    *(f"{FURNACE}/{page}" for page in ("season", "firings", "refills", "warm-ups", "sensors")),
    "/alarms", "/alarms/figures", "/log", "/set-aside",
    "/settings", "/settings/analysis", f"{FURNACE}/profile",
)  # fmt: skip


def drawn(page: Page) -> None:
    for figure in page.locator("[data-chart], [data-overlay], [data-trend]").all():
        expect(figure).to_have_attribute("data-drawn", re.compile(".+"))


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("state", STATES)
def test_every_state_is_whole_and_accessible(
    browser: Browser, server: Server, shop: Workshop, state: str, size: str
) -> None:
    STATES[state](shop.live)
    theme = "dark" if (state in ("normal", "offline")) == (size == "desk") else "light"
    with opened(browser, server.url, size, theme) as page:
        for path in PAGES[:1] if state == "empty" else PAGES + MORE_PAGES if state == "trouble" else PAGES:
            page.goto(server.url.rstrip("/") + path)
            drawn(page)
            sound(page)


def test_numbers_change_by_themselves(browser: Browser, server: Server, shop: Workshop) -> None:
    now = furnace_now()
    shop.live.put(now)
    with opened(browser, server.url) as page:
        stack = page.locator(".gauge-stack .value")
        expect(stack).to_have_text("284 °C")
        shop.live.put(replace(now, readings={**now.readings, "stack": Reading(NOW_MS, 301.2)}))
        expect(stack).to_have_text("301 °C")
        expect(page.locator(".gauge-stack .age")).to_contain_text("now")


def test_phase_alarm_and_flue_change_by_themselves(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now(phase="standby"))
    with opened(browser, server.url + "furnace/engine-shed", "phone") as page:
        expect(page.locator(".word")).to_have_text("Waiting")
        shop.live.put(furnace_now(phase="lockout", alarms=(alarm("lockout", priority="high"),)))
        expect(page.locator(".word")).to_have_text("Locked out")
        expect(page.locator(".alarm h3")).to_have_text("Locked out")
        expect(page.locator(".plate").first).to_have_class("plate flue-stop")
        expect(page).to_have_title("Engine shed: Act soon · sootline")
        shop.live.put(furnace_now())
        expect(page.locator(".alarm")).to_have_count(0)


def test_a_new_furnace_appears_by_itself(browser: Browser, server: Server, shop: Workshop) -> None:
    with opened(browser, server.url) as page:
        expect(page.locator(".empty")).to_be_visible()
        shop.live.put(furnace_now("carriage-shop"))
        expect(page.locator("h2 a")).to_have_text("Carriage shop")


def test_an_update_leaves_alone_what_a_person_does(browser: Browser, server: Server, shop: Workshop) -> None:
    stall = alarm()
    shop.live.put(furnace_now(alarms=(stall,)))
    with opened(browser, server.url) as page:
        page.locator(".alarm summary").click()
        field = page.locator("input[name=by]")
        field.click()
        field.press_sequentially("Ma")
        worse = replace(stall, priority="critical")
        shop.live.put(furnace_now(alarms=(worse,)))
        expect(page.locator(".alarm-now")).to_be_visible()
        field.press_sequentially("ud")
        expect(field).to_have_value("Maud")
        expect(page.locator(".alarm details")).to_have_attribute("open", "")


@pytest.mark.parametrize("size", SIZES)
def test_somebody_takes_an_alarm_by_keyboard_and_is_not_asked_again(
    browser: Browser, server: Server, shop: Workshop, size: str
) -> None:
    shop.live.put(furnace_now(alarms=(alarm(), alarm("leak", priority="critical", minutes_ago=2))))
    with opened(browser, server.url, size) as page:
        page.locator("input[name=by]").first.focus()
        page.keyboard.type("Jory")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        expect(page.get_by_text("Jory has it since")).to_be_visible()
        expect(page.locator("input[name=by]")).to_have_value("Jory")
        page.get_by_role("button", name="I have it").click()
        expect(page.get_by_text("Jory has it since")).to_have_count(2)


def test_a_form_that_came_with_a_live_update_works(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    with opened(browser, server.url) as page:
        shop.live.put(furnace_now(alarms=(alarm(),)))
        page.locator("input[name=by]").fill("Pim")
        page.get_by_role("button", name="I have it").click()
        expect(page.get_by_text("Pim has it since")).to_be_visible()


def test_units_switch(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    with opened(browser, server.url, "phone") as page:
        page.get_by_role("button", name="Show Fahrenheit").click()
        expect(page.locator(".gauge-stack .value")).to_have_text("543 °F")
        shop.live.put(furnace_now(stack=300.0))
        expect(page.locator(".gauge-stack .value")).to_have_text("572 °F")


def test_ages_are_counted_alike_on_both_sides(browser: Browser, server: Server, shop: Workshop) -> None:
    seconds = [0.2, 1, 4.9, 59.9, 60, 3599, 3600, 7800, 36_600, 86_399, 86_400, 90_000, 266_400, 34_560_000]
    with opened(browser, server.url) as page:
        assert page.evaluate("list => list.map(sootline.age)", seconds) == [units.age(s) for s in seconds]


def test_numbers_grow_old_and_a_dead_host_is_told(browser: Browser, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    server = Server(build(shop.live, shop.folder, now=lambda: NOW_MS), port=0)
    server.start()
    context = browser.new_context(viewport=SIZES["phone"])
    page = context.new_page()
    page.clock.install()
    page.goto(server.url)
    expect(page.locator(".gauge-stack .value")).to_have_text("284 °C")
    expect(page.locator("#lost")).to_be_hidden()
    server.stop()
    page.clock.fast_forward(200_000)
    expect(page.locator("#lost")).to_contain_text("No contact with the sootline host since")
    expect(page.locator(".gauge.old")).to_have_count(page.locator(".gauge").count())
    expect(page.locator(".gauge-stack .age")).to_contain_text("3 min ago")
    context.close()


def test_a_page_nobody_looks_at_lets_go_and_catches_up(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    seen = "value => { Object.defineProperty(document, 'hidden', { value, configurable: true });"
    seen += "document.dispatchEvent(new Event('visibilitychange')); }"
    with opened(browser, server.url) as page:
        page.clock.install()
        page.goto(server.url)
        stack = page.locator(".gauge-stack .value")
        expect(stack).to_have_text("284 °C")
        page.evaluate(seen, True)
        page.clock.fast_forward(61_000)
        shop.live.put(furnace_now(stack=301.0))
        page.wait_for_timeout(800)
        expect(stack).to_have_text("284 °C")
        expect(page.locator("#lost")).to_be_hidden()
        page.evaluate(seen, False)
        expect(stack).to_have_text("301 °C")


def test_without_scripts_the_page_still_tells_everything(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now(alarms=(alarm(),)))
    with opened(browser, server.url + "furnace/engine-shed", "phone", java_script_enabled=False) as page:
        expect(page.locator(".gauge-stack .value").first).to_have_text("284 °C")
        expect(page.locator(".gauge-stack .age").first).to_have_text("4 s ago")
        expect(page.locator(".alarm h3")).to_have_text("Refill stalled")
        page.get_by_text("The same in numbers", exact=True).click()
        expect(page.locator("tbody tr").first).to_be_visible()


def test_chart_is_drawn_and_names_what_the_cursor_is_on(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    with opened(browser, server.url + "furnace/engine-shed") as page:
        drawn(page)
        expect(page.locator(".chart canvas")).to_have_count(3)
        box = page.locator(".chart .u-over").first.bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + box["width"] * 0.7, box["y"] + 40)
        expect(page.locator(".key-tank b")).not_to_be_empty()
        expect(page.locator(".key-pump b")).not_to_be_empty()


def test_a_furnace_without_readings_has_no_empty_chart(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now("carriage-shop"))
    with opened(browser, server.url + "furnace/carriage-shop") as page:
        expect(page.locator(".chart-note")).to_have_text("No readings in the last 24 hours.")


def span(page: Page) -> float:
    drawn(page)
    start, end = (page.get_attribute("[data-chart]", "data-drawn") or "").split("-")
    return float(end) - float(start)


def test_season_is_looked_into_by_button_key_and_drag(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    figure = "[data-chart]"
    with opened(browser, server.url + "furnace/engine-shed/season") as page:
        whole = span(page)
        assert whole == 96 * 3600

        def after(act: Callable[[], object]) -> float:
            before = page.get_attribute(figure, "data-drawn") or ""
            act()
            expect(page.locator(figure)).not_to_have_attribute("data-drawn", before)
            return span(page)

        assert after(page.get_by_role("button", name="Closer").click) == whole / 2
        page.get_by_role("button", name="Earlier").focus()
        assert after(lambda: page.keyboard.press("Enter")) == whole / 2
        box = page.locator(".chart .u-over").first.bounding_box()
        assert box is not None

        def drag() -> None:
            page.mouse.move(box["x"] + box["width"] * 0.25, box["y"] + 60)
            page.mouse.down()
            page.mouse.move(box["x"] + box["width"] * 0.75, box["y"] + 60, steps=4)
            page.mouse.up()

        assert after(drag) == pytest.approx(whole / 4, rel=0.02)
        assert after(page.get_by_role("button", name="All", exact=True).click) == whole


def test_an_alarm_leads_to_the_hours_around_it(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    with opened(browser, server.url + "alarms", "phone") as page:
        page.locator("details.past > summary").first.click()
        page.get_by_role("link", name="The hours around it").first.click()
        assert span(page) == 6 * 3600


def test_an_alarm_is_put_on_the_shelf(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now(alarms=(alarm(),)))
    with opened(browser, server.url + "alarms", "phone") as page:
        page.get_by_text("Put it on the shelf for a while").click()
        shelf = page.locator(".shelf")
        shelf.get_by_label("For").select_option("1 hour")
        shelf.get_by_label("Why").fill("gasket comes tomorrow")
        shelf.get_by_label("Your name").fill("Maud")
        shelf.get_by_role("button", name="Shelve").click()
        expect(page.get_by_role("heading", name="On the shelf")).to_be_visible()
        expect(page.get_by_text("put it on the shelf until")).to_be_visible()


def test_troubles_of_the_host_come_and_go_by_themselves(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    with opened(browser, server.url) as page:
        shop.live.show(troubles=("the disk is full; make room",))
        expect(page.get_by_text("The disk is full; make room")).to_be_visible()
        shop.live.show(troubles=())
        expect(page.get_by_text("The disk is full; make room")).to_have_count(0)


def test_two_firings_are_laid_one_over_another(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    with opened(browser, server.url + "furnace/engine-shed/firings", "phone") as page:
        drawn(page)
        expect(page.locator("[data-overlay] canvas")).to_have_count(3)
        expect(page.locator("[data-trend] canvas")).to_have_count(2)
        note = page.locator("[data-overlay] .chart-note")
        before = note.inner_text()
        page.get_by_label("over this one").select_option(index=5)
        page.get_by_role("button", name="Show", exact=True).click()
        drawn(page)
        expect(note).not_to_have_text(before)
