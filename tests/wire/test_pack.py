"""Packs: what is taken, what is refused, and that encoding and parsing are each other's inverse."""

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sootline.channels import CHANNELS, FAULTS
from sootline.series import Rows, SensorFault, merge
from sootline.wire import encode
from sootline.wire.pack import MAX_BYTES, Pack, Rejected, parse

NOW_S = 1_767_603_600.0  # 2026-01-05T09:00:00Z
HEAD: list[dict[str, Any]] = [
    {"bn": "engine-shed/", "bt": NOW_S, "n": "boot", "vs": "b1"},
    {"n": "seq", "v": 7},
    {"n": "uptime", "u": "s", "v": 120},
]


def _parse(*records: dict[str, Any], head: list[dict[str, Any]] = HEAD) -> Pack | Rejected:
    return parse("engine-shed", json.dumps([*head, *records]).encode(), NOW_S + 1)


def _pack(*records: dict[str, Any]) -> Pack:
    pack = _parse(*records)
    assert isinstance(pack, Pack)
    return pack


def test_a_pack_as_the_contract_writes_it() -> None:
    pack = _pack(
        {"n": "tank", "u": "Cel", "v": 61.5},
        {"n": "pump", "vb": True, "s": 812.4},
        {"n": "pump", "t": 2.5, "vb": False, "s": 814.9},
        {"n": "stack/fault", "vs": "open"},
    )
    assert (pack.furnace, pack.boot, pack.seq, pack.uptime_ms) == ("engine-shed", "b1", 7, 120_000)
    assert pack.base_ms == 1_767_603_600_000
    assert pack.rows.t_ms.tolist() == [0, 2500]
    assert pack.rows.values["pump"].tolist() == [1.0, 0.0]
    assert pack.rows.on_s["pump"].tolist() == [812.4, 814.9]
    assert pack.rows.values["tank"][0] == 61.5 and np.isnan(pack.rows.values["tank"][1])
    assert pack.rows.faults == (SensorFault(0, "stack", "open"),)
    assert pack.at(1000).t_ms.tolist() == [1000, 3500]


def test_times_below_2_to_the_28_are_relative() -> None:
    """RFC 8428 section 4.5.3."""
    head = [{"bn": "engine-shed/", "n": "boot", "vs": "b1"}, *HEAD[1:]]
    pack = _parse({"n": "tank", "u": "Cel", "v": 20, "t": -5}, {"n": "tank", "u": "Cel", "v": 21}, head=head)
    assert isinstance(pack, Pack)
    assert pack.base_ms is None
    assert pack.rows.t_ms.tolist() == [-5000, 0]


def test_what_a_record_must_not_say_is_refused_and_the_rest_is_kept() -> None:
    pack = _pack(
        {"n": "tank", "u": "Cel", "v": 61},
        {"n": "colour", "v": 1},
        {"n": "nozzle", "u": "Cel", "v": 9999},
        {"n": "stack", "u": "K", "v": 500},
        {"n": "pump", "v": 1},
        {"n": "room", "vs": "warm"},
        {"n": "tank/fault", "vs": "tired"},
    )
    assert sorted(pack.refused) == [
        "'nozzle' outside -60 to 400 Cel",
        "'pump' is not on/off",
        "'room' is not a number",
        "'stack' is not in 'Cel'",
        "unknown channel 'colour'",
        "unknown channel 'tank/fault'",
    ]
    assert list(pack.rows.values) == ["tank"]
    assert pack.rows.faults == (SensorFault(0, "nozzle", "range"),)


def _head(**changes: Any) -> list[dict[str, Any]]:
    """The head of a pack with records changed by name, or left out for None."""
    return [{**record, **changes.get(record["n"], {})} for record in HEAD if changes.get(record["n"], {}) is not None]


@pytest.mark.parametrize(
    ("head", "record", "reason"),
    [
        (_head(boot={"vs": ""}), {}, "no boot id"),
        (_head(boot={"vs": "x" * 65}), {}, "no boot id"),
        (_head(seq=None), {}, "no sequence number"),
        (_head(seq={"v": 1.5}), {}, "no sequence number"),
        (_head(seq={"v": -1}), {}, "no sequence number"),
        (_head(seq={"v": 1e300}), {}, "no sequence number"),
        (_head(uptime=None), {}, "no uptime"),
        (_head(uptime={"v": -1}), {}, "no uptime"),
        (_head(uptime={"v": 1e300}), {}, "no uptime"),
        (_head(boot={"bn": "carriage-shop/"}), {}, "another furnace"),
        (_head(boot={"bt": NOW_S + 3600}), {}, "ahead of the receipt"),
        (_head(boot={"bt": 1e300}), {}, "ahead of the receipt"),
        (_head(boot={"bt": 946_684_800}), {}, "years behind"),
        (_head(), {"t": 3600}, "ahead of the receipt"),
        (_head(), {"t": -1e300}, "mixes absolute and relative"),
        (_head(), {"t": -NOW_S + 5}, "mixes absolute and relative"),
        (_head(), {"t": -5e8}, "more than a year apart"),
        (_head(boot={"bt": 0}), {"t": -1e12}, "more than a year apart"),
        (_head(boot={"bt": 1e308}), {"t": 1e308}, "more than a year apart"),
    ],
)
def test_a_pack_that_cannot_be_right_is_rejected_whole(
    head: list[dict[str, Any]], record: dict[str, Any], reason: str
) -> None:
    rejected = _parse({"n": "tank", "u": "Cel", "v": 60, **record}, head=head)
    assert isinstance(rejected, Rejected)
    assert reason in rejected.reason


def test_a_pack_larger_than_any_board_sends_is_not_even_decoded() -> None:
    rejected = parse("engine-shed", b"[" + b" " * MAX_BYTES)
    assert isinstance(rejected, Rejected) and "larger" in rejected.reason


@given(st.binary(max_size=400) | st.text(max_size=200).map(str.encode))
def test_no_bytes_whatever_raise(payload: bytes) -> None:
    assert isinstance(parse("engine-shed", payload, NOW_S), Rejected)


_numbers = st.floats(allow_nan=False, allow_infinity=False) | st.integers(-(2**70), 2**70)
_fields = st.fixed_dictionaries(
    {},
    optional={
        "n": st.sampled_from(["boot", "seq", "uptime", "tank", "pump", "stack/fault", "x", ""]),
        "bn": st.sampled_from(["engine-shed/", "carriage-shop/", ""]),
        "t": _numbers,
        "bt": _numbers,
        "v": _numbers,
        "bv": _numbers,
        "s": _numbers,
        "bs": _numbers,
        "vb": st.booleans(),
        "vs": st.sampled_from(["b1", "open", ""]),
        "u": st.sampled_from(["Cel", "s", "/"]),
    },
)


@settings(max_examples=200)
@given(st.lists(_fields, max_size=6), st.booleans())
def test_absurd_numbers_never_raise_and_never_become_readings(records: list[dict[str, Any]], headed: bool) -> None:
    payload = json.dumps([*HEAD, *records] if headed else records).encode()
    pack = parse("engine-shed", payload, NOW_S)
    if isinstance(pack, Pack):
        for name, column in pack.rows.values.items():
            kept = column[~np.isnan(column)]
            assert ((kept >= CHANNELS[name].low) & (kept <= CHANNELS[name].high)).all()
        assert all(np.isfinite(column[~np.isnan(column)]).all() for column in pack.rows.on_s.values())


@st.composite
def _rows(draw: st.DrawFn) -> Rows:
    times = draw(st.lists(st.integers(0, 10**8), min_size=1, max_size=12, unique=True).map(sorted))
    t_ms = np.array(times, np.int64) + round(NOW_S * 1000)
    n = len(t_ms)
    names = draw(st.lists(st.sampled_from(sorted(CHANNELS)), min_size=1, max_size=5, unique=True))
    values, on_s = {}, {}
    for name in names:
        channel = CHANNELS[name]
        of = st.sampled_from([0.0, 1.0]) if channel.kind == "state" else st.floats(channel.low, channel.high)
        first = draw(of)
        values[name] = np.array([first, *draw(st.lists(of | st.just(np.nan), min_size=n - 1, max_size=n - 1))])
        if channel.kind == "state" and draw(st.booleans()):
            on_s[name] = np.array(draw(st.lists(st.floats(0, 1e6), min_size=n, max_size=n)))
    present = ~np.all([np.isnan(column) for column in (*values.values(), *on_s.values())], axis=0)
    kept = {k: v[present] for k, v in values.items()}
    faults = draw(st.sets(st.tuples(st.sampled_from(times), st.sampled_from(names), st.sampled_from(FAULTS))))
    return Rows(
        t_ms[present],
        kept,
        {k: v[present] for k, v in on_s.items()},
        tuple(sorted(SensorFault(t + round(NOW_S * 1000), *rest) for t, *rest in faults)),
    )


def _same(a: Rows, b: Rows) -> None:
    assert a.t_ms.tolist() == b.t_ms.tolist()
    assert a.faults == b.faults
    for mine, other in ((a.values, b.values), (a.on_s, b.on_s)):
        blank = np.full(len(a), np.nan)
        for name in {*mine, *other}:
            np.testing.assert_array_equal(mine.get(name, blank), other.get(name, blank))


@settings(max_examples=150)
@given(_rows(), st.integers(1, 5), st.booleans())
def test_parsing_undoes_encoding(rows: Rows, samples: int, clock: bool) -> None:
    boot_ms = round(NOW_S * 1000) - 4321
    encoded = list(encode.packs(rows, "engine-shed", "b1", boot_ms, samples=samples, first_seq=3, clock=clock))
    parts = []
    for i, one in enumerate(encoded):
        pack = parse("engine-shed", one.payload, one.last_ms / 1000)
        assert isinstance(pack, Pack) and not pack.refused
        assert pack.seq == one.seq == 3 + i
        assert (pack.base_ms is not None) == clock
        parts.append(pack.at(boot_ms + pack.uptime_ms))
    _same(merge(parts), rows)
