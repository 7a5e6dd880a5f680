"""Accounts, sessions, links and the brake on guessing, without pages."""

import random
import shutil
import sqlite3
import stat
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import argon2
import pytest

from sootline.errors import StoreUnavailable, UserError
from sootline.people import people as kept
from sootline.people.passwords import _NOBODYS, SHORTEST, fits, hashed, is_outdated
from sootline.people.people import DAY_MS, IDLE_MS, LONGEST_MS, People
from sootline.people.person import NOBODY, Person
from sootline.people.throttle import TRIES, WINDOW_MS, Throttle

NOW_MS = 1_768_575_600_000
WORDS = "brass whistle nine"


@pytest.fixture
def people(tmp_path: Path) -> Iterator[People]:
    made = People(tmp_path)
    yield made
    made.close()


@pytest.fixture(scope="module")
def staff(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file with two accounts, made once: each password takes its time."""
    folder = tmp_path_factory.mktemp("staff")
    with closing(People(folder)) as made:
        made.add("Maud", "owner", WORDS, NOW_MS)
        made.add("Pim", "helper", WORDS, NOW_MS)
    return folder / kept.FILE


@pytest.fixture
def staffed(staff: Path, tmp_path: Path) -> Iterator[People]:
    shutil.copy(staff, tmp_path)
    with closing(People(tmp_path)) as made:
        yield made


def test_a_password_is_kept_as_argon2id_with_the_parameters_of_rfc_9106() -> None:
    """RFC 9106, section 4, second recommended option: Argon2id, t=3, p=4, m=2^16 KiB, 128-bit salt, 256-bit tag."""
    parameters = argon2.extract_parameters(hashed(WORDS))
    assert parameters.type is argon2.Type.ID
    assert (parameters.time_cost, parameters.parallelism, parameters.memory_cost) == (3, 4, 2**16)
    assert (parameters.salt_len, parameters.hash_len) == (16, 32)
    assert hashed(WORDS) != hashed(WORDS)


def test_only_the_right_password_fits() -> None:
    one = hashed(WORDS)
    assert fits(one, WORDS)
    assert not fits(one, WORDS + " ") and not fits(one, "") and not fits(None, WORDS) and not fits("no hash", WORDS)
    assert not is_outdated(one) and not is_outdated(_NOBODYS), "an unknown name takes as long as a wrong password"


@pytest.mark.parametrize("password", ["", "x" * (SHORTEST - 1), "a" * 40, "x y" * 100])
def test_a_weak_or_endless_password_is_refused(people: People, password: str) -> None:
    with pytest.raises(UserError, match="password"):
        people.add("Maud", "owner", password, NOW_MS)
    assert not people.any()


def test_the_first_is_an_owner_and_the_last_owner_stays_while_there_are_others(people: People) -> None:
    with pytest.raises(UserError, match="first one must be an owner"):
        people.add("Pim", "helper", WORDS, NOW_MS)
    people.add("Maud", "owner", WORDS, NOW_MS)
    people.add("Pim", "helper", WORDS, NOW_MS)
    with pytest.raises(UserError, match="only owner"):
        people.remove("maud")
    people.remove("Pim")
    people.remove("Maud")
    assert not people.any()


@pytest.mark.parametrize("name", ["", " ", "x" * 41, "a\x00b", "a\u202eb"])
def test_a_name_is_one_readable_line(people: People, name: str) -> None:
    with pytest.raises(UserError, match="a name has"):
        people.add(name, "owner", WORDS, NOW_MS)


def test_names_are_compared_as_people_do(staffed: People) -> None:
    for same in ("MAUD", " maud ", "Maud"):
        assert staffed.fits(same, WORDS) == "Maud"
        with pytest.raises(UserError, match="already"):
            staffed.add(same, "viewer", WORDS, NOW_MS)
    staffed.add("Jo\u0308rg", "viewer", WORDS, NOW_MS)
    assert staffed.fits("JÖRG", WORDS) == "Jörg"


def test_a_session_ends_by_sign_out_by_rest_and_at_last(staffed: People) -> None:
    one, other = staffed.sign_in("Maud", NOW_MS), staffed.sign_in("Maud", NOW_MS)
    assert staffed.by_session(one, NOW_MS) == Person("Maud", "owner")
    staffed.sign_out(one)
    assert staffed.by_session(one, NOW_MS) == NOBODY
    now_ms = NOW_MS
    while now_ms < NOW_MS + LONGEST_MS:
        assert staffed.by_session(other, now_ms) == Person("Maud", "owner"), (now_ms - NOW_MS) / DAY_MS
        now_ms += IDLE_MS - 1
    assert staffed.by_session(other, NOW_MS + LONGEST_MS) == NOBODY
    idle = staffed.sign_in("Pim", NOW_MS)
    assert staffed.by_session(idle, NOW_MS + IDLE_MS) == NOBODY


def test_sign_out_everywhere_new_password_and_removal_end_all_sessions_of_that_person_only(staffed: People) -> None:
    for end in (
        lambda: staffed.sign_out_everywhere("Maud"),
        lambda: staffed.set_password("Maud", "another few words"),
    ):
        ours = [staffed.sign_in("Maud", NOW_MS) for _ in range(3)]
        browser = staffed.new_browser("Maud", NOW_MS)
        theirs = staffed.sign_in("Pim", NOW_MS)
        end()
        assert {staffed.by_session(token, NOW_MS) for token in ours} == {NOBODY}
        assert not staffed.knows_browser(browser, "Maud")
        assert staffed.by_session(theirs, NOW_MS) == Person("Pim", "helper")
    token = staffed.sign_in("Pim", NOW_MS)
    staffed.remove("Pim")
    assert staffed.by_session(token, NOW_MS) == NOBODY


def test_a_link_shows_what_it_was_made_for_until_it_ends_or_is_taken_back(staffed: People) -> None:
    token = staffed.share("Neighbour", "engine-shed", 3, "Maud", NOW_MS)
    holder = Person("Neighbour", "viewer", furnace="engine-shed", by_link=True)
    assert staffed.by_link(token, NOW_MS) == holder
    assert staffed.by_link(token, NOW_MS + 3 * DAY_MS - 1) == holder
    assert staffed.by_link(token, NOW_MS + 3 * DAY_MS) == NOBODY
    other = staffed.share("Fire officer", None, 1, "Maud", NOW_MS)
    assert [link.whom for link in staffed.links(NOW_MS)] == ["Fire officer", "Neighbour"]
    assert staffed.take_back(staffed.links(NOW_MS)[0].id)
    assert staffed.by_link(other, NOW_MS) == NOBODY and staffed.by_session(token, NOW_MS) == NOBODY
    for days in (0, 91):
        with pytest.raises(UserError, match="1 to 90 days"):
            staffed.share("Neighbour", None, days, "Maud", NOW_MS)


def test_who_reads_the_file_finds_nothing_to_sign_in_with(staffed: People, tmp_path: Path) -> None:
    tokens = [staffed.sign_in("Maud", NOW_MS), staffed.new_browser("Maud", NOW_MS)]
    tokens.append(staffed.share("Neighbour", None, 3, "Maud", NOW_MS))
    for path in tmp_path.glob("people.db*"):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600, path
        content = path.read_bytes()
        assert not any(token.encode() in content for token in [*tokens, WORDS])


def test_another_process_is_seen_at_once_and_waits_its_turn(staffed: People, tmp_path: Path) -> None:
    token = staffed.sign_in("Pim", NOW_MS)
    beside = People(tmp_path)

    def add(i: int) -> None:
        (staffed, beside)[i % 2].share(f"Friend {i}", None, 1, "Maud", NOW_MS)

    threads = [threading.Thread(target=add, args=(i,)) for i in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(staffed.links(NOW_MS)) == len(beside.links(NOW_MS)) == 8
    beside.remove("Pim")
    beside.close()
    assert staffed.by_session(token, NOW_MS) == NOBODY


def test_a_damaged_or_newer_file_is_told(tmp_path: Path) -> None:
    (tmp_path / kept.FILE).write_bytes(b"no database " * 500)
    with pytest.raises(StoreUnavailable, match=r"people\.db"):
        People(tmp_path)
    (tmp_path / kept.FILE).unlink()
    People(tmp_path).close()
    db = sqlite3.connect(tmp_path / kept.FILE)
    db.execute("PRAGMA user_version = 9")
    db.close()
    with pytest.raises(UserError, match="newer"):
        People(tmp_path)


def test_guessing_is_slowed_by_name_and_by_address() -> None:
    throttle = Throttle()
    for i in range(TRIES):
        assert throttle.try_again_s(f"203.0.113.{i}", "Maud", "", NOW_MS + i) == 0
    assert throttle.try_again_s("203.0.113.200", "mAUD", "", NOW_MS + 1000) == WINDOW_MS // 1000 - 1
    assert throttle.try_again_s("203.0.113.200", "Pim", "", NOW_MS) == 0
    assert throttle.try_again_s("203.0.113.200", "Maud", "", NOW_MS + WINDOW_MS) == 0
    throttle = Throttle()
    for i in range(TRIES):  # an IPv6 subscriber has a whole /64
        assert throttle.try_again_s(f"2001:db8:1:2::{i:x}", f"name {i}", "", NOW_MS) == 0
    assert throttle.try_again_s("2001:db8:1:2:ffff::1", "other", "", NOW_MS) > 0
    assert throttle.try_again_s("2001:db8:1:3::1", "other", "", NOW_MS) == 0


def test_nobody_can_lock_the_owner_out() -> None:
    """Not in a browser that was used before, nor at the machine itself, however long others try."""
    throttle = Throttle()
    for minute in range(24 * 60):
        now_ms = NOW_MS + minute * 60_000
        for i in range(4):
            throttle.try_again_s(f"198.51.100.{(4 * minute + i) % 250}", "Maud", "", now_ms)
        if minute % 60 == 59:
            assert throttle.try_again_s("203.0.113.9", "Maud", "", now_ms) > 0
            for address, browser in (("203.0.113.9", "known"), ("127.0.0.1", ""), ("::1", "")):
                assert throttle.try_again_s(address, "Maud", browser, now_ms) == 0
                throttle.succeeded(address, "Maud", browser)
    for _ in range(TRIES):
        throttle.try_again_s("203.0.113.9", "Maud", "known", now_ms)
    assert throttle.try_again_s("203.0.113.9", "Maud", "known", now_ms) > 0  # a stolen browser is slowed too


def test_an_account_of_ones_own_does_not_wash_an_address() -> None:
    throttle = Throttle()
    for _ in range(TRIES - 1):
        assert throttle.try_again_s("203.0.113.1", "Maud", "", NOW_MS) == 0
    assert throttle.try_again_s("203.0.113.1", "Pim", "", NOW_MS) == 0
    throttle.succeeded("203.0.113.1", "Pim", "")
    assert throttle.try_again_s("203.0.113.1", "someone", "", NOW_MS) == 0
    assert throttle.try_again_s("203.0.113.1", "someone else", "", NOW_MS) > 0


def test_the_counts_stay_few_and_a_clock_set_back_holds_nobody_up() -> None:
    throttle, chance = Throttle(), random.Random(5)
    for i in range(20_000):
        address, name = f"10.{i % 200}.{i // 200}.{i % 250}", f"n{chance.random()}"
        assert throttle.try_again_s(address, name, "", NOW_MS + i) == 0
        if chance.random() < 0.5:
            throttle.succeeded(address, name, "")
    assert len(throttle._counts) <= 4002
    assert throttle.try_again_s("10.9.9.9", "fresh", "", NOW_MS + 20_000) == 0
    throttle = Throttle()
    for _ in range(TRIES):
        throttle.try_again_s("10.0.0.1", "Maud", "", NOW_MS)
    assert throttle.try_again_s("10.0.0.1", "Maud", "", NOW_MS - 3_600_000) == 0
