"""Board time: uptime over wrapping counters, both epochs, and a time server that is not believed blindly."""

import struct
import time
from typing import Any

import pytest
from sootboard import clock, ntp

from sootline.bench import Bench, Board

from .conftest import Listener, Mosquitto
from .micropython import figures, run
from .senml_reader import facts, resolve

NOW_MS = 1_795_600_000_123


def test_uptime_over_the_wrap_of_a_30_bit_counter() -> None:
    got = figures(run("clock_wrap.py"))
    assert got["wrong"] == 0
    assert got["wraps"] > 50


def test_a_counter_that_steps_back_does_not_move_uptime() -> None:
    ticks = iter([1000, 2000, 1500, 2500])
    c = clock.Clock(lambda: next(ticks), lambda a, b: a - b)
    assert [c.uptime_ms(), c.uptime_ms(), c.uptime_ms()] == [1000, 1000, 1500]


def test_both_epochs() -> None:
    assert clock.epoch_s(lambda s: time.gmtime(s)) == 0
    assert clock.epoch_s(lambda s: time.gmtime(s + clock.EPOCH_2000_S)) == clock.EPOCH_2000_S
    assert time.gmtime(clock.EPOCH_2000_S)[:6] == (2000, 1, 1, 0, 0, 0)


def test_utc_is_unknown_until_set_and_steps_are_told() -> None:
    c = clock.Clock(lambda: 0, lambda a, b: 0)
    assert c.utc_ms(5000) == 0 and not c.synced
    assert c.set_utc(NOW_MS, 5000) == 0
    assert c.utc_ms(6000) == NOW_MS + 1000
    assert c.set_utc(NOW_MS + 3_601_000, 6000) == 3_600_000


def test_a_32_bit_float_could_not_hold_the_time() -> None:
    """Why everything here is whole numbers: one step of a 32-bit float is 128 s at today's Unix time."""
    seconds = NOW_MS // 1000 + 57
    assert abs(struct.unpack("f", struct.pack("f", seconds))[0] - seconds) > 10


NONCE = b"12345678"


def _answer(utc_ms: int = NOW_MS, **changes: Any) -> bytes:
    """A server's packet as RFC 4330 lays it out."""
    fields = {"leap": 0, "version": 4, "mode": 4, "stratum": 2, "nonce": NONCE} | changes
    head = bytes((fields["leap"] << 6 | fields["version"] << 3 | fields["mode"], fields["stratum"], 6, 0xEC))
    seconds = (utc_ms // 1000 + 2_208_988_800) % 2**32
    stamp = struct.pack(">II", seconds, (utc_ms % 1000 << 32) // 1000)
    return head + bytes(12) + stamp + fields["nonce"] + stamp + stamp


def test_good_answer() -> None:
    assert ntp.parse(_answer(), NONCE) == pytest.approx(NOW_MS, abs=1)


def test_answer_after_the_era_of_2036() -> None:
    utc_ms = 2_090_000_000_000  # 2036-03-25: the 32-bit seconds since 1900 have begun anew
    assert (utc_ms // 1000 + 2_208_988_800) >> 32 == 1
    assert ntp.parse(_answer(utc_ms), NONCE) == utc_ms


@pytest.mark.parametrize(
    "bad",
    [
        _answer(leap=3),
        _answer(mode=3),
        _answer(mode=5),
        _answer(stratum=0),
        _answer(stratum=16),
        _answer(nonce=b"87654321"),
        _answer(utc_ms=1_700_000_000_000),
        _answer(utc_ms=NOW_MS + 21 * 31_557_600_000),
        _answer()[:47],
        b"",
    ],
)
def test_answers_that_are_not_believed(bad: bytes) -> None:
    assert ntp.parse(bad, NONCE) is None


def test_request_asks_as_a_client_of_version_4() -> None:
    asked = ntp.request(NONCE)
    assert len(asked) == 48 and asked[0] == 0x23 and asked[40:] == NONCE


def test_before_the_first_answer_times_are_relative_and_fit_later(broker: Mosquitto, listener: Listener) -> None:
    start_ms = 1_795_600_000_000

    def signals(t_ms: int) -> dict[str, float | bool]:
        return {"tank": 20 + (t_ms - start_ms) / 10_000, "pump": True}

    bench = Bench(signals, start_ms=start_ms, until_ms=start_ms + 180_000)
    bench.time_served_from_ms = start_ms + 60_000
    with bench, Board("shed", bench=bench, broker_port=broker.port, speed=0) as board:
        assert bench.finished.wait(30), board.log
    packs = listener.of("measurements")
    relative = [p for p in packs if "bt" not in p[0]]
    absolute = [p for p in packs if "bt" in p[0]]
    assert len(relative) >= 8 and len(absolute) >= 8
    offset = absolute[0][0]["bt"] - facts(absolute[0])["uptime"]
    for pack in relative:
        for p in resolve(pack):
            if p.name == "tank":
                at_ms = (p.t_s + facts(pack)["uptime"] + offset) * 1000
                # Rises 0.1 K/s; the conversion is up to 0.8 s old and the chip's step is 0.0625 K.
                assert p.value == pytest.approx(signals(int(at_ms))["tank"], abs=0.15)
    assert bench.rtc_set_to.startswith("2026-11-25T")
