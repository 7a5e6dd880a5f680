"""What a person can get wrong on the command line is told in one line that says what to do, with status 2."""

import random
import socket
import subprocess
import sys
from pathlib import Path

import pytest

import sootline
from sootline.service import Options, Service
from tests.service.kit import Peer, broker, eventually, free_port, running


def run(*arguments: object, path: str | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "sootline", *map(str, arguments)]
    environment = {"PATH": path} if path is not None else None
    return subprocess.run(command, capture_output=True, text=True, timeout=60, env=environment)


def one_line(done: subprocess.CompletedProcess[str]) -> str:
    assert done.returncode == 2, done.stderr
    assert done.stdout == "" and done.stderr.count("\n") == 1 and done.stderr.startswith("sootline: ")
    return done.stderr


def test_version_help_and_unknown_commands() -> None:
    assert run("--version").stdout == f"sootline {sootline.__version__}\n"
    listed = run("--help").stdout
    assert all(f"  {name} " in listed for name in ("run", "replay", "record", "demo"))
    assert "there are" in one_line(run("watch"))
    assert run().returncode == 2


def test_a_profile_with_an_unknown_key_or_an_impossible_number(tmp_path: Path) -> None:
    profiles = tmp_path / "profiles"
    profiles.mkdir()
    for text, words in (
        ("[refill]\nlimit_min = 20\n", "the nearest known one is 'refill.limit_s'"),
        ("[refill]\nlimit_s = 1e9\n", "must lie between 1 and 600"),
    ):
        (profiles / "a.toml").write_text('[furnace]\nid = "a"\n' + text)
        line = one_line(run("run", "--data", tmp_path / "data", "--profiles", profiles))
        assert str(profiles / "a.toml") in line and words in line


def test_a_folder_that_is_not_there_or_cannot_be_written(tmp_path: Path) -> None:
    assert "no such folder" in one_line(run("run", "--data", tmp_path, "--profiles", tmp_path / "none"))
    (tmp_path / "file").write_text("")
    assert "--data" in one_line(run("run", "--data", tmp_path / "file"))


def test_a_taken_port(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        pages = one_line(run("run", "--data", tmp_path, "--broker-port", 0, "--web-port", port))
        assert str(port) in pages and "choose another port" in pages
        own = one_line(run("run", "--data", tmp_path, "--broker-port", port, "--web-port", 0))
        assert str(port) in own and "--broker" in own


def test_a_missing_mosquitto_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sootline.broker._PLACES", ())
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(sootline.errors.UserError, match="apt install mosquitto"):
        Service(Options(tmp_path / "data", broker_port=0, web_port=0))


def test_a_second_service_on_the_same_folder(tmp_path: Path) -> None:
    with running(tmp_path):
        assert "already runs" in one_line(run("run", "--data", tmp_path, "--broker-port", 0, "--web-port", 0))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--broker", "host:port"], "no HOST or HOST:PORT"),
        (["--broker", "h", "--broker-password-file", "/none"], "needs --broker-user"),
        (["--broker", "h", "--broker-user", "u", "--broker-password-file", "/none"], "No such file"),
        (["--broker", "h", "--broker-ca", "/none"], "no such file"),
        (["--boards-listen", "0.0.0.0:1883"], "give --boards-passwords FILE with it"),
        (["--broker", "h", "--boards-listen", "0.0.0.0:1883"], "leave it out with --broker"),
        (["--boards-listen", "127.0.0.1:1883", "--boards-passwords", "/none"], "cannot be read"),
    ],
)
def test_broker_options_that_cannot_be(tmp_path: Path, arguments: list[str], words: str) -> None:
    own = [] if "--broker" in arguments else ["--broker-port", 0]
    assert words in one_line(run("run", "--data", tmp_path, "--web-port", 0, *own, *arguments))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["replay", "."], "is a folder; name the files in it"),
        (["replay", "noise.csv"], "cannot be read as a table"),
        (["replay", "noise.parquet"], "cannot be read as a table"),
        (["replay", "noise.ndjson"], "no line holds a message"),
        (["replay", "empty.ndjson"], "no line holds a message"),
        (["batch", "list", "--data", "nowhere"], "no such folder; give the one of 'sootline run' with --data"),
        (["people", "list", "--data", "nowhere"], "no such folder; give the one of 'sootline run' with --data"),
        (["contacts", "check", "--data", "nowhere"], "nobody is told of anything"),
        (["contacts", "rehearse", "--days", "-1"], "more than none"),
        (["mirror", "server", "--data", "nowhere"], "write it like http://127.0.0.1:8428"),
        (["store", "status", "--data", "noise.csv"], "there is no store in noise.csv"),
    ],
)
def test_rubbish_and_wrong_paths(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], words: str
) -> None:
    noise = random.Random(7).randbytes(60_000)
    for name in ("noise.csv", "noise.parquet", "noise.ndjson"):
        (tmp_path / name).write_bytes(noise)
    (tmp_path / "empty.ndjson").touch()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", str(Path(sootline.__file__).parents[1]))
    line = one_line(run(*arguments))
    assert words in line and all(c.isprintable() for c in line.rstrip("\n"))


@pytest.mark.parametrize("option", ["--web-port", "--broker-port"])
@pytest.mark.parametrize("port", ["99999", "-4", "http"])
def test_a_port_that_is_none(tmp_path: Path, option: str, port: str) -> None:
    done = run("run", "--data", tmp_path, option, port)
    assert done.returncode == 2 and f"argument {option}: '{port}' is no port; give 0 to 65535" in done.stderr


def test_an_unreachable_broker_is_said_on_the_page_and_tried_again(tmp_path: Path) -> None:
    from sootline.broker import Broker
    from sootline.ingest.client import Address

    port = free_port()
    service = Service(Options(tmp_path / "data", broker=Address(port=port), web_port=0))
    service.start()
    try:
        eventually(lambda: any(f"cannot reach the broker at 127.0.0.1:{port}" in t for t in service.live.troubles))
        with Broker(tmp_path / "broker", port):
            eventually(lambda: not service.live.troubles)
            with Peer(port) as peer:
                peer.publish("sootline/a/board", b'{"online": true}')
            eventually(lambda: service.live.now("a"))
        eventually(lambda: any("the broker at" in text for text in service.live.troubles))
        service.check()
    finally:
        service.stop()


def test_a_broker_that_refuses_the_host_is_said_on_the_page(tmp_path: Path) -> None:
    from sootline.broker import Broker, Network
    from sootline.ingest.client import Address

    passwords, port = tmp_path / "passwords", free_port()
    passwords.write_text("engine-shed:x\n")
    with Broker(tmp_path / "broker", 0, Network("127.0.0.1", port, passwords)):
        service = Service(Options(tmp_path / "data", broker=Address(port=port, user="host", password="?"), web_port=0))
        service.start()
        try:
            eventually(lambda: any("check user and password" in text for text in service.live.troubles))
        finally:
            service.stop()


def test_recording_from_nowhere_is_told(tmp_path: Path) -> None:
    done = run("record", tmp_path / "made", "--broker", f"127.0.0.1:{free_port()}", "--for", "6")
    assert done.returncode == 0
    assert "cannot reach the broker" in done.stderr and "0 messages recorded" in done.stderr


def test_recording_for_a_while(tmp_path: Path) -> None:
    with broker(tmp_path / "broker") as address, Peer(address.port) as peer:
        peer.publish("sootline/a/board", b'{"online": true}', retain=True)
        done = run("record", tmp_path / "made", "--broker", address, "--for", "2")
    assert "1 messages recorded" in done.stderr
