"""Guided fault finding on the page: from an alarm with one tap, from a symptom without one, and into the log."""

import html
import re
from collections.abc import Iterator
from dataclasses import replace

import httpx
import pytest
from playwright.sync_api import Browser, expect

from sootline.analysis.causes.search import PRESSED, RESET
from sootline.analysis.causes.trees import TREES
from sootline.web.app import build
from sootline.web.faults import BRANCHES
from sootline.web.server import Server
from sootline.web.symptoms import SYMPTOMS
from tests.causes.test_search import NEVER, RESETS
from tests.web.test_pages import token
from tests.web.visit import opened, sound
from tests.web.workshop import NOW_MS, SIZES, Workshop, alarm, furnace_now

FAULT = "/furnace/engine-shed/fault"
CAUSES = [
    {"id": "air-leak", "cause": "air drawn in", "probability": 0.72, "evidence": [], "first": "Look."},
    {"id": "filter", "cause": "filter", "probability": 0.2, "evidence": [], "first": "Look."},
]


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """A workshop of their own: what is looked for here is kept."""
    made = Workshop(tmp_path_factory.mktemp("faults"))
    yield made
    made.close()


@pytest.fixture(scope="module")
def server(own: Workshop) -> Iterator[Server]:
    made = Server(build(own.live, own.folder, now=lambda: NOW_MS), port=0)
    made.start()
    yield made
    made.stop()


@pytest.fixture
def shop(own: Workshop) -> Workshop:
    own.live.clear()
    return own


@pytest.mark.parametrize("size", SIZES)
def test_from_an_alarm_to_what_was_found(browser: Browser, server: Server, shop: Workshop, size: str) -> None:
    shop.live.put(furnace_now(alarms=(alarm(detail={"causes": CAUSES}),)))
    with opened(browser, server.url, size, "dark" if size == "phone" else "light") as page:
        page.get_by_role("link", name="Find the cause step by step").click()  # one tap
        expect(page.get_by_text("A fault here would speak for: air drawn in at the filter bowl")).to_be_visible()
        expect(page.locator("#likely-title + ul li").first).to_contain_text("72% air drawn in")
        sound(page)
        page.get_by_label("Your name").fill("Pim")
        page.get_by_role("button", name="Nothing wrong at any of them").click()
        expect(page.locator("#likely-title + ul li").first).to_contain_text("filter")
        expect(page.locator(".said li")).to_have_text(
            re.compile("bubbles in the filter bowl; .* Nothing wrong at any of them")
        )
        page.get_by_role("button", name="Back one step").click()
        expect(page.locator(".said li")).to_have_count(0)
        page.get_by_role("button", name=re.compile("Something is wrong here.*bubbles in the filter bowl")).dblclick()
        expect(page.locator("#step-title")).to_have_text("Found")
        expect(page.locator(".step")).to_contain_text("then push the refill reset once.")
        expect(page.locator(".step")).to_contain_text("for whoever mended it, or somebody licensed, to say")
        sound(page)
        page.get_by_role("link", name="log").last.click()
        lines = page.locator(".book > li", has_text="Looked for a cause: refill stalled")
        expect(lines.filter(has_text="Found: air drawn in at the filter bowl").first).to_be_visible()
        sound(page)
    found = [s for s in shop.store.searches() if s.found is not None and s.found.startswith("air drawn in")]
    assert {(s.alarm, s.by, s.raised_ms) for s in found} == {("refill-timeout", "Pim", alarm().raised_ms)}
    assert [answer.answer for s in found for answer in s.answers] == ["fault:0"] * len(found)


@pytest.mark.parametrize("size", SIZES)
def test_from_a_symptom_without_an_alarm_to_somebody_licensed(
    browser: Browser, server: Server, shop: Workshop, size: str
) -> None:
    shop.live.put(furnace_now())
    with opened(browser, server.url + "furnace/engine-shed", size) as page:
        page.get_by_role("link", name="Find a fault").click()
        sound(page)
        page.locator(".symptoms").get_by_role("link", name="Locked out").click()
        expect(page.locator(".step")).to_contain_text(RESET)
        page.get_by_label("Your name").fill("Pim")
        page.get_by_role("button", name="No oil lies there").click()
        expect(page.locator("#step-title")).to_contain_text("Power off at the service switch or the breaker")
        expect(page.locator(".step")).to_contain_text("Mains: off at the breaker and proved dead")
        sound(page)
        with page.expect_navigation():
            page.get_by_role("button", name="I cannot, or may not, do that").click()
        for _ in range(9):
            if page.locator(".item").count() == 0:
                break
            with page.expect_navigation():
                page.locator("button[value=fine]").click()
        expect(page.locator("#step-title")).to_have_text("Nothing found by looking")
        expect(page.locator(".step")).to_contain_text("Call somebody licensed.")
        sound(page)


@pytest.mark.parametrize("size", SIZES)
def test_who_smells_oil_is_told_what_to_do_and_led_to_the_cause(
    browser: Browser, server: Server, shop: Workshop, size: str
) -> None:
    """No alarm stands, and he knows none of their names."""
    shop.live.put(furnace_now())
    with opened(browser, server.url, size) as page:
        page.get_by_role("link", name="Find a fault").click()
        page.get_by_role("link", name="Smell of oil").click()
        expect(page.locator(".step")).to_contain_text("shut the supply valve; keep flames away")
        expect(page.locator(".step")).to_contain_text("look before you step")
        sound(page)
        page.get_by_role("link", name="Oil in the tray or on the floor").click()
        expect(page.locator("#step-title")).to_contain_text("Switch off, shut the supply valve")
        page.get_by_role("link", name="It is something else").click()
        page.get_by_role("link", name="Smoke or exhaust in the room").click()
        expect(page.locator(".step")).to_contain_text("Everybody out")
        assert page.locator("main .symptoms").count() == 0  # nobody is sent back in to look for a cause
        sound(page)


def test_a_symptom_leads_to_the_alarm_that_stands_first(client: httpx.Client, shop: Workshop) -> None:
    """What was measured then weighs in: the search from the alarm begins with its causes, not with the priors."""
    shop.live.put(furnace_now(alarms=(alarm(detail={"causes": CAUSES}),)))
    text = client.get(FAULT, params={"symptom": "cold"}).text
    assert text.index(f"alarm=refill-timeout&amp;raised={alarm().raised_ms}") < text.index("It does nothing")
    assert "Refill stalled" not in client.get(FAULT, params={"symptom": "smoke-in-room"}).text


@pytest.mark.parametrize("name", SYMPTOMS)
def test_no_symptom_says_what_must_never_be_said(client: httpx.Client, shop: Workshop, name: str) -> None:
    shop.live.put(furnace_now())
    text = client.get(FAULT, params={"symptom": name}).text
    _check(text)
    assert SYMPTOMS[name].first and all(alarm in TREES for alarm, _ in SYMPTOMS[name].then)
    assert name in ("smoke-in-room", "flue-fire") or len(SYMPTOMS[name].then) > 0
    assert client.get(FAULT, params={"symptom": "wish"}).status_code == 404


def test_every_alarm_has_its_place() -> None:
    assert sorted(alarm for _, alarms in BRANCHES for alarm in alarms) == sorted(TREES)


@pytest.mark.parametrize("name", TREES)
def test_no_page_says_what_must_never_be_said(client: httpx.Client, shop: Workshop, name: str) -> None:
    """All in order as far as it goes, with the power off; and what is found at the last thing looked at."""
    shop.live.put(furnace_now(alarms=(alarm(name, detail={"resets_24h": 1}),)))
    text = client.get(FAULT, params={"alarm": name, "raised": alarm(name).raised_ms}).text
    sent = {"token": token(client, FAULT), "by": "Pim", "alarm": name, "raised": alarm(name).raised_ms}
    sent["search"] = search = text.split('name="search" value="')[1].split('"')[0]
    assert (PRESSED in text) == (RESET in text)
    for _ in range(12):
        _check(text)
        values = re.findall(r'name="answer" value="([a-z]+)"', text)
        good = next((value for value in ("done", "dry", "fine") if value in values), None)
        if good is None:
            break
        step = html.unescape(text.split('name="step" value="')[1].split('"')[0])
        text = client.post(FAULT, data=sent | {"step": step, "answer": good}).text
    assert "Call somebody licensed." in text
    back = client.post(FAULT, data=sent | {"step": "end", "answer": "back"}).text
    step = html.unescape(back.split('name="step" value="')[1].split('"')[0])
    found = client.post(FAULT, data=sent | {"step": step, "answer": "fault:0"}).text
    assert "Found" in found
    _check(found)
    assert shop.store.search(search).ended == "found"  # type: ignore[union-attr]


def _check(page: str) -> None:
    main = re.sub(r"<[^>]+>", "\n", page[page.index("<main") : page.index("</main>")])
    for line in map(str.strip, html.unescape(main).splitlines()):
        for pattern in NEVER:
            assert not re.search(pattern, line, re.IGNORECASE), (pattern, line)
        for sentence in re.split(r"(?<=[.!?]) ", line):
            if "reset" in sentence.lower():
                allowed = (*RESETS, r"^the refill limiter latched out and was never reset")
                assert any(re.search(words, sentence) for words in allowed), sentence


def test_what_names_no_fault_is_refused(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    before = shop.store.searches()
    for query in ({"alarm": "board-offline"}, {"alarm": "wish"}, {"alarm": ""}):
        assert client.get(FAULT, params=query).status_code == 404
    assert client.get("/furnace/nowhere/fault").status_code == 404
    assert client.get(f"{FAULT}/{'f' * 32}").status_code == 404
    sent = {"token": token(client, FAULT), "by": "Pim", "search": "f" * 32, "alarm": "lockout", "step": "chamber"}
    for change in ({"alarm": "wish"}, {"search": "../x"}, {"token": "x" * 43}, {"by": ""}):
        assert client.post(FAULT, data=sent | {"answer": "dry"} | change).status_code == 400
    assert client.post(FAULT, data=sent | {"answer": "off you go"}).status_code == 404  # nothing was begun
    assert shop.store.searches() == before


def test_a_search_stays_with_its_furnace(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now(), furnace_now("carriage-shop"))
    sent = {"token": token(client, FAULT), "by": "Pim", "search": "e" * 32, "alarm": "lockout", "step": "chamber"}
    assert client.post(FAULT, data=sent | {"answer": "dry"}).status_code == 200
    other = FAULT.replace("engine-shed", "carriage-shop")
    assert client.get(f"{other}/{'e' * 32}").status_code == 404
    assert client.post(other, data=sent | {"step": "off", "answer": "done"}).status_code == 400
    assert "Go on" in client.get("/log").text and "Not finished" in client.get(FAULT).text


def test_an_alarm_that_is_its_own_cause_has_no_guide(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now(alarms=(replace(alarm("board-offline"), detail={}),)))
    assert "step by step" not in client.get("/").text
