"""The lines between board and host: found in any pieces, never mistaken, and everything else told apart."""

import asyncio
import binascii
import itertools
import random
import subprocess
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline.bench import FIRMWARE, interpreter
from sootline.wire.line import MAX_LINE, Reader, Record, acknowledgement, encode

TOPIC = "sootline/engine-shed/measurements"
payloads = st.lists(st.binary(max_size=80).map(lambda b: bytes(x for x in b if x >= 0x20)), min_size=1, max_size=6)


def _split(data: bytes, cuts: list[int]) -> list[bytes]:
    places = sorted({c % (len(data) + 1) for c in cuts} | {0, len(data)})
    return [data[a:b] for a, b in itertools.pairwise(places)]


@given(payloads, st.lists(st.integers(0, 10_000), max_size=20), st.binary(max_size=40))
def test_whole_messages_are_found_in_any_pieces(sent: list[bytes], cuts: list[int], noise: bytes) -> None:
    noise = noise.replace(b"\x1e", b"")
    data = noise + b"".join(encode(TOPIC, p) + b"\r\n" for p in sent)
    reader, found = Reader(), []
    for piece in _split(data, cuts):
        found += reader.feed(piece)
    assert [f.payload for f in found if isinstance(f, Record)] == sent
    assert b"".join(f for f in found if isinstance(f, bytes)).strip() in (noise.strip(), b"")
    assert not reader.rest()


def test_the_checksum_is_that_of_the_standard() -> None:
    """Check value of CRC-32 (ITU-T V.42) over the digits 1 to 9, as catalogues of CRCs print it (from memory)."""
    assert binascii.crc32(b"123456789") == 0xCBF43926
    assert encode("1", b"3456789") == b"\x1e1 3456789 %08x\n" % binascii.crc32(b"1 3456789")


@given(st.integers(0, 2**31))
def test_one_wrong_bit_is_never_a_message(seed: int) -> None:
    dice = random.Random(seed)
    line = bytearray(encode(TOPIC, b'[{"n":"tank","v":60.25}]'))
    line[dice.randrange(len(line))] ^= 1 << dice.randrange(8)
    after = encode(TOPIC, b"next")
    reader = Reader()
    found = reader.feed(bytes(line) + after)
    messages = [f for f in found if isinstance(f, Record)]
    assert [f.payload for f in messages] in ([b"next"], [])
    if not messages:  # the end itself was hit, and the next one stands in the same line
        assert reader.feed(after)
    assert any(isinstance(f, bytes) for f in found)


def test_what_breaks_off_gives_way_to_the_next() -> None:
    whole = encode(TOPIC, b"{}")
    found = Reader().feed(whole[:20] + whole + b">>> print(1)\r\n1\r\n" + whole)
    assert [f if isinstance(f, bytes) else "message" for f in found] == [
        whole[:20],
        "message",
        b">>> print(1)\r\n",
        b"1\r\n",
        "message",
    ]


def test_a_line_without_end_is_let_go() -> None:
    reader = Reader()
    found: list[Any] = []
    for _ in range(MAX_LINE // 1000 + 2):
        found += reader.feed(b"\x1e" * (not found) + b"x" * 1000)
    assert found and all(isinstance(f, bytes) and len(f) <= 1024 for f in found)
    assert isinstance(reader.feed(b"\n" + encode(TOPIC, b"{}"))[-1], Record)


@pytest.mark.parametrize(("topic", "payload"), [("a b", b"{}"), (TOPIC, b"{\n}"), ("a\x1e", b""), (TOPIC, b"\x03")])
def test_control_characters_are_not_sent(topic: str, payload: bytes) -> None:
    with pytest.raises(ValueError, match="control"):
        encode(topic, payload)


def test_the_board_says_the_same() -> None:
    """What the board's own code writes under MicroPython is what this side reads, byte for byte."""
    code = f"""
import asyncio, sys
sys.path[:0] = [{str(FIRMWARE / "bench")!r}, {str(FIRMWARE)!r}]
from sootboard.usb import Line
asyncio.run(Line(type("Clock", (), {{}})(), None).send({TOPIC!r}, b'[{{"n":"tank","v":60.25}}]'))
"""
    done = subprocess.run([*interpreter(), "-c", code], capture_output=True, check=True, timeout=20)
    assert done.stdout == encode(TOPIC, b'[{"n":"tank","v":60.25}]')


def test_an_acknowledgement_names_the_checksum() -> None:
    record = Reader().feed(encode(TOPIC, b"{}"))[0]
    assert isinstance(record, Record)
    (answer,) = Reader().feed(acknowledgement(record))
    assert isinstance(answer, Record) and answer.topic == "ack"
    assert int(answer.payload, 16) == record.check == binascii.crc32(f"{TOPIC} {{}}".encode())


class _Clock:
    synced = False
    set_at_ms = 0

    def __init__(self) -> None:
        self.now = 0

    def uptime_ms(self) -> int:
        return self.now

    def set_utc(self, utc_ms: int, uptime_ms: int) -> int:
        self.synced, self.set_at_ms = True, uptime_ms
        return utc_ms


def test_the_board_takes_only_whole_lines_and_a_time_that_did_not_wait() -> None:
    import os
    import sys

    for folder in (FIRMWARE, FIRMWARE / "bench"):
        if str(folder) not in sys.path:
            sys.path.insert(0, str(folder))
    from sootboard.usb import Line

    ours, theirs = os.pipe()
    clock, steps, heard = _Clock(), [], []
    with os.fdopen(ours, "rb", buffering=0) as source, os.fdopen(theirs, "wb", buffering=0) as sink:
        # in a thread of its own: a browser of another test may have left its loop running in this one
        with ThreadPoolExecutor(1) as alone:
            line = alone.submit(lambda: asyncio.run(_made(Line, clock, steps.append, source, sink))).result()
        hello = encode("hello", b"1795600000000 0a1b2c3d")
        sink.write(b"noise" + hello[:-4] + b"\n")
        assert not line.host_there()
        clock.now = 5000
        sink.write(hello)
        assert line.host_there() and not steps  # looked at after a while: the time in it is old
        for now in (5500, 5510):
            clock.now = now
            sink.write(hello + encode("ack", b"0000abcd"))
            line.pump(lambda topic, payload: heard.append((topic, payload)))
        assert steps == [1795600000000] and heard == [("ack", b"0000abcd")] * 2
        clock.now = 20_000
        assert not line.host_there()


async def _made(kind: Any, *parts: Any) -> Any:
    return kind(*parts)
