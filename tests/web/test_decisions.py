"""The cleaning page and the oil page: the same numbers as the commands, in every state, in a real browser."""

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, expect

from sootline.advice import ledger
from sootline.commands import batch, cleaning, stock
from sootline.web.app import build
from sootline.web.server import Server
from tests.heat.history import DAY_MS, PROFILE, START_MS, Past
from tests.web.conftest import visitor
from tests.web.visit import sound
from tests.web.workshop import SIZES, StagedLive, furnace_now

NOW_MS = START_MS + 38 * DAY_MS - 3_600_000


@pytest.fixture(scope="module")
def past(tmp_path_factory: pytest.TempPathFactory) -> Past:
    """38 days, 304 burning hours, 45.6 K over clean."""
    made = Past(tmp_path_factory.mktemp("past"), probe_tau_s=20.0, returned_C=15.0)
    made.burn(20)
    made.log("batch")
    made.burn(18)
    return made


@pytest.fixture(scope="module")
def server(past: Past) -> Iterator[Server]:
    live = StagedLive()
    live.put(furnace_now(now_ms=NOW_MS), furnace_now("carriage-shop", "standby", now_ms=NOW_MS))
    server = Server(build(live, past.folder, now=lambda: NOW_MS), port=0)
    server.start()
    yield server
    server.stop()


@pytest.fixture
def client(server: Server) -> Iterator[httpx.Client]:
    with visitor(server) as made:
        yield made


@contextmanager
def served(folder: Path, now_ms: int) -> Iterator[httpx.Client]:
    """A visitor of pages of their own on a folder."""
    live = StagedLive()
    live.put(furnace_now())
    server = Server(build(live, folder, now=lambda: now_ms), port=0)
    server.start()
    try:
        with visitor(server) as made:
            yield made
    finally:
        server.stop()


def post(client: httpx.Client, path: str, **form: str) -> httpx.Response:
    token = re.search(r'name="token" value="([^"]+)"', client.get(path).text)
    assert token is not None
    return client.post(path, data={"token": token[1], **form})


def test_the_cleaning_page_says_what_the_command_says(
    client: httpx.Client, past: Past, capsys: pytest.CaptureFixture[str]
) -> None:
    cleaning.main([past.furnace, "--data", str(past.folder), "--json"])
    told = json.loads(capsys.readouterr().out)
    page = client.get("/furnace/engine-shed/cleaning").text
    year, month, day = told["date"][1].split("-")
    months = ("", "Jan", "Feb", "Mar", "Apr", "May", "Jun")
    assert f"most likely {int(day)} {months[int(month)]} {year}" in page
    rise = next(f for f in told["figures"] if f["key"] == "rise")
    assert f"Now {rise['value']:.0f} ± {rise['standard_error']:.0f} °C over it" in page
    for cause in told["causes"]:
        assert f">{cause['cause'].capitalize()}</th><td>{cause['result']}</td>" in page
    assert "--season-end" not in page and "season end: not known" in page


def test_the_latest_firing_is_laid_over_the_first_clean_one(client: httpx.Client) -> None:
    """The first is too old for the list of the firings page, and still to be chosen there."""
    page = client.get("/furnace/engine-shed/cleaning").text
    link = re.search(r'href="(/furnace/engine-shed/firings\?one=(\d+)&amp;other=(\d+))"', page)
    assert link is not None and int(link[3]) == START_MS and int(link[2]) > NOW_MS - 2 * DAY_MS
    firings = client.get(link[1].replace("&amp;", "&")).text
    assert f'value="{START_MS}" selected' in firings and f'value="{link[2]}" selected' in firings


def test_the_furnaces_page_tells_what_comes_next(client: httpx.Client) -> None:
    page = client.get("/furnace/engine-shed/cleaning").text
    headline = re.search(r'class="headline">([^<]+)<', page)
    told = client.get("/furnace/engine-shed/next").text
    assert (
        headline is not None
        and f"Cleaning: {headline[1][0].lower()}{headline[1][1:]}." in told
        and "days left, empty about" in told
    )
    nothing = client.get("/furnace/carriage-shop/next")
    assert nothing.status_code == 200 and "When to clean" in nothing.text and "left" not in nothing.text
    assert client.get("/furnace/barn/next").status_code == 404


def test_what_only_the_owner_knows_moves_the_date(client: httpx.Client) -> None:
    plain = client.get("/furnace/engine-shed/cleaning").text
    ends = client.get("/furnace/engine-shed/cleaning?season_end=2026-02-13").text
    assert "End of the season" in ends and "End of the season" not in plain
    assert "13 Feb 2026" in ends
    refused = client.get("/furnace/engine-shed/cleaning?season_end=soon")
    assert refused.status_code == 400 and "is no date" in refused.text
    assert client.get("/furnace/engine-shed/cleaning?coldest=warm").status_code == 400


def without_sources(page: str) -> str:
    """The page without what it quotes of standards, which are in the units they are in."""
    return re.sub(r'<details class="sources">.*?</details>', "", page, flags=re.S)


def test_units_are_those_chosen(client: httpx.Client) -> None:
    post(client, "/furnace/engine-shed/cleaning")  # a refused act: sets the form's cookie
    client.cookies.set("sootline_units", "us")
    page = without_sources(client.get("/furnace/engine-shed/cleaning").text)
    assert "°F over it" in page and not re.search(r"\d (K|°C)\b", page)
    oil = without_sources(client.get("/furnace/engine-shed/oil?kind1=vg-46&part1=1").text)
    assert "gal" in oil and not re.search(r"\d (K|°C|L)\b", oil)


def test_every_figure_names_its_source(client: httpx.Client) -> None:
    for path in ("/furnace/engine-shed/cleaning", "/furnace/engine-shed/oil?kind1=vg-46&part1=1"):
        page = client.get(path).text
        assert "Where these come from" in page
        for sources in re.findall(r'<details class="sources">(.*?)</details>', page, re.S):
            assert sources.count("<dt>") == len(re.findall(r"\((?:heat|advice)\.", sources)) > 0


def test_without_data_there_is_no_advice(client: httpx.Client) -> None:
    page = client.get("/furnace/carriage-shop/cleaning").text
    assert "No data yet" in page and "Between" not in page and '<svg class="plot"' not in page
    assert "Nothing is stored of this furnace yet." in client.get("/furnace/carriage-shop/oil").text
    assert client.get("/furnace/barn/cleaning").status_code == 404


def test_while_learning_there_is_no_date(tmp_path: Path) -> None:
    young = Past(tmp_path)
    young.burn(4)
    with served(tmp_path, START_MS + 4 * DAY_MS) as client:
        page = client.get("/furnace/engine-shed/cleaning").text
        assert "learning the clean stack, 16 of 30 firings and 3 of 7 days" in page
        assert "Between" not in page and "Write down" not in page
        assert post(client, "/furnace/engine-shed/cleaning", act="predict").status_code == 400
        assert not ledger.path_of(tmp_path, "engine-shed").exists()


def test_prediction_before_and_proof_after(tmp_path: Path) -> None:
    own = Past(tmp_path)
    own.burn(38)
    path = "/furnace/engine-shed/cleaning"
    with served(tmp_path, START_MS + 50 * DAY_MS) as client:
        assert "Written down." in post(client, path, act="predict").text
        again = post(client, path, act="predict")
        assert again.status_code == 400 and "stand until the cleaning" in again.text and "--" not in again.text
        own.log("cleaning")
        own.burn(1)
        early = post(client, path, act="prove")
        assert early.status_code == 400 and "5 steady firings" in early.text
        own.burn(7)
        page = client.get(path).text
        assert "Compare with what was written down" in page and "not compared yet" in page
        proved = post(client, path, act="prove", ash="1.0").text
        assert "Compared." in proved and "Hits: 1 of 1 predictions" in proved and ">hit</td>" in proved
    (row,) = ledger.load(ledger.path_of(tmp_path, "engine-shed")).rows
    assert row.outcome is not None and row.outcome.ash_kg == 1.0


def test_the_oil_page_says_what_the_command_says(
    client: httpx.Client, past: Past, capsys: pytest.CaptureFixture[str]
) -> None:
    stock.main([past.furnace, "--data", str(past.folder), "--json"])
    told = json.loads(capsys.readouterr().out)
    days = next(f for f in told["figures"] if f["key"] == "days")
    page = client.get("/furnace/engine-shed/oil").text
    assert f"About {days['value']:.0f} days left" in page
    batches = [p for p in told["periods"]["batch"] if p["refills"]]
    assert all(f'<td class="num">{p["refills"]}</td>' in page for p in batches)
    given = client.get("/furnace/engine-shed/oil?stock=100").text
    assert "100 L (± 5, as given)" in given
    assert client.get("/furnace/engine-shed/oil?stock=-3").status_code == 400


def test_a_batch_is_logged_from_the_page(client: httpx.Client, past: Past, capsys: pytest.CaptureFixture[str]) -> None:
    path = "/furnace/engine-shed/oil"
    form = {"source": "household", "kind": "engine-15w-40", "volume": "60,5", "ppm_lead": "120", "flash": "93"}
    page = post(client, path, **form).text
    assert "Kept." in page, re.sub("<[^>]*>", " ", page)
    assert "lead 120 ppm is above 100 ppm" in page and "Outside a limit of 40 CFR 279.11" in page
    batch.main(["list", "--data", str(past.folder), "--json"])
    (kept,) = json.loads(capsys.readouterr().out)["batches"]
    assert (kept["litres"], kept["flash_C"], kept["source"]) == (60.5, 93.0, "household")
    for bad in ({"source": "mine"}, {"kind": " "}, {"volume": "0"}, {"volume": "lots"}, {"received": "2027-01-01"}):
        assert post(client, path, **{**form, **bad}).status_code == 400
    batch.main(["list", "--data", str(past.folder), "--json"])
    assert len(json.loads(capsys.readouterr().out)["batches"]) == 1
    assert "oil: engine-15w-40, the newest batch logged" in client.get(path).text


def test_a_changed_ledger_is_told_and_hides_nothing_else(tmp_path: Path) -> None:
    own = Past(tmp_path)
    own.burn(10)
    file = ledger.path_of(tmp_path, "engine-shed")
    file.parent.mkdir()
    file.write_text("{}\n")
    with served(tmp_path, START_MS + 10 * DAY_MS) as client:
        answer = client.get("/furnace/engine-shed/cleaning")
        assert answer.status_code == 400 and "line 1 cannot be what was written" in answer.text


@pytest.mark.parametrize("size", SIZES)
def test_the_pages_in_a_browser(server: Server, browser: Browser, size: str) -> None:
    page = browser.new_page(viewport=SIZES[size])  # type: ignore[arg-type]
    errors: list[str] = []
    page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    for path in ("cleaning", "oil?kind1=engine-15w-40&part1=2&kind2=vg-46&part2=1"):
        page.goto(f"{server.url}furnace/engine-shed/{path}")
        sound(page)
        drawn = [svg for svg in page.query_selector_all("svg.plot") if svg.is_visible()]
        assert len(drawn) == 1
        page.emulate_media(color_scheme="dark")
        sound(page)
        page.emulate_media(color_scheme="light")
    page.goto(f"{server.url}furnace/engine-shed/cleaning")
    page.get_by_label("The season ends on").fill("2026-02-20")
    page.get_by_role("button", name="Reckon with it").click()
    assert "End of the season" in page.inner_text("main")
    page.get_by_text("Where these come from").click()
    assert "Source" not in page.inner_text(".sources") and "D1250" in page.inner_text(".sources")
    page.goto(f"{server.url}furnace/engine-shed")
    expect(page.locator("[data-next]")).to_contain_text("days left")
    assert not errors
    page.close()


def test_a_profile_without_a_differential_is_told_what_to_set(tmp_path: Path) -> None:
    own = Past(tmp_path)
    own.burn(3)
    (tmp_path / "profiles" / "engine-shed.toml").write_text(PROFILE.replace("differential_l = 0.45", "limit_s = 20.0"))
    with served(tmp_path, START_MS + 3 * DAY_MS) as client:
        page = client.get("/furnace/engine-shed/oil")
        assert page.status_code == 200 and "set refill.differential_l" in page.text
