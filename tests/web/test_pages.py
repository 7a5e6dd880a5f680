"""Pages and forms over HTTP, without a browser."""

import gzip
import json
import re
from dataclasses import replace

import httpx
import pytest

from sootline import wording
from sootline.now import SetAside
from sootline.web.assets import CHART_FILES, chart_folder
from sootline.web.security import host_allowed
from tests.web.workshop import NOW_MS, Workshop, alarm, furnace_now


def token(client: httpx.Client, path: str = "/") -> str:
    found = re.search(r'data-token="([\w-]{43})"', client.get(path).text)
    assert found
    return found[1]


def test_no_furnace_yet_says_what_to_do(fresh: tuple[Workshop, httpx.Client]) -> None:
    text = fresh[1].get("/").text
    assert "No furnace yet" in text and "Power the board" in text


def test_front_page_shows_every_furnace_number_unit_and_age(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now(), furnace_now("carriage-shop", "standby"))
    text = client.get("/").text
    assert text.count('class="plate flue-') == 2
    assert "Engine shed" in text and "Carriage shop" in text
    values = re.findall(r'class="value">(\S+) <span class="unit">([^<]+)</span>', text)
    assert ("284", "°C") in values and ("62", "%") in values and ("96.5", "kPa") in values
    assert text.count("4 s ago") >= text.count('class="gauge ')
    assert wording.CO_NOTICE in text


def test_units_follow_the_switch(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    sent = {"token": token(client), "system": "us", "back": "/"}
    answer = client.post("/units", data=sent, headers={"Origin": str(client.base_url).rstrip("/")})
    assert answer.status_code == 200 and answer.url.path == "/"
    values = re.findall(r'class="value">(\S+) <span class="unit">([^<]+)</span>', client.get("/").text)
    assert ("543", "°F") in values and ("14.0", "psi") in values
    chart = client.get("/furnace/engine-shed/chart.json").json()
    assert chart["series"][0]["unit"] == "°F" and max(v for v in chart["series"][0]["high"] if v) > 500


def test_alarm_is_shown_in_full(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now(alarms=(alarm(hazard="fire"),)))
    text = client.get("/").text
    for needed in (
        "Refill stalled", "Act soon", "since ", "18 min ago", "Supply empty, valve shut or air leak at the filter bowl",
        "72%", "Look at the supply level and the filter bowl", wording.HAZARDS["fire"], "Nobody has it yet",
    ):  # fmt: skip
        assert needed in text, needed


def test_acknowledging_asks_the_name_once(client: httpx.Client, shop: Workshop) -> None:
    stall = alarm()
    shop.live.put(furnace_now(alarms=(stall,)))
    sent = {
        "token": token(client), "furnace": "engine-shed", "alarm": "refill-timeout", "channel": "",
        "raised": str(stall.raised_ms), "by": "  Maud\tWexcombe ", "back": "/furnace/engine-shed",
    }  # fmt: skip
    answer = client.post("/acknowledge", data=sent)
    assert answer.status_code == 200 and answer.url.path == "/furnace/engine-shed"
    assert shop.live.acts == [("acknowledge", stall.key, "Maud Wexcombe")]
    text = client.get("/").text
    assert "Maud Wexcombe has it since" in text and 'data-by="Maud Wexcombe"' in text


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"token": ""}, 400), ({"token": "x" * 43}, 400), ({"by": " \n "}, 400), ({"raised": "now"}, 400),
        ({"raised": "1"}, 409), ({"furnace": "nowhere"}, 409), ({"by": "x" * 20_000}, 400),
    ],
)  # fmt: skip
def test_a_form_that_cannot_be_used_changes_nothing(
    client: httpx.Client, shop: Workshop, change: dict[str, str], status: int
) -> None:
    stall = alarm()
    shop.live.put(furnace_now(alarms=(stall,)))
    sent = {
        "token": token(client), "furnace": "engine-shed", "alarm": "refill-timeout", "channel": "",
        "raised": str(stall.raised_ms), "by": "Maud", "back": "/",
    }  # fmt: skip
    answer = client.post("/acknowledge", data=sent | change)
    assert answer.status_code == status and "<h1>Not done</h1>" in answer.text
    assert shop.live.acts == []


@pytest.mark.parametrize(
    "headers",
    [{"Origin": "http://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}],
)
def test_a_form_from_another_place_is_refused(client: httpx.Client, shop: Workshop, headers: dict[str, str]) -> None:
    shop.live.put(furnace_now())
    sent = {"token": token(client), "system": "us", "back": "/"}
    assert client.post("/units", data=sent, headers=headers).status_code == 400


@pytest.mark.parametrize("back", ["//evil.example", "https://evil.example", "/\\evil.example", "\\\\evil", "/\n/evil"])
def test_a_form_never_leads_to_another_host(client: httpx.Client, shop: Workshop, back: str) -> None:
    sent = {"token": token(client), "system": "us", "back": back}
    answer = client.post("/units", data=sent, follow_redirects=False)
    assert answer.status_code == 303 and answer.headers["location"] == "/"


def test_texts_from_outside_cannot_become_markup(client: httpx.Client, shop: Workshop) -> None:
    evil = "<script>alert(1)</script>"
    shop.live.put(furnace_now(alarms=(alarm(first_step=evil, detail={"causes": [evil], "note": evil, evil: 1}),)))
    for path in ("/", "/furnace/engine-shed"):
        assert evil not in client.get(path).text


def test_cookies_are_out_of_reach_of_scripts_and_other_sites(client: httpx.Client, shop: Workshop) -> None:
    cookie = client.get("/").headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=lax" in cookie and "Secure" not in cookie


@pytest.mark.parametrize("path", ["/", "/nothing", "/furnace/engine-shed/chart.json"])
def test_security_headers_on_every_answer(client: httpx.Client, shop: Workshop, path: str) -> None:
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "no-referrer"
    assert headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    ("host", "allowed"),
    [
        ("127.0.0.1:8470", True), ("localhost:8470", True), ("192.168.1.20", True), ("[::1]:8470", True),
        ("workshop", True), ("workshop.local:8470", True), ("pi.lan", True), ("furnace.example.org", False),
        ("127.0.0.1.evil.example", False), ("", False), ("furnaces.tollenvale.example:8470", True),
    ],
)  # fmt: skip
def test_only_names_of_this_machine_are_served(host: str, allowed: bool) -> None:
    assert host_allowed(host, ("furnaces.tollenvale.example",)) is allowed


def test_a_foreign_name_is_told_what_to_do(client: httpx.Client) -> None:
    answer = client.get("/", headers={"Host": "evil.example"})
    assert answer.status_code == 421 and "settings" in answer.text


def test_unknown_addresses_are_a_plain_page(client: httpx.Client) -> None:
    for path in ("/furnace/nowhere", "/static/000000000000/sootline.css", "/x", "/live?furnace=nowhere"):
        answer = client.get(path)
        assert answer.status_code == 404 and "no such page or furnace" in answer.text


def test_static_files_are_kept_by_browsers_and_change_address_with_content(
    client: httpx.Client, shop: Workshop
) -> None:
    shop.live.put(furnace_now())
    found = re.findall(r'(?:src|href)="(/static/[^"]+)"', client.get("/furnace/engine-shed").text)
    assert len(found) >= 5
    for path in found:
        answer = client.get(path)
        assert answer.status_code == 200 and "immutable" in answer.headers["cache-control"]


def test_the_chart_library_is_where_we_look_for_it() -> None:
    for name in CHART_FILES:
        assert (chart_folder() / name).stat().st_size > 1000


def test_pages_refer_to_nothing_outside(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now(alarms=(alarm(),)))
    for path in ("/", "/furnace/engine-shed"):
        text = client.get(path).text
        assert not re.search(r"""(?:src|href|action)=["'](?:https?:)?//""", text)
        assert "<style" not in text and not re.search(r"\son\w+=|\sstyle=", text)


def test_pages_are_small(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now(alarms=(alarm(),)), furnace_now("carriage-shop"))
    text = client.get("/").text
    own = [path for path in re.findall(r'(?:src|href)="(/static/[^"]+)"', text) if "uplot" not in path]
    wire = len(gzip.compress(text.encode(), 6)) + sum(len(gzip.compress(client.get(path).content, 6)) for path in own)
    assert wire < 60_000


def test_chart_keeps_every_spike_in_few_points(client: httpx.Client, shop: Workshop) -> None:
    chart = client.get("/furnace/engine-shed/chart.json?hours=24&pixels=330").json()
    by_name = {series["channel"]: series for series in chart["series"]}
    points = sum(len(series[side] or ()) for series in chart["series"] for side in ("low", "high"))
    assert len(chart["t"]) == 330 and points <= 4000
    rows = shop.store.read("engine-shed", NOW_MS - 86_400_000, NOW_MS)
    for name in ("stack", "tank", "nozzle"):
        highest = max(v for v in by_name[name]["high"] if v is not None)
        lowest = min(v for v in by_name[name]["low"] if v is not None)
        assert highest == pytest.approx(float(rows.values[name].max()), abs=0.051)
        assert lowest == pytest.approx(float(rows.values[name].min()), abs=0.051)
    # a refill of 11 s is seen though a column is 262 s wide
    assert sum(v == 1.0 for v in by_name["pump"]["high"]) > 50
    gap = [i for i, t in enumerate(chart["t"]) if 10.1 * 3600 < t - chart["start"] < 10.9 * 3600]
    assert gap and all(by_name["tank"]["high"][i] is None for i in gap)


def test_a_season_tells_how_much_the_pump_ran(client: httpx.Client, shop: Workshop) -> None:
    """It runs in every column then: all of it lies under the curve, and it is no solid block."""
    chart = client.get("/furnace/engine-shed/chart.json?hours=168&pixels=330").json()
    (pump,) = (series for series in chart["series"] if series["channel"] == "pump")
    width_s = (chart["end"] - chart["start"]) / 330
    refills = shop.store.events("engine-shed", "refill", NOW_MS - 168 * 3_600_000, NOW_MS)
    ran_s = sum(event.duration_s for event in refills)
    assert sum((v or 0.0) / 100 * width_s for v in pump["high"]) == pytest.approx(ran_s, rel=0.01) and ran_s > 1000
    assert pump["unit"] == "%" and 0 < max(v for v in pump["high"] if v is not None) < 10
    assert pump["high"][0] is None  # nothing was read then


@pytest.mark.parametrize(
    "query", ["hours=x&pixels=&end=nan", "hours=-1&pixels=-5", "hours=1e9&pixels=1e9&end=1e18", "end=0"]
)
def test_odd_chart_questions_get_a_chart(client: httpx.Client, shop: Workshop, query: str) -> None:
    answer = client.get(f"/furnace/engine-shed/chart.json?{query}")
    assert answer.status_code == 200
    assert 1 <= len(answer.json()["t"]) <= 500
    json.loads(answer.text, parse_constant=lambda constant: pytest.fail(constant))


def test_the_chart_is_there_in_numbers_too(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    text = client.get("/furnace/engine-shed").text
    table = text[text.index("The same in numbers") :]
    assert table.count('<th scope="row">') == 24 and "ran" in table and re.search(r"\d+ to 28\d °C", table)


def test_set_aside_and_board_health(client: httpx.Client, shop: Workshop) -> None:
    aside = SetAside(NOW_MS - 60_000, "sootline/engine-shed/measurements", "not a SenML pack", 812)
    now = replace(furnace_now(), set_aside={"not a SenML pack": 3}, last_set_aside=(aside,))
    shop.live.put(now)
    text = client.get("/furnace/engine-shed").text
    for needed in ("not a SenML pack", "812 bytes", "good (−61 dBm)", "Packs waiting on the board", "synced", "0.1.0"):
        assert needed in text


def test_a_store_that_cannot_be_read_is_one_plain_line(fresh: tuple[Workshop, httpx.Client]) -> None:
    shop, client = fresh
    shop.live.put(furnace_now())
    shop.close()
    for path in shop.folder.iterdir():
        if path.name.startswith("sootline.db"):
            path.write_bytes(b"not a store" * 100)
    answer = client.get("/furnace/engine-shed")
    assert answer.status_code == 503 and "<h1>Not now</h1>" in answer.text and "Traceback" not in answer.text
