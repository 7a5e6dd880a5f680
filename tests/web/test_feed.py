"""Live updates on the wire, and the server's beginning and end."""

import json
import socket
from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from sootline.errors import UserError
from sootline.now import FurnaceNow
from sootline.web import feed
from sootline.web.app import build
from sootline.web.server import Server
from tests.web.workshop import NOW_MS, Workshop, alarm, furnace_now


def events(lines: Iterator[str]) -> Iterator[tuple[str, Any]]:
    """Server-sent events as (name, data)."""
    name = ""
    for line in lines:
        if line.startswith("event: "):
            name = line[7:]
        elif line.startswith("data: "):
            yield name, json.loads(line[6:])


def test_a_page_gets_everything_first_and_then_only_what_changed(server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now(), furnace_now("carriage-shop"))
    with httpx.stream("GET", server.url + "live", timeout=10) as stream:
        assert stream.headers["content-type"].startswith("text/event-stream")
        assert "content-encoding" not in stream.headers
        heard = events(stream.iter_lines())
        name, first = next(heard)
        assert name == "parts" and first["now"] == NOW_MS
        assert {"furnaces", "summary", "troubles", "head:engine-shed", "readings:carriage-shop"} <= set(first["parts"])
        shop.live.put(furnace_now(stack=301.0))
        _, then = next(heard)
        assert set(then["parts"]) == {"readings:engine-shed"} and "301" in then["parts"]["readings:engine-shed"]


def test_the_page_of_one_furnace_hears_of_no_other(server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now(), furnace_now("carriage-shop"))
    with httpx.stream("GET", server.url + "live?furnace=engine-shed", timeout=10) as stream:
        heard = events(stream.iter_lines())
        assert not any("carriage-shop" in part for part in next(heard)[1]["parts"])
        shop.live.put(furnace_now("carriage-shop", "lockout"))
        shop.live.put(furnace_now(alarms=(alarm(),)))
        assert set(next(heard)[1]["parts"]) == {"head:engine-shed", "alarms:engine-shed", "title"}


def test_units_are_those_of_the_browser(server: Server, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    cookies = {"sootline_units": "us"}
    with httpx.Client(cookies=cookies) as client, client.stream("GET", server.url + "live", timeout=10) as stream:
        assert "°F" in next(events(stream.iter_lines()))[1]["parts"]["readings:engine-shed"]


def test_a_quiet_page_hears_that_the_host_is_there(
    server: Server, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop.live.put(furnace_now())
    monkeypatch.setattr(feed, "BEAT_S", 0.05)
    with httpx.stream("GET", server.url + "live", timeout=10) as stream:
        heard = events(stream.iter_lines())
        assert [next(heard)[0] for _ in range(3)] == ["parts", "beat", "beat"]


def test_data_grow_old_without_any_news(shop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(feed, "BEAT_S", 0.05)
    moment = [NOW_MS]
    shop.live.put(furnace_now())
    server = Server(build(shop.live, shop.folder, now=lambda: moment[0]), port=0)
    server.start()
    with httpx.stream("GET", server.url + "live", timeout=10) as stream:
        heard = events(stream.iter_lines())
        assert "Firing" in next(heard)[1]["parts"]["head:engine-shed"]
        moment[0] += 600_000
        changed = next(data for name, data in heard if name == "parts")
        assert "Old data" in changed["parts"]["head:engine-shed"]
    server.stop()


def test_open_pages_are_let_go_at_the_end(shop: Workshop, caplog: pytest.LogCaptureFixture) -> None:
    shop.live.put(furnace_now())
    server = Server(build(shop.live, shop.folder, now=lambda: NOW_MS), port=0)
    server.start()
    with httpx.stream("GET", server.url + "live", timeout=20) as stream:
        pieces = stream.iter_raw()
        assert next(pieces)
        server.stop()
        assert not server.running
        assert [*pieces] == []  # a whole answer, not one cut off
    assert caplog.records == []
    with pytest.raises(httpx.ConnectError):
        httpx.get(server.url)


def test_a_taken_port_is_one_line_that_says_what_to_do(shop: Workshop) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        server = Server(build(shop.live, shop.folder, now=lambda: NOW_MS), port=port)
        with pytest.raises(UserError) as caught:
            server.start()
    text = str(caught.value)
    assert str(port) in text and "choose another port" in text and "\n" not in text


def test_a_furnace_of_which_nothing_is_known_but_its_name(server: Server, shop: Workshop) -> None:
    shop.live.put(FurnaceNow("engine-shed", "unknown", None, {}, (), (), None))
    for path in ("", "furnace/engine-shed", "furnace/engine-shed/sensors"):
        answer = httpx.get(server.url + path)
        assert (answer.status_code == 200 and "Not known" in answer.text) or "Nothing is known yet" in answer.text
