"""The time server, asked by ntplib and by the board's own client under MicroPython. Layout: RFC 4330 and RFC 5905."""

import socket
import struct
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import ntplib
import pytest

from sootline import timeserver
from sootline.errors import UserError
from sootline.service import Options, Service
from sootline.timeserver import TimeServer
from tests.firmware.micropython import figures, run


@contextmanager
def serving(error_s: Callable[[], float | None]) -> Iterator[TimeServer]:
    server = TimeServer("127.0.0.1", 0, error_s)
    server.start()
    try:
        yield server
    finally:
        server.stop()


def test_a_real_client_gets_the_time() -> None:
    with serving(lambda: 0.25) as server:
        got = ntplib.NTPClient().request("127.0.0.1", port=server.port, version=4)
    assert abs(got.offset) < 0.1 and got.delay < 0.5
    assert (got.leap, got.version, got.mode, got.stratum) == (0, 4, 4, timeserver.STRATUM)
    assert 2 <= got.stratum <= 15 and got.ref_id == 0x7F000001
    assert got.root_dispersion == pytest.approx(0.25, abs=1e-4) and got.root_delay == 0
    assert got.precision == -20 and 0 <= got.tx_time - got.ref_time < 60


def test_a_clock_nobody_keeps_right_is_not_served_as_true() -> None:
    with serving(lambda: None) as server:
        got = ntplib.NTPClient().request("127.0.0.1", port=server.port, version=3)
        board = figures(run("ask_time.py", "1m", 20, str(server.port)))
    assert (got.leap, got.stratum, got.version) == (3, 0, 3)
    assert got.ref_id == int.from_bytes(b"INIT", "big")
    assert board["believed"] == 0


def test_the_board_believes_a_kept_clock() -> None:
    with serving(lambda: 0.01) as server:
        board = figures(run("ask_time.py", "1m", 20, str(server.port)))
    assert board["believed"] == 1
    assert board["utc_ms"] == pytest.approx(time.time() * 1000, abs=1500)


def test_timestamp_of_the_rfc_and_the_era_of_2036() -> None:
    # RFC 5905 figure 4: the epoch of Unix is 2,208,988,800 s, the last second of era 0 is 2036-02-07 06:28:15.
    assert timeserver.stamp(0) == struct.pack(">II", 2_208_988_800, 0)
    assert timeserver.stamp(2_085_978_495_500_000_000) == b"\xff\xff\xff\xff\x80\x00\x00\x00"
    assert timeserver.stamp(2_085_978_496_000_000_000) == bytes(8)


@pytest.mark.parametrize(
    "asked", [b"", b"\x23" * 47, b"\x24" + bytes(47), b"\x1e" + bytes(47), b"\x03" + bytes(47), b"\x3b" + bytes(47)]
)
def test_no_answer_to_what_is_no_request(asked: bytes) -> None:
    """Short; a server's own answer (two servers would talk for ever); control; versions 0 and 7."""
    assert timeserver.answer(asked, 1, 1, 1, 0.1) is None
    assert timeserver.answer(b"\x23" + bytes(47), 1, 1, 1, 0.1) is not None


def test_an_answer_is_no_longer_than_the_request() -> None:
    asked = b"\x19" + bytes(39) + b"12345678" + bytes(400)
    told = timeserver.answer(asked, 1, 1, 1, 0.1)
    assert told is not None and len(told) == 48
    assert told[0] == 0x1A and told[24:32] == b"12345678"  # version 3, symmetric passive


def test_this_computer_says_what_it_thinks_of_its_clock() -> None:
    error_s = timeserver.kernel_error_s()
    assert error_s is None or 0 <= error_s <= 16.5


def test_a_taken_or_forbidden_port_is_said(tmp_path: Path) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
        service = Service(Options(tmp_path, broker_port=0, web_port=0, time_at=("127.0.0.1", port)))
        with pytest.raises(UserError, match=rf"time cannot be served on 127\.0\.0\.1 port {port} .*--time-listen"):
            service.start()
    assert "choose a port above 1023" in timeserver._why("0.0.0.0", 123, PermissionError(13, "Permission denied"))


def test_the_service_tells_the_time(tmp_path: Path) -> None:
    service = Service(Options(tmp_path, broker_port=0, web_port=0, time_at=("127.0.0.1", 0), trust_clock=True))
    service.start()
    try:
        assert service.time is not None
        got = ntplib.NTPClient().request("127.0.0.1", port=service.time.port)
        assert abs(got.offset) < 0.1 and got.leap == 0
    finally:
        service.stop()
