"""Signing in, as people and as attackers do it: over HTTP, HTTPS, behind nginx, in a browser."""

import contextlib
import ssl
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, expect

from sootline.errors import UserError
from sootline.people.people import DAY_MS
from sootline.people.throttle import TRIES
from sootline.web.people import RECHECK_MS
from sootline.web.server import HOW_TO_CERTIFY, Server, Tls, is_loopback
from sootline.web.sign_in import MOST_WAITING, WRONG
from tests.service.kit import free_port
from tests.web.staff import WORDS, Staffed, certificate, enter, nginx, served, staffed, token
from tests.web.visit import opened, sound
from tests.web.workshop import NOW_MS, SIZES, alarm, furnace_now


@pytest.fixture(scope="module")
def staff(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Staffed]:
    with staffed(tmp_path_factory.mktemp("staff")) as made:
        yield made


@pytest.fixture(autouse=True)
def at_rest(staff: Staffed) -> None:
    staff.shop.live.clear()
    staff.shop.live.put(furnace_now())
    staff.shop.now_ms = NOW_MS


@pytest.fixture
def signing(staff: Staffed) -> Iterator[Server]:
    """Pages of their own for each test: who has tried too often is remembered."""
    with served(staff.build()) as made:
        yield made


@pytest.fixture(scope="module")
def tls(tmp_path_factory: pytest.TempPathFactory) -> Tls:
    folder = tmp_path_factory.mktemp("tls")
    certificate(folder, HOW_TO_CERTIFY.removeprefix("to make both: "))
    return Tls(folder / "certificate.pem", folder / "key.pem")


def test_a_name_and_its_password_begin_a_session_that_scripts_and_other_sites_cannot_use(signing: Server) -> None:
    with httpx.Client(base_url=signing.url) as client:
        before = token(client)
        answer = enter(client, "maud")
        assert answer.status_code == 303 and answer.headers["location"] == "/log"
        cookies = {line.split("=")[0]: line for line in answer.headers.get_list("set-cookie")}
        assert set(cookies) == {"sootline_session", "sootline_browser", "sootline_form"}
        for line in cookies.values():
            assert "HttpOnly" in line and "SameSite=" in line and "Secure" not in line
        assert client.get("/", headers={"Accept": "text/html"}).status_code == 200
        assert token(client, "/") != before, "forms from before the sign-in are no longer good"
        assert client.post("/units", data={"token": before, "system": "us"}).status_code == 400


@pytest.mark.parametrize(
    ("name", "password"), [("Maud", "brass whistle ten"), ("Nobody", WORDS), ("", ""), ("M" * 9000, WORDS)]
)
def test_a_wrong_name_and_a_wrong_password_look_alike(signing: Server, name: str, password: str) -> None:
    with httpx.Client(base_url=signing.url) as client:
        answer = enter(client, name, password)
        assert answer.status_code == 403 and WRONG in answer.text
        assert (
            "sootline_session" not in client.cookies and password not in answer.text.replace('value=""', "")
        ) or not password


def test_a_sign_in_form_from_another_place_is_refused(signing: Server) -> None:
    with httpx.Client(base_url=signing.url) as client:
        assert enter(client, "Maud", headers={"Origin": "http://elsewhere.example"}).status_code == 400
        assert client.post("/sign-in", data={"name": "Maud", "password": WORDS}).status_code == 400
        assert "sootline_session" not in client.cookies


@pytest.mark.parametrize("back", ["//evil.example", "https://evil.example", "/\\evil.example"])
def test_signing_in_never_leads_to_another_host(staff: Staffed, signing: Server, back: str) -> None:
    with httpx.Client(base_url=signing.url) as client:
        sent = {"token": token(client), "back": back, "name": "Jory", "password": WORDS}
        assert client.post("/sign-in", data=sent).headers["location"] == "/"
        assert client.get("/sign-in", params={"back": back}).headers["location"] == "/"


def test_guessing_ends_and_the_owner_still_comes_in_where_he_was_before(staff: Staffed, signing: Server) -> None:
    with httpx.Client(base_url=signing.url) as own, httpx.Client(base_url=signing.url) as other:
        assert enter(own, "Maud").status_code == 303
        for _ in range(TRIES - 1):  # that one counts, for it came from the same address
            assert enter(other, "Maud", "a wrong password").status_code in (403, 429)
        enter(other, "Maud", "a wrong password")
        refused = enter(other, "Maud")
        assert refused.status_code == 429 and "Too many tries" in refused.text
        assert 0 < int(refused.headers["Retry-After"]) <= 600
        own.cookies.delete("sootline_session")
        assert enter(own, "Maud").status_code == 303
        staff.shop.now_ms += 600_000
        assert enter(other, "Maud").status_code == 303


def test_headers_of_a_proxy_that_is_not_trusted_are_ignored(signing: Server) -> None:
    """Else a new address could be invented for each guess, and a cookie sent over plain HTTP be called secure."""
    with httpx.Client(base_url=signing.url) as client:
        answers = [
            enter(client, f"name {i}", "a wrong password", headers={"X-Forwarded-For": f"203.0.113.{i}"}).status_code
            for i in range(TRIES + 1)
        ]
        assert answers == [403] * TRIES + [429]
        cookie = client.get("/sign-in", headers={"X-Forwarded-Proto": "https"}).headers["set-cookie"]
        assert "Secure" not in cookie


def test_a_session_ends_where_its_person_says_so_and_in_time(staff: Staffed, signing: Server) -> None:
    html = {"Accept": "text/html"}
    with httpx.Client(base_url=signing.url) as phone, httpx.Client(base_url=signing.url) as desk:
        for client in (phone, desk):
            client.cookies.update(staff.cookies("Maud"))
        kept = phone.cookies["sootline_session"]
        left = phone.post("/sign-out", data={"token": token(phone, "/")})
        assert any('sootline_session=""' in line for line in left.headers.get_list("set-cookie"))
        phone.cookies.clear()
        phone.cookies.set("sootline_session", kept)
        assert phone.get("/", headers=html).headers["location"] == "/sign-in?back=/"
        assert desk.get("/", headers=html).status_code == 200
        phone.cookies.clear()
        phone.cookies.update(staff.cookies("Maud"))
        phone.post("/sign-out", data={"token": token(phone, "/"), "everywhere": "1"})
        assert desk.get("/", headers=html).status_code == 303
        desk.cookies.clear()
        desk.cookies.update(staff.cookies("Maud"))
        staff.shop.now_ms += 30 * DAY_MS
        assert desk.get("/", headers=html).status_code == 303


def test_a_forged_sign_out_does_nothing(staff: Staffed, signing: Server) -> None:
    with httpx.Client(base_url=signing.url, cookies=staff.cookies("Maud")) as client:
        assert client.post("/sign-out", data={"token": "x" * 43}).status_code == 400
        assert client.get("/", headers={"Accept": "text/html"}).status_code == 200


def test_only_so_many_may_wait_for_their_password_to_be_checked(staff: Staffed, signing: Server) -> None:
    """Each check takes 64 MiB and a quarter of a second: they are made one after another, and few may queue."""

    def one(i: int) -> int:
        transport = httpx.HTTPTransport(local_address=f"127.0.0.{2 + i}")
        with httpx.Client(base_url=signing.url, transport=transport, timeout=60) as client:
            return enter(client, f"name {i}", "a wrong password").status_code

    with ThreadPoolExecutor(3 * MOST_WAITING) as pool:
        got = list(pool.map(one, range(3 * MOST_WAITING)))
    assert set(got) == {403, 503} and got.count(403) >= MOST_WAITING


def test_a_shared_link_is_opened_ends_and_is_taken_back(staff: Staffed, signing: Server) -> None:
    given = staff.people.share("Neighbour", "engine-shed", 3, "Maud", NOW_MS)
    with httpx.Client(base_url=signing.url, follow_redirects=True) as client:
        answer = client.get(f"/shared/{given}")
        assert answer.url.path == "/furnace/engine-shed" and "Engine shed" in answer.text
        assert given not in answer.text and answer.headers["referrer-policy"] == "no-referrer"
        staff.shop.now_ms += 3 * DAY_MS
        assert client.get("/furnace/engine-shed", headers={"Accept": "text/html"}).url.path == "/sign-in"
        ended = client.get(f"/shared/{given}")
        assert ended.status_code == 404 and "has ended, or was taken back" in ended.text
        assert client.get("/shared/" + "x" * 43).status_code == 404
    with httpx.Client(base_url=signing.url, cookies=staff.cookies("Maud")) as owner:
        staff.shop.now_ms = NOW_MS
        owner.get(f"/shared/{given}")
        assert "sootline_link" not in owner.cookies, "who has signed in stays who he is"


@pytest.mark.parametrize("end", ["sign out", "link taken back"])
def test_live_updates_end_with_the_right_to_see_them(staff: Staffed, signing: Server, end: str) -> None:
    cookies = staff.cookies("Jory" if end == "sign out" else "link to all")
    with (
        httpx.Client(base_url=signing.url, cookies=cookies, timeout=20) as client,
        client.stream("GET", "/live") as live,
    ):
        pieces = live.iter_text()
        next(pieces)
        staff.shop.now_ms += RECHECK_MS
        staff.shop.live.put(furnace_now(stack=300.0))
        assert "300" in next(pieces)
        if end == "sign out":
            staff.people.sign_out_everywhere("Jory")
        else:
            staff.people.take_back(staff.people.links(NOW_MS)[-1].id)
        staff.shop.now_ms += RECHECK_MS
        staff.shop.live.put(furnace_now(stack=301.0))
        with contextlib.suppress(StopIteration):
            while True:
                assert "301" not in next(pieces), "it goes on"


def test_https_with_the_certificate_that_the_printed_command_makes(staff: Staffed, tls: Tls) -> None:
    trusted = ssl.create_default_context(cafile=str(tls.certificate))
    trusted.check_hostname = False
    with served(staff.build(), tls=tls) as server, httpx.Client(base_url=server.url, verify=trusted) as client:
        assert server.url.startswith("https://")
        answer = enter(client, "Maud")
        assert answer.status_code == 303
        assert all("Secure" in line for line in answer.headers.get_list("set-cookie"))
        with pytest.raises(httpx.TransportError):
            httpx.get(server.url.replace("https", "http"))


def test_a_certificate_that_cannot_be_used_is_one_clear_line(staff: Staffed, tls: Tls, tmp_path: Path) -> None:
    (tmp_path / "rubbish.pem").write_text("no certificate")
    for wrong in (
        Tls(tmp_path / "none.pem", tls.key),
        Tls(tmp_path / "rubbish.pem", tls.key),
        Tls(tls.key, tls.certificate),
    ):
        app = staff.build()
        with pytest.raises(UserError, match=r"cannot be used as certificate and key .* openssl req") as told:
            Server(app, port=0, tls=wrong).start()
        assert "\n" not in str(told.value)
        app.state.release()


def test_behind_nginx_each_visitor_counts_for_himself(staff: Staffed, tls: Tls) -> None:
    """nginx on this machine with HTTPS; visitors come from different addresses of 127.0.0.0/8."""
    with (
        served(staff.build(local=False), proxies=("127.0.0.1",)) as server,
        nginx(tls.certificate.parent, server.port) as url,
    ):

        def visitor(address: str) -> httpx.Client:
            return httpx.Client(base_url=url, transport=httpx.HTTPTransport(local_address=address, verify=False))

        with visitor("127.0.0.2") as guesser, visitor("127.0.0.3") as maud:
            spoofed = [
                enter(
                    guesser, f"name {i}", "a wrong password", headers={"X-Forwarded-For": f"203.0.113.{i}"}
                ).status_code
                for i in range(TRIES + 1)
            ]
            assert spoofed == [403] * TRIES + [429]
            answer = enter(maud, "Maud", headers={"Origin": url.rstrip("/")})
            assert answer.status_code == 303
            assert all("Secure" in line for line in answer.headers.get_list("set-cookie"))
            assert "Engine shed" in maud.get("/").text


@pytest.mark.parametrize("size", SIZES)
def test_somebody_signs_in_takes_an_alarm_without_giving_a_name_and_leaves(
    browser: Browser, staff: Staffed, signing: Server, size: str
) -> None:
    stall = alarm()
    staff.shop.live.put(furnace_now(alarms=(stall,)))
    with opened(browser, signing.url, size) as page:
        assert page.url.endswith("/sign-in?back=/")
        sound(page)
        page.get_by_label("Name").fill("pim")
        page.get_by_label("Password").fill(WORDS)
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", name="Engine shed")).to_be_visible()
        expect(page.locator("input[name=by]")).to_have_value("Pim")
        expect(page.locator("input[name=by]")).to_be_hidden()
        page.get_by_role("button", name="I have it").click()
        expect(page.get_by_text("Pim has it since")).to_be_visible()
        staff.shop.live.put(furnace_now(alarms=(stall, alarm("leak", priority="critical", minutes_ago=2))))
        expect(page.locator("input[name=by]").first).to_be_hidden()
        page.get_by_role("button", name="I have it").first.click()
        expect(page.get_by_text("Pim has it since")).to_be_visible()
        assert [act[2] for act in staff.shop.live.acts] == ["Pim", "Pim"]


def test_a_page_behind_nginx_is_live_and_a_viewer_sees_no_form(browser: Browser, staff: Staffed, tls: Tls) -> None:
    staff.shop.live.put(furnace_now(alarms=(alarm(),)))
    with (
        served(staff.build(local=False), proxies=("127.0.0.1",)) as server,
        nginx(tls.certificate.parent, server.port) as url,
    ):
        given = staff.people.share("Neighbour", "engine-shed", 3, "Maud", NOW_MS)
        # not `opened`: a service worker is refused, loudly, where nothing but a flag trusts the certificate
        with closing(browser.new_context(ignore_https_errors=True, viewport=SIZES["phone"])) as context:
            page = context.new_page()
            page.goto(f"{url}shared/{given}")
            expect(page.locator(".gauge-stack .value").first).to_have_text("284 °C")
            expect(page.get_by_role("button", name="I have it")).to_be_hidden()
            staff.shop.live.put(furnace_now(alarms=(alarm(),), stack=301.2))
            expect(page.locator(".gauge-stack .value").first).to_have_text("301 °C")
            expect(page.get_by_role("button", name="I have it")).to_be_hidden()


def test_an_open_page_asks_to_sign_in_again_when_its_person_is_signed_out(
    browser: Browser, staff: Staffed, signing: Server
) -> None:
    cookies = [{"name": n, "value": v, "url": signing.url} for n, v in staff.cookies("Jory").items()]
    with closing(browser.new_context(viewport=SIZES["phone"])) as context:
        context.add_cookies(cookies)
        page = context.new_page()
        page.goto(signing.url)
        expect(page.locator(".gauge-stack .value")).to_have_text("284 °C")
        staff.people.sign_out_everywhere("Jory")
        staff.shop.now_ms += RECHECK_MS
        staff.shop.live.put(furnace_now(stack=301.0))
        expect(page.get_by_role("heading", name="Sign in")).to_be_visible(timeout=20_000)


def test_an_open_page_behind_nginx_outlives_a_restart_of_the_host(browser: Browser, staff: Staffed, tls: Tls) -> None:
    """nginx answers 502 meanwhile, which ends a stream for good if nobody asks again."""
    port = free_port()
    cookies = staff.cookies("Jory")
    with nginx(tls.certificate.parent, port) as url:
        with served(staff.build(local=False), port, proxies=("127.0.0.1",)):
            page = browser.new_context(ignore_https_errors=True, viewport=SIZES["phone"]).new_page()
            page.context.add_cookies([{"name": name, "value": value, "url": url} for name, value in cookies.items()])
            page.goto(url)
            expect(page.locator(".gauge-stack .value")).to_have_text("284 °C")
        page.wait_for_timeout(4000)
        staff.shop.live.put(furnace_now(stack=302.0))
        with served(staff.build(local=False), port, proxies=("127.0.0.1",)):
            expect(page.locator(".gauge-stack .value")).to_have_text("302 °C", timeout=20_000)
            page.context.close()


def test_only_addresses_of_the_machine_itself_are_local() -> None:
    local = ("127.0.0.1", "127.8.9.1", "::1", "localhost")
    assert [host for host in (*local, "0.0.0.0", "::", "192.168.1.2", "pi.local", "") if is_loopback(host)] == [*local]
