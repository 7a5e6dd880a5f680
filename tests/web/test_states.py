"""What the first page looks like with no furnace, one, few and many; learning, and cut off."""

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from sootline.web.server import Server
from tests.web import states
from tests.web.visit import opened
from tests.web.workshop import SIZES, Workshop, furnace_now


def height(page: Page, selector: str) -> float:
    box = page.locator(selector).bounding_box()
    assert box
    return box["height"]


@pytest.mark.parametrize("size", SIZES)
def test_without_a_furnace_it_says_what_to_do_and_what_came_to_nothing(
    browser: Browser, server: Server, shop: Workshop, size: str
) -> None:
    states.empty(shop.live)
    with opened(browser, server.url, size) as page:
        expect(page.locator("ol li")).to_have_count(3)
        expect(page.get_by_text("1 message came but could not be used.")).to_be_visible()
        assert height(page, ".empty") < SIZES[size]["height"]
        page.get_by_role("link", name="See why").click()
        expect(page.get_by_text("not a topic of a furnace").first).to_be_visible()


@pytest.mark.parametrize("size", SIZES)
def test_one_furnace_needs_no_summary_and_is_seen_whole(
    browser: Browser, server: Server, shop: Workshop, size: str
) -> None:
    states.learning(shop.live)
    with opened(browser, server.url, size) as page:
        assert height(page, ".overall") <= 1
        expect(page.get_by_text("learning 7 of 30")).to_be_visible()
        for gauge in page.locator(".gauges:not(.extras) .gauge").all():
            box = gauge.bounding_box()
            assert box and box["y"] + box["height"] <= SIZES[size]["height"], "not on the first screen"


@pytest.mark.parametrize("size", SIZES)
def test_twelve_furnaces_fit_and_those_that_need_somebody_are_named_first(
    browser: Browser, server: Server, shop: Workshop, size: str
) -> None:
    states.twelve(shop.live)
    with opened(browser, server.url, size) as page:
        expect(page.locator(".plates .plate")).to_have_count(12)
        needed = page.locator(".needed b").all_inner_texts()
        assert needed[0] == "Goods shed" and set(needed) == {
            "Goods shed", "Signal works", "Smithy", "Timber shop", "Foundry",
        }  # fmt: skip
        for name in ("boiler-house", "engine-shed", "stores"):
            card = page.locator(f"#card-{name}")
            box = card.bounding_box()
            assert box and box["height"] <= 285, f"{name} is {box['height']} high though nothing is wrong there"
            ages = card.locator(".gauges:not(.extras) .age").all_inner_texts()
            assert len(ages) == 4 and all(re.fullmatch(r"\d+ s ago", text) for text in ages)
        page.locator(".needed a").first.click()
        expect(page.locator("#card-goods-shed")).to_be_in_viewport()
        expect(page.locator("#card-goods-shed").get_by_text("First:")).to_be_visible()
        expect(page.locator("#card-goods-shed").get_by_role("button", name="I have it")).to_be_visible()
        page.locator("#card-smithy h2 a").click()
        expect(page).to_have_url(re.compile("/furnace/smithy$"))


def test_cut_off_furnaces_are_grey_and_say_since_when(browser: Browser, server: Server, shop: Workshop) -> None:
    states.offline(shop.live)
    with opened(browser, server.url, "phone") as page:
        for name, age in (("engine-shed", "1 h 36 min ago"), ("carriage-shop", "4 min ago")):
            card = page.locator(f"#card-{name}")
            assert card.locator(".gauge").count() == card.locator(".gauge.old").count() > 0
            expect(card.locator(".word")).to_have_text("Not known")
            expect(card.locator(".gauge-stack .age")).to_have_text(age)
            expect(card.locator(".verdict-calm")).to_have_count(0)
        expect(page.locator("#card-paint-shop .gauge-stack")).to_contain_text("probe circuit open")


def test_the_menu_has_room_for_seven_pages_on_a_phone(browser: Browser, server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    with opened(browser, server.url, "phone") as page:
        assert height(page, ".rail nav") < 50, "those of today stand in one line"
        words = ["Furnaces", "Alarms", "Log", "Oil", "Reports", "Messages", "Settings"]
        links = "".join(f'<a href="/">{word}</a>' for word in words)
        page.evaluate("links => { document.querySelector('.rail nav').innerHTML = links }", links)
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        assert height(page, ".rail") <= 155, "brand, and the menu in two lines"


def test_what_the_sensors_say_fits_on_a_phone_when_it_is_old(browser: Browser, server: Server, shop: Workshop) -> None:
    """The longest rows there are: a channel of many letters, a draft with its unit, an age in hours."""
    shop.live.put(furnace_now(old_s=96 * 60, nozzle_heater_current=0.0))
    with opened(browser, server.url + "furnace/engine-shed/sensors", "phone") as page:
        expect(page.get_by_text("nozzle_heater_current")).to_be_visible()
        hidden = "document.querySelector('.wide').scrollWidth - document.querySelector('.wide').clientWidth"
        assert page.evaluate(hidden) == 0
