"""`sootline people`, at a terminal and from a script; and what a service refuses without accounts."""

import os
import pty
import re
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from sootline.errors import UserError
from sootline.people.people import People
from sootline.service import Options, Service, now_ms
from tests.service.kit import free_port, running
from tests.service.test_errors_are_clear import one_line, run
from tests.web.staff import enter

WORDS = "brass whistle nine"


def typed(folder: Path, *arguments: str, answers: tuple[str, ...]) -> tuple[int, str]:
    """Status and screen of a command at a terminal of its own, where `answers` are typed when it asks."""
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "sootline", "people", *arguments, "--data", str(folder)]
    process = subprocess.Popen(
        ["setsid", "--ctty", "--wait", *command], stdin=theirs, stdout=theirs, stderr=theirs, close_fds=True
    )
    os.close(theirs)
    screen = ""
    for answer in answers:
        screen = _until(ours, screen, ": ", screen.count(": "))
        os.write(ours, answer.encode() + b"\n")
    status = process.wait(60)
    while True:
        try:
            more = os.read(ours, 4096).decode()
        except OSError:  # the other end is closed: all has been read
            break
        screen += more
    os.close(ours)
    return status, screen


def _until(terminal: int, screen: str, wanted: str, seen: int) -> str:
    until = time.monotonic() + 60
    while screen.count(wanted) <= seen:
        assert time.monotonic() < until, screen
        screen += os.read(terminal, 4096).decode()
    return screen


def given(folder: Path, *arguments: str, password: str = WORDS) -> subprocess.CompletedProcess[str]:
    """A script gives the password as a line on standard input."""
    command = [sys.executable, "-m", "sootline", "people", *arguments, "--data", str(folder)]
    return subprocess.run(command, input=password + "\n", capture_output=True, text=True, timeout=60)


def test_at_a_terminal_the_password_is_asked_for_twice_and_never_shown(tmp_path: Path) -> None:
    status, screen = typed(tmp_path, "add", "Maud", "--role", "owner", answers=(WORDS, WORDS))
    assert status == 0 and "Maud can sign in as owner" in screen
    assert WORDS not in screen
    status, screen = typed(tmp_path, "password", "Maud", answers=("another few words", "another few word"))
    assert status == 2 and "not the same; nothing was changed" in screen
    with closing(People(tmp_path)) as people:
        assert people.fits("Maud", WORDS) == "Maud"


def test_people_are_added_listed_given_a_password_and_removed(tmp_path: Path) -> None:
    assert "nobody yet" in given(tmp_path, "list").stdout
    assert "first one must be an owner" in one_line(given(tmp_path, "add", "Pim", "--role", "helper"))
    assert given(tmp_path, "add", "Maud", "--role", "owner").returncode == 0
    assert given(tmp_path, "add", "Pim", "--role", "helper").returncode == 0
    with closing(People(tmp_path)) as people:
        people.sign_in("Maud", now_ms())
        people.share("Neighbour", None, 3, "Maud", now_ms())
    listed = given(tmp_path, "list").stdout.splitlines()
    assert listed[0].split()[:4] == ["Maud", "owner", "1", "signed"] and listed[1].endswith("helper   not signed in")
    assert "shared links that can still be used: 1" in listed[2]
    assert "signed out everywhere" in given(tmp_path, "password", "pim", password="another few words").stdout
    assert "only owner" in one_line(given(tmp_path, "remove", "Maud"))
    assert given(tmp_path, "remove", "Pim").returncode == 0
    for command in ("remove", "password"):
        assert "nobody called Pim" in one_line(given(tmp_path, command, "Pim"))


@pytest.mark.parametrize("password", ["", "short"])
def test_a_password_that_is_too_short_is_one_line(tmp_path: Path, password: str) -> None:
    line = one_line(given(tmp_path, "add", "Maud", "--role", "owner", password=password))
    assert "at least 10 characters" in line


def test_a_folder_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    assert "no such folder" in one_line(given(tmp_path / "none", "list"))
    assert not (tmp_path / "none").exists()


def test_beyond_this_machine_a_service_without_accounts_is_refused(tmp_path: Path) -> None:
    words = f"sootline people add NAME --role owner --data {tmp_path}"
    assert words in one_line(run("run", "--data", tmp_path, "--broker-port", 0, "--web-host", "0.0.0.0"))
    for beyond in ({"web_host": "::"}, {"web_host": "192.168.1.2"}, {"proxies": ("127.0.0.1",)}):
        with pytest.raises(UserError, match=re.escape(words)):
            Service(Options(tmp_path, broker_port=0, web_port=0, **beyond))


def test_https_needs_both_files_and_a_proxy_an_address(tmp_path: Path) -> None:
    line = one_line(run("run", "--data", tmp_path, "--certificate", tmp_path / "certificate.pem"))
    assert "both --certificate FILE and --key FILE" in line and "openssl req" in line
    wrong = run("run", "--data", tmp_path, "--trusted-proxy", "the-router")
    assert wrong.returncode == 2 and "'the-router' is no address or network" in wrong.stderr


def test_a_running_service_lets_in_who_is_added_and_puts_out_who_is_removed(tmp_path: Path) -> None:
    with running(tmp_path, web_port=free_port()) as service, httpx.Client(base_url=service.web.url) as client:
        html = {"Accept": "text/html"}
        assert client.get("/", headers=html).status_code == 200
        assert given(tmp_path, "add", "Maud", "--role", "owner").returncode == 0
        assert client.get("/", headers=html).status_code == 303
        assert enter(client, "Maud").status_code == 303
        assert client.get("/", headers=html).status_code == 200
        assert given(tmp_path, "password", "Maud", password="another few words").returncode == 0
        assert client.get("/", headers=html).status_code == 303
    with running(tmp_path, web_host="0.0.0.0", web_port=free_port()) as service:
        answer = httpx.get(f"http://127.0.0.1:{service.web.port}/", headers=html)
        assert answer.status_code == 303 and answer.headers["location"] == "/sign-in?back=/"
