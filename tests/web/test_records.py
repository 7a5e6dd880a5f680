"""Alarm history and figures, firings and refills, the log, the shelf and what was set aside, over HTTP."""

import re

import httpx
import pytest

from sootline.alarms import Acknowledgement, Shelf
from sootline.events import Event
from sootline.web.event_views import event_table
from sootline.web.figures import DAY_MS, figures
from sootline.web.trend import trend
from tests.web.test_pages import token
from tests.web.workshop import BLIND, LEARNING, NOW_MS, READY, Workshop, alarm, furnace_now


def test_alarm_page_has_standing_and_past_with_what_followed(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now(alarms=(alarm("leak", priority="critical", hazard="spill"),)))
    text = client.get("/alarms").text
    standing, past = text[text.index("Standing now") :].split('id="past-title"')
    assert "LIQUID IN THE DRIP TRAY" in standing and "Put it on the shelf" in standing
    assert "Refill stalled" in past and "Back to normal" in past and "Maud had it" in past
    under = past[past.index("Followed from it") :]
    assert "Oil does not warm up" in under and "Follows from: Refill stalled" in under
    assert "Supply empty, valve shut or air leak at the filter bowl" in past


def test_alarm_pages_go_back_in_time_and_by_furnace(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now(), furnace_now("carriage-shop"))
    assert "No alarm has been raised" in client.get("/alarms?furnace=carriage-shop").text
    later = client.get(f"/alarms?before={NOW_MS - 2 * DAY_MS}").text
    assert "No word from the board" in later and "Refill stalled" not in later
    assert client.get("/alarms?before=never&furnace=<b>").status_code == 200


def test_a_long_history_comes_in_pages_that_lose_nothing(fresh: tuple[Workshop, httpx.Client]) -> None:
    shop, client = fresh
    raised = [NOW_MS - i * 3_600_000 for i in range(1, 96)]
    with shop.store.batch() as batch:
        batch.alarms([alarm(raised_ms=t, found_ms=t, cleared_ms=t + 60_000, state="returned") for t in raised])
    shop.live.put(furnace_now())
    seen: list[str] = []
    url: str | None = "/alarms"
    while url:
        text = client.get(url).text
        seen += re.findall(r'id="past-engine-shed-refill-timeout--(\d+)"', text)
        more = re.search(r'<a href="([^"]+)">Earlier ones', text)
        url = more[1].replace("&amp;", "&") if more else None
    assert [int(t) for t in seen] == raised


@pytest.mark.parametrize(
    ("priority", "minutes", "status"),
    [("high", "60", 200), ("high", "10080", 200), ("high", "10081", 400), ("critical", "30", 200),
     ("critical", "31", 400), ("high", "0", 400), ("high", "soon", 400)],
)  # fmt: skip
def test_the_shelf_has_an_end_and_a_reason(
    client: httpx.Client, shop: Workshop, priority: str, minutes: str, status: int
) -> None:
    stall = alarm(priority=priority)
    shop.live.put(furnace_now(alarms=(stall,)))
    sent = {
        "token": token(client), "furnace": "engine-shed", "alarm": "refill-timeout", "channel": "",
        "raised": str(stall.raised_ms), "by": "Maud", "reason": "waiting for a gasket", "minutes": minutes,
        "back": "/alarms",
    }  # fmt: skip
    assert client.post("/shelve", data=sent | {"reason": " "}).status_code == 400
    answer = client.post("/shelve", data=sent)
    assert answer.status_code == status
    if status == 200:
        until_ms = NOW_MS + int(minutes) * 60_000
        assert shop.live.acts == [("shelve", stall.key, Shelf("Maud", "waiting for a gasket", NOW_MS, until_ms))]
        assert (
            "On the shelf" in answer.text
            and "Maud put it on the shelf until" in answer.text
            and ": waiting for a gasket" in answer.text
        )
    else:
        assert shop.live.acts == []


def test_sensor_page_says_what_is_ready_learning_or_blind(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now(readiness=READY + LEARNING + BLIND, stack="open"))
    text = client.get("/furnace/engine-shed/sensors").text
    for needed in (
        "learning 7 of 30", "blind: needs a sensor for: drip tray wet (leak)", "probe circuit open",
        "stack: flue gas at the breech", "Not fitted, or never heard:", "good (−61 dBm)",
    ):  # fmt: skip
        assert needed in text, needed


@pytest.mark.parametrize(("what", "needed"), [("firings", "Stack at the end"), ("refills", "Tank temperature dip")])
def test_events_come_as_tables(client: httpx.Client, shop: Workshop, what: str, needed: str) -> None:
    shop.live.put(furnace_now())
    text = client.get(f"/furnace/engine-shed/{what}").text
    assert needed in text and text.count('<th scope="row">') > 30


def test_events_that_never_came_say_when_they_will(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    assert "No finished warm-up yet" in client.get("/furnace/engine-shed/warm-ups").text
    assert client.get("/furnace/engine-shed/phases").status_code == 404
    assert client.get("/furnace/nowhere/refills").status_code == 404


def test_event_table_shows_what_was_measured_and_no_more() -> None:
    made = [
        Event(
            "a", "refill", NOW_MS - 7_200_000, NOW_MS - 7_189_300, {"on_time_s": 10.7, "dip_K": 3.2, "stalled": False}
        ),
        Event(
            "a", "refill", NOW_MS - 3_600_000, NOW_MS - 3_580_000, {"on_time_s": 20.0, "dip_K": None, "stalled": True}
        ),
    ]
    table = event_table("refill", made, NOW_MS, "us")
    assert table.columns == ("Tank temperature dip", "Stalled")
    assert [(row.lasted, *row.cells) for row in table.rows] == [("20.0 s", "–", "yes"), ("10.7 s", "5.8 °F", "no")]
    assert [row.bad for row in table.rows] == [True, False]
    assert (table.days[0].count, table.days[0].total, table.days[0].middle) == (2, "30 s", "15.3 s")


def test_set_aside_page_counts_by_furnace_and_reason(client: httpx.Client, shop: Workshop) -> None:
    text = client.get("/set-aside").text
    assert "not a SenML pack" in text and "From no furnace" in text and "barn/lamp" in text


def test_troubles_of_the_host_stand_on_every_page(client: httpx.Client, shop: Workshop) -> None:
    shop.live.show(troubles=("the broker cannot be reached; look at its address",))
    for path in ("/", "/alarms", "/log", "/set-aside"):
        assert "The broker cannot be reached; look at its address" in client.get(path).text


def test_season_chart_has_marks_of_what_was_done_and_went_wrong(client: httpx.Client, shop: Workshop) -> None:
    data = client.get("/furnace/engine-shed/chart.json?hours=96&pixels=1200").json()
    texts = {mark["text"] for mark in data["marks"]}
    assert {"Refill stalled", "Repaired something", "No word from the board"} <= texts
    assert "Oil does not warm up" not in texts  # a consequence calls nobody
    assert all(data["start"] <= mark["t"] < data["end"] for mark in data["marks"])
    assert len(data["t"]) == 500


def test_figures_follow_their_definitions() -> None:
    start = NOW_MS - 7 * DAY_MS
    hour = 3_600_000
    burst = [
        alarm("flame-loss", raised_ms=start + hour + i * 30_000, priority="low", cleared_ms=NOW_MS) for i in range(12)
    ]
    known = alarm(raised_ms=start + 2 * DAY_MS, acknowledged=Acknowledgement("Maud", start + 2 * DAY_MS + 300_000))
    chatter = alarm("float-chatter", raised_ms=start + 3 * DAY_MS, cleared_ms=NOW_MS, detail={"repeats": 5})
    quiet = alarm("no-heat", raised_ms=start + 3 * DAY_MS, state="suppressed", suppressed_by="lockout")
    before = alarm("leak", raised_ms=start - 1)
    made = figures([*burst, known, chatter, quiet, before], start, NOW_MS)
    by_name = {figure.name: figure for figure in made.figures}
    assert made.count == 14
    assert (by_name["Alarms a week"].value, by_name["Alarms a week"].good) == ("14.0", False)
    assert (by_name["Most in ten minutes"].value, by_name["Most in ten minutes"].good) == ("12", False)
    assert by_name["Time in a flood"].value == "0.1%"
    assert by_name["Chattering alarms"].value == "1"
    assert by_name["Standing for over a day"].value == "1"
    assert by_name["Until somebody had it"].value == "5 min"
    assert by_name["Kept quiet as a consequence"].value == "1"
    assert [(share.name, share.count, share.percent) for share in made.shares] == [
        ("Act now", 0, 0), ("Act soon", 2, 14), ("Look today", 0, 0), ("Next round", 12, 86),
    ]  # fmt: skip
    assert made.most[0] == ("Flame lost", 12)


def test_figures_of_nothing_are_good(client: httpx.Client, shop: Workshop) -> None:
    made = figures([], NOW_MS - DAY_MS, NOW_MS)
    assert made.count == 0 and all(figure.good is not False for figure in made.figures)
    text = client.get("/alarms/figures?days=7").text
    assert "How the alarms behave" in text and "Kept quiet as a consequence" in text
    assert client.get("/alarms/figures?days=x").status_code == 200


def test_two_firings_one_over_another_start_at_the_flame(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    one, other = (event.start_ms for event in shop.store.events("engine-shed", "firing")[-1:-3:-1])
    data = client.get(f"/furnace/engine-shed/overlay.json?one={one}&other={other}").json()
    stack = data["panels"][0]
    assert stack["label"] == "Stack" and len(stack["lines"]) == 2 and len(data["t"]) == 300
    for line in stack["lines"]:
        before = [v for t, v in zip(data["t"], line, strict=True) if t < -1 and v is not None]
        later = [v for t, v in zip(data["t"], line, strict=True) if 20 < t < 50 and v is not None]
        assert max(before) < 60 < 270 < min(later)
    newest = client.get("/furnace/engine-shed/overlay.json?one=x").json()
    assert len(newest["names"]) == 2
    assert client.get("/furnace/carriage-shop/overlay.json").status_code == 404


def test_trends_are_the_middle_of_each_day_between_its_ends(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    data = client.get("/furnace/engine-shed/trend.json?what=refills").json()
    ran = data["panels"][0]
    assert (ran["label"], ran["unit"]) == ("Pump ran", "s") and len(data["t"]) == 5
    events = shop.store.events("engine-shed", "refill", NOW_MS - 15 * 3_600_000)
    seconds = [event.features["on_time_s"] for event in events]
    assert ran["lines"]["low"][-1] == pytest.approx(min(seconds), abs=0.006)  # type: ignore[type-var]
    assert ran["lines"]["high"][-1] == pytest.approx(max(seconds), abs=0.006)  # type: ignore[type-var]
    assert {mark["text"] for mark in data["marks"]} == {"Repaired something", "Changed a set point"}
    assert client.get("/furnace/engine-shed/trend.json?what=dreams").status_code == 404
    assert client.get("/furnace/carriage-shop/trend.json?what=firings").json()["panels"] == []


def test_warm_ups_are_told_apart_by_what_is_warmed() -> None:
    made = [
        Event("a", "preheat", NOW_MS + i, NOW_MS + 60_000, {"channel": channel, "rate_K_per_min": rate})
        for i, (channel, rate) in enumerate([("tank", 3.0), ("nozzle", 6.0), ("tank", 5.0)])
    ]
    panels = trend("preheat", made, (), "us")["panels"]
    assert [(panel["label"], panel["lines"]["middle"]) for panel in panels] == [
        ("Nozzle oil, rate", [10.8]), ("Day tank, rate", [7.2]),
    ]  # fmt: skip
