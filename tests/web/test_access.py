"""Who may see and do what: every address, with every method, by everybody."""

from collections.abc import Iterator

import httpx
import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from sootline.people.person import NOBODY, ROLES, Act, Person, Role, at_least, may
from sootline.web.access import NEEDS, guarded
from sootline.web.app import build
from sootline.web.people import person_of
from sootline.web.server import Server
from tests.web.staff import STAFF, Staffed, served, staffed
from tests.web.test_pages import token
from tests.web.workshop import NOW_MS, Workshop, alarm, furnace_now

PUBLIC = {
    "GET /keeper.js", "GET /static/{fingerprint}/{name}", "POST /units", "GET /sign-in", "POST /sign-in",
    "POST /sign-out", "GET /shared/{token}",
}  # fmt: skip
"""All that whoever has not signed in may ask for."""
WHO: dict[str, Role] = {"nobody": "nobody", "Jory": "viewer", "Pim": "helper", "Maud": "owner"}
LINKS = ("link to all", "link to engine-shed", "link to carriage-shop")
FILLED = {"furnace": "engine-shed", "what": "firings", "fingerprint": "0", "name": "x.css", "token": "x" * 43}


@pytest.fixture(scope="module")
def staff(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Staffed]:
    with staffed(tmp_path_factory.mktemp("staff")) as made:
        made.shop.live.put(furnace_now(alarms=(alarm(),)), furnace_now("carriage-shop", "standby"))
        yield made


@pytest.fixture(scope="module")
def app(staff: Staffed) -> Starlette:
    return staff.build()


@pytest.fixture(scope="module")
def routes(app: Starlette) -> list[tuple[str, str]]:
    """Method and path of everything that is served, taken from the application itself."""
    assert all(isinstance(route, Route) for route in app.routes)
    return [(method, route.path) for route in app.routes for method in sorted(route.methods)]


@pytest.fixture(scope="module")
def gated(app: Starlette) -> Iterator[Server]:
    with served(app) as made:
        yield made


def asked(path: str, furnace: str = "engine-shed") -> str:
    for name, value in {**FILLED, "furnace": furnace}.items():
        path = path.replace(f"{{{name}}}", value)
    return path


def status(client: httpx.Client, method: str, path: str) -> int:
    """The status of an answer, without waiting for the end of a stream; 401 for one that leads to the sign-in page."""
    with client.stream(method, path, headers={"Accept": "text/html"}) as answer:
        to = answer.headers.get("location", "")
        if method == "POST" and answer.status_code == 403 and "Not allowed" not in answer.read().decode():
            return 400  # let in, and there the form was found wanting
        return 401 if answer.status_code == 303 and to.startswith("/sign-in") else answer.status_code


@pytest.mark.parametrize("who", [*WHO, *LINKS])
def test_every_address_lets_in_the_role_it_names_and_nobody_less(
    staff: Staffed, gated: Server, routes: list[tuple[str, str]], who: str
) -> None:
    wrong = []
    with httpx.Client(base_url=gated.url, cookies=staff.cookies(who), timeout=20) as client:
        for method, path in routes:
            entry = f"{'GET' if method == 'HEAD' else method} {path}"
            role = WHO.get(who, "viewer")
            allowed = at_least(role, NEEDS[entry])
            if who in LINKS and entry not in PUBLIC:
                shared = path in ("/", "/alarms", "/alarms/figures", "/log", "/live") if who == "link to all" else False
                of_it = path.startswith("/furnace/") and who in ("link to all", "link to engine-shed")
                allowed = allowed and (shared or of_it)
            got = status(client, method, asked(path))
            # a link to one furnace leads from the front page to that furnace
            expected = got not in (401, 403) if allowed else got == 303 if path == "/" and who in LINKS else (
                got in ((401,) if who == "nobody" else (403,))
            )  # fmt: skip
            if not expected:
                wrong.append((method, path, got))
    assert wrong == []


def test_what_needs_no_sign_in_is_this_and_no_more_and_nothing_is_done_by_a_viewer(
    routes: list[tuple[str, str]],
) -> None:
    served_entries = {f"{'GET' if method == 'HEAD' else method} {path}" for method, path in routes}
    assert served_entries == set(NEEDS), "a line in NEEDS for every route, and no other"
    assert {entry for entry, role in NEEDS.items() if role == "nobody"} == PUBLIC
    own = {"POST /password"}
    doing = {entry for entry in served_entries if not entry.startswith("GET ")} - PUBLIC - own
    assert {entry for entry in doing if not at_least(NEEDS[entry], "helper")} == set()


def test_an_address_without_a_role_cannot_be_served() -> None:
    async def page(_: Request) -> Response:
        return Response()

    with pytest.raises(LookupError, match="POST /new"):
        guarded([Route("/new", page, methods=["POST"])], None)  # type: ignore[arg-type]


def test_a_link_to_one_furnace_shows_no_trace_of_another(staff: Staffed, gated: Server) -> None:
    staff.shop.live.show(troubles=("commissioning: carriage-shop: /home/maud/secret.toml is wrong",))
    with httpx.Client(base_url=gated.url, cookies=staff.cookies("link to engine-shed"), timeout=20) as client:
        for path in (
            "/furnace/engine-shed",
            "/furnace/engine-shed/sensors",
            "/furnace/engine-shed/firings",
            "/nothing",
        ):
            text = client.get(path).text.lower()
            assert "carriage" not in text and "secret" not in text, path
        for path in ("/furnace/carriage-shop", "/live?furnace=carriage-shop", "/live", "/alarms"):
            assert status(client, "GET", path) == 403, path
        with client.stream("GET", "/live?furnace=engine-shed") as stream:
            first = next(stream.iter_text())
        assert "readings:engine-shed" in first and "carriage" not in first and "secret" not in first
        assert "tell the owner" in first
    staff.shop.live.show(troubles=())


def test_nobody_learns_nothing(staff: Staffed, gated: Server) -> None:
    staff.shop.live.show(troubles=("carriage-shop: /home/maud/secret.toml is wrong",))
    with httpx.Client(base_url=gated.url, follow_redirects=True) as client:
        for path in ("/", "/furnace/engine-shed", "/nothing", "/sign-in", "/furnace/nowhere"):
            for method in ("GET", "POST"):
                text = client.request(method, path, headers={"Accept": "text/html"}).text
                for word in ("engine-shed", "Engine shed", "carriage", "Carriage", "secret", "Maud"):
                    assert word not in text.replace(f'value="{path}"', ""), (method, path, word)
    staff.shop.live.show(troubles=())


def test_a_viewer_is_shown_no_forms_and_a_helper_is_not_asked_for_a_name(staff: Staffed, gated: Server) -> None:
    for who, role in STAFF.items():
        with httpx.Client(base_url=gated.url, cookies=staff.cookies(who)) as client:
            assert f'<body class="role-{role} named"' in client.get("/").text


def test_the_signed_in_name_counts_whatever_the_form_says(staff: Staffed, gated: Server) -> None:
    stall = alarm()
    staff.shop.live.put(furnace_now(alarms=(stall,)))
    with httpx.Client(base_url=gated.url, cookies=staff.cookies("Pim")) as client:
        sent = {
            "token": token(client), "furnace": "engine-shed", "alarm": "refill-timeout", "channel": "",
            "raised": str(stall.raised_ms), "by": "Maud", "back": "/",
        }  # fmt: skip
        assert client.post("/acknowledge", data=sent).status_code == 303
        assert staff.shop.live.acts.pop() == ("acknowledge", stall.key, "Pim")
        assert "sootline_name" not in client.cookies
    with httpx.Client(base_url=gated.url, cookies=staff.cookies("Jory")) as client:
        answer = client.post("/acknowledge", data={**sent, "token": token(client)})
        assert answer.status_code == 403 and "A viewer may not do that" in answer.text
        assert staff.shop.live.acts == []


def test_the_menu_shows_what_may_be_seen(staff: Staffed, gated: Server) -> None:
    seen = {}
    for who in (*STAFF, *LINKS[:2]):
        with httpx.Client(base_url=gated.url, cookies=staff.cookies(who), follow_redirects=True) as client:
            text = client.get("/").text
            seen[who] = [path for path in ("/alarms", "/log", "/settings") if f'<a href="{path}"' in text]
    assert seen == {
        "Maud": ["/alarms", "/log", "/settings"], "Pim": ["/alarms", "/log", "/settings"],
        "Jory": ["/alarms", "/log", "/settings"], "link to all": ["/alarms", "/log"], "link to engine-shed": [],
    }  # fmt: skip


@pytest.mark.parametrize("who", ["Maud", "Pim", "Jory", "link to all"])
def test_the_log_asks_what_was_done_only_of_who_may_tell(staff: Staffed, gated: Server, who: str) -> None:
    with httpx.Client(base_url=gated.url, cookies=staff.cookies(who)) as client:
        text = client.get("/log").text
    assert "What was done" in text and ("What did you do?" in text) == (who in ("Maud", "Pim"))


def test_a_link_that_only_this_machine_can_open_says_so(staff: Staffed, gated: Server) -> None:
    with httpx.Client(base_url=gated.url, cookies=staff.cookies("Maud")) as client:
        sent = {"token": token(client, "/settings"), "whom": "Wren", "furnace": "", "days": "3"}
        assert "Only this machine can open it." in client.post("/links", data=sent).text
        elsewhere = client.post(
            "/links", data=sent, headers={"Host": f"workshop.lan:{gated.url.split(':')[2].strip('/')}"}
        )
        assert "http://workshop.lan:" in elsewhere.text and "Only this machine" not in elsewhere.text


def test_without_accounts_whoever_sits_at_the_machine_is_the_owner_and_gives_a_name(
    client: httpx.Client, shop: Workshop
) -> None:
    stall = alarm()
    shop.live.put(furnace_now(alarms=(stall,)))
    sent = {
        "token": token(client), "furnace": "engine-shed", "alarm": "refill-timeout", "channel": "",
        "raised": str(stall.raised_ms), "by": "Pim", "back": "/",
    }  # fmt: skip
    client.post("/acknowledge", data=sent)
    assert shop.live.acts == [("acknowledge", stall.key, "Pim")]


@pytest.mark.parametrize(
    "header", ["X-Forwarded-For", "X-Forwarded-Proto", "X-Forwarded-Host", "Forwarded", "Via", "X-Real-IP"]
)
def test_without_accounts_nobody_comes_in_through_a_proxy(client: httpx.Client, shop: Workshop, header: str) -> None:
    shop.live.put(furnace_now())
    answer = client.get("/", headers={header: "203.0.113.9", "Accept": "text/html"})
    assert answer.url.path == "/sign-in" and "sootline people add NAME --role owner" in answer.text


@pytest.mark.parametrize(
    ("act", "least"), [("see", "viewer"), ("acknowledge", "helper"), ("log", "helper"), ("manage", "owner")]
)
def test_each_role_may_do_what_the_lesser_ones_may(act: Act, least: Role) -> None:
    allowed = [role for role in ROLES if may(Person("Maud", role), act)]
    assert allowed == list(ROLES[ROLES.index(least) :])


def test_a_request_that_nobody_looked_at_is_nobodys() -> None:
    assert person_of(Request({"type": "http"})) == NOBODY


def test_pages_that_are_not_local_are_closed_while_there_is_no_account(fresh: tuple[Workshop, httpx.Client]) -> None:
    shop, _ = fresh
    shop.live.put(furnace_now())
    with served(build(shop.live, shop.folder, now=lambda: NOW_MS, local=False)) as server:
        answer = httpx.get(server.url, headers={"Accept": "text/html"}, follow_redirects=True)
        assert "Nobody can sign in yet" in answer.text and "Engine shed" not in answer.text
        assert httpx.get(server.url + "live").status_code == 401
