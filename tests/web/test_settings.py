"""The settings: what is shown, what the owner changes, and that nothing is lost or done by anybody else."""

import re
import tomllib
from collections.abc import Iterator
from dataclasses import replace

import httpx
import pytest
from playwright.sync_api import Browser, expect

from sootline.analysis.settings import table
from sootline.files import profiles
from sootline.people.throttle import TRIES
from sootline.store.sealing import Retention
from sootline.units import SYSTEMS, System
from sootline.web.app import build
from sootline.web.profile_views import FIELDS, changes, text_of, value_of
from sootline.web.server import Server
from tests.web.staff import WORDS, Staffed, enter, served, staffed, token
from tests.web.visit import opened
from tests.web.workshop import NOW_MS, PROFILE, SIZES, Workshop, furnace_now

NOTED = "# measured with Pim in the cold week\n" + PROFILE.replace("limit_s = 20.0", "limit_s = 20.0   # by stop watch")
PAGE = "/furnace/engine-shed/profile"


@pytest.fixture(scope="module")
def staff(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Staffed]:
    with staffed(tmp_path_factory.mktemp("staff")) as made:
        yield made


@pytest.fixture(scope="module")
def office(staff: Staffed) -> Iterator[Server]:
    with served(staff.build()) as made:
        yield made


@pytest.fixture
def owner(staff: Staffed, office: Server) -> Iterator[httpx.Client]:
    folder = staff.shop.folder / "profiles"
    folder.mkdir(exist_ok=True)
    (folder / "engine-shed.toml").write_text(NOTED)
    staff.shop.live.clear()
    staff.shop.live.profiles = profiles.load_folder(folder)
    staff.shop.live.put(furnace_now(), furnace_now("carriage-shop", "standby"))
    with httpx.Client(base_url=office.url, cookies=staff.cookies("Maud"), follow_redirects=True) as client:
        yield client


def inputs(page: str) -> dict[str, str]:
    """The fields of the profile form as a browser would send them."""
    form = page[page.index('id="profile"') : page.index("Keep these values")]
    found = dict(re.findall(r'<input[^>]* name="([^"]+)"[^>]*? value="([^"]*)"', form))
    for name, body in re.findall(r'<select[^>]* name="([^"]+)">(.*?)</select>', form):
        chosen = re.findall(r'value="([^"]*)" selected', body)
        found[name] = chosen[0] if chosen else ""
    return found


def content(staff: Staffed, furnace: str = "engine-shed") -> str:
    return (staff.shop.folder / "profiles" / f"{furnace}.toml").read_text()


def test_every_value_of_a_profile_can_be_shown_and_changed() -> None:
    """The list of fields is that of the profile; log entries have a page of their own."""
    empty = profiles.default("x")
    sections = [name for name in empty.__dataclass_fields__ if name not in ("log", "service")]
    keys = {f"{s}.{name}" for s in sections for name in getattr(empty, s).__dataclass_fields__} - {"furnace.id"}
    assert {field.key for field in FIELDS} == keys


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_form_sent_as_it_came_changes_nothing(system: System) -> None:
    profile = profiles.default("x")
    for value in (17.0, 60.123456, 199.99):
        for field in FIELDS:
            section, _, name = field.key.partition(".")
            if name not in ("heating", "clean_on"):
                part = replace(getattr(profile, section), **{name: value + len(field.key)})
                profile = replace(profile, **{section: part})
        form = {field.key: text_of(field, value_of(profile, field.key), system) for field in FIELDS}
        form |= {"tank.setpoint_C": "", "nozzle.setpoint_C": ""}
        assert set(changes(form, profile, system)) == {"tank.setpoint_C", "nozzle.setpoint_C"}


def test_a_value_is_changed_in_its_file_and_all_else_in_it_is_kept(staff: Staffed, owner: httpx.Client) -> None:
    form = inputs(owner.get(PAGE).text) | {
        "tank.limit_C": "92",
        "supply.volume_l": "900",
        "furnace.clean_on": "2026-01-04",
    }
    answer = owner.post(PAGE, data=form | {"token": token(owner, PAGE)})
    assert answer.status_code == 200 and "Changed." in answer.text
    now = content(staff)
    assert "# measured with Pim in the cold week" in now and "# by stop watch" in now
    before, after = tomllib.loads(NOTED), tomllib.loads(now)
    assert after["tank"].pop("limit_C") == 92.0 and before["tank"].pop("limit_C") == 95.0
    assert after.pop("supply") == {"volume_l": 900.0}
    assert after["furnace"].pop("clean_on").isoformat() == "2026-01-04"
    assert after == before
    earlier = list((staff.shop.folder / "profiles" / "earlier").iterdir())
    assert NOTED in [path.read_text() for path in earlier]
    assert set(profiles.load_folder(staff.shop.folder / "profiles")) == {"engine-shed"}, "those kept are no profiles"
    assert staff.shop.live.acts == [("reread", "engine-shed")]


def test_values_are_given_in_the_units_chosen(staff: Staffed, owner: httpx.Client) -> None:
    owner.cookies.set("sootline_units", "us")
    shown = inputs(owner.get(PAGE).text)
    assert (shown["tank.limit_C"], shown["stack.limit_C"]) == ("203", "716")
    owner.post(PAGE, data=shown | {"token": token(owner, PAGE), "stack.limit_C": "700", "supply.volume_l": "275"})
    after = tomllib.loads(content(staff))
    assert after["stack"]["limit_C"] == pytest.approx((700 - 32) / 1.8, abs=1e-3)
    assert after["supply"]["volume_l"] == pytest.approx(275 * 3.785411784, rel=1e-5)  # NIST SP 811, appendix B
    assert after["tank"]["limit_C"] == 95.0


def test_a_furnace_without_a_file_gets_one(staff: Staffed, owner: httpx.Client) -> None:
    page = "/furnace/carriage-shop/profile"
    form = inputs(owner.get(page).text) | {"token": token(owner, page), "nozzle.limit_C": "120"}
    answer = owner.post(page, data=form)
    assert "Changed." in answer.text, re.findall(r"<strong>Not done.*?<.p>", answer.text)
    assert tomllib.loads(content(staff, "carriage-shop")) == {
        "furnace": {"id": "carriage-shop"}, "nozzle": {"limit_C": 120.0},
    }  # fmt: skip
    taken = inputs(owner.get(page).text) | {"token": token(owner, page), "nozzle.limit_C": ""}
    owner.post(page, data=taken)
    assert "limit_C" not in content(staff, "carriage-shop")
    (staff.shop.folder / "profiles" / "carriage-shop.toml").unlink()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"tank.limit_C": "300"}, "Day tank limit: it must lie between 20 and 250 °C"),
        ({"tank.limit_C": "warm"}, "Day tank limit: give a number"),
        ({"tank.limit_C": "nan"}, "Day tank limit: it must lie"),
        ({"tank.limit_C": "60"}, "limit of the day tank must lie above its set point"),
        ({"furnace.heating": "never"}, "choose one of"),
        ({"furnace.clean_on": "soon"}, "give a date"),
        ({"seen": "0" * 16, "tank.limit_C": "90"}, "has been changed meanwhile"),
        ({"token": "x" * 43, "tank.limit_C": "90"}, "grown old"),
    ],
)
def test_what_cannot_be_right_is_refused_and_changes_nothing(
    staff: Staffed, owner: httpx.Client, change: dict[str, str], words: str
) -> None:
    form = inputs(owner.get(PAGE).text) | {"token": token(owner, PAGE)} | change
    answer = owner.post(PAGE, data=form)
    assert answer.status_code == 400 and words in answer.text
    assert content(staff) == NOTED and staff.shop.live.acts == []


def test_a_file_changed_by_hand_is_told_and_taken_up(staff: Staffed, owner: httpx.Client) -> None:
    assert "Changed on the disk" not in owner.get(PAGE).text
    path = staff.shop.folder / "profiles" / "engine-shed.toml"
    path.write_text(NOTED.replace("95.0", "88.0"))
    assert "Changed on the disk" in owner.get(PAGE).text
    assert "Read again." in owner.post(PAGE, data={"token": token(owner, PAGE), "again": "1"}).text
    assert staff.shop.live.acts == [("reread", "engine-shed")]
    path.write_text("tank = nonsense")
    answer = owner.get(PAGE)
    assert answer.status_code == 200 and "not TOML" in answer.text and "Keep these values" not in answer.text


def test_each_number_says_where_it_comes_from(staff: Staffed, owner: httpx.Client) -> None:
    given = NOTED.replace("limit_s = 20.0   # by stop watch", "")
    (staff.shop.folder / "profiles" / "engine-shed.toml").write_text(given)
    line = given.splitlines().index("limit_C = 130.0") + 1
    text = owner.get(PAGE).text
    assert f"from the profile, line {line}" in text
    assert "limiter run time when neither given nor learned" in text
    staff.shop.live.put(replace(furnace_now(), learned={"refill.limit_s": 18.4}))
    assert "18.4 s, learned from what it did" in owner.get(PAGE).text


def test_who_is_no_owner_sees_values_and_no_form_nor_paths(staff: Staffed, office: Server, owner: httpx.Client) -> None:
    for who in ("Pim", "Jory"):
        with httpx.Client(base_url=office.url, cookies=staff.cookies(who)) as client:
            text = client.get(PAGE).text
            assert "Day tank limit" in text and "95 °C" in text
            assert "Keep these values" not in text and str(staff.shop.folder) not in text
            text = client.get("/settings").text
            for hidden in ("Links for a friend", "Add somebody", str(staff.shop.folder), "Maud"):
                assert hidden not in text
            assert client.post(PAGE, data={"token": token(client, "/")}).status_code == 403


def test_the_settings_page_tells_retention_forecast_and_mirrors(staff: Staffed, owner: httpx.Client) -> None:
    shop = staff.shop
    shop.store.set_retention(Retention(raw_days=730.5, hourly_days=None, event_days=90))
    with shop.store.batch() as batch:
        batch.remember("mirror:attic", {"safe": {"arrived": {}}})
    text = owner.get("/settings").text
    for words in ("2 years", "for ever", "90 days", "<b>attic</b>: everything is there", "Free on the disk"):
        assert words in text, words
    listed = owner.get("/settings/analysis").text
    assert all(f"<code>{setting.name}</code>" in listed for setting in table())


def test_the_owner_adds_gives_a_password_and_removes(staff: Staffed, office: Server, owner: httpx.Client) -> None:
    def send(path: str, **fields: str) -> httpx.Response:
        return owner.post(path, data=fields | {"token": token(owner, "/settings")})

    assert "Tamsin" in send("/people", name="Tamsin", role="viewer", password=WORDS).text
    assert "already somebody" in send("/people", name="TAMSIN", role="viewer", password=WORDS).text
    assert "at least 10" in send("/people", name="Wenna", role="viewer", password="short").text
    assert "no role" in send("/people", name="Wenna", role="nobody", password=WORDS).text
    assert send("/people/password", name="Tamsin", password="another few words").status_code == 200
    assert staff.people.fits("Tamsin", "another few words") == "Tamsin"
    assert "Tamsin" not in send("/people/remove", name="Tamsin").text
    assert "only owner" in send("/people/remove", name="Maud").text


def test_a_link_is_made_shown_once_used_and_taken_back(staff: Staffed, office: Server, owner: httpx.Client) -> None:
    sent = {"token": token(owner, "/settings"), "whom": "Neighbour", "furnace": "engine-shed", "days": "3"}
    page = owner.post("/links", data=sent).text
    found = re.search(r'value="(http://127\.0\.0\.1:\d+/shared/[\w-]{43})" readonly', page)
    assert found
    with httpx.Client(follow_redirects=True) as friend:
        assert friend.get(found[1]).url.path == "/furnace/engine-shed"
        listed = owner.get("/settings").text
        assert "Neighbour" in listed and found[1][-43:] not in listed
        number = re.findall(r'name="link" value="(\d+)"', listed)[0]
        assert (
            owner.post("/links/take-back", data={"token": token(owner, "/settings"), "link": number}).status_code == 200
        )
        assert friend.get(f"{office.url}furnace/engine-shed").status_code == 401
    for wrong in ({"days": "400"}, {"days": "x"}, {"furnace": "nowhere"}, {"whom": " "}):
        assert owner.post("/links", data=sent | {"token": token(owner, "/settings")} | wrong).status_code == 400


def test_a_password_of_ones_own_is_changed_and_other_sessions_end(staff: Staffed, office: Server) -> None:
    with httpx.Client(base_url=office.url, follow_redirects=True) as phone, httpx.Client(base_url=office.url) as desk:
        enter(phone, "Jory")
        desk.cookies.update(staff.cookies("Jory"))
        sent = {
            "token": token(phone, "/settings"),
            "old": WORDS,
            "new": "another few words",
            "again": "another few words",
        }
        assert phone.post("/password", data=sent | {"old": "a wrong password"}).status_code == 400
        assert phone.post("/password", data=sent | {"again": "others"}).status_code == 400
        assert "The password is changed." in phone.post("/password", data=sent).text
        assert desk.get("/").status_code == 401
        again = sent | {"token": token(phone, "/settings"), "old": "a wrong password"}
        tries = [phone.post("/password", data=again).text for _ in range(TRIES)]
        assert "Too many tries" in tries[-1] and "is not right" in tries[0]
        assert phone.get("/settings").status_code == 200
        staff.people.set_password("Jory", WORDS)


@pytest.mark.parametrize("size", SIZES)
def test_the_first_owner_is_made_on_the_page_and_then_has_to_sign_in(
    browser: Browser, tmp_path_factory: pytest.TempPathFactory, size: str
) -> None:
    shop = Workshop(tmp_path_factory.mktemp("first"))
    with served(build(shop.live, shop.folder, now=lambda: NOW_MS)) as server, opened(browser, server.url, size) as page:
        page.get_by_role("link", name="Settings").click()
        page.get_by_label("Name", exact=True).fill("Maud")
        page.get_by_label("Password, 10 characters or more").fill(WORDS)
        page.get_by_role("button", name="Add").click()
        expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
        page.get_by_label("Name").fill("Maud")
        page.get_by_label("Password").fill(WORDS)
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_text("Maud, owner", exact=True)).to_be_visible()
        page.get_by_role("button", name="Sign out", exact=True).click()
        expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    shop.close()
