"""Store and forward: frames, the flash store on a real littlefs, and the outbox above them."""

import json
import random
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sootboard import channels, frame, kept, outbox, senml, store

from sootline.bench import FIRMWARE
from sootline.wire.pack import Pack, parse

from .micropython import SCRIPTS, figures, run
from .senml_reader import resolve

sys.path.append(str(SCRIPTS))
import rows as sample_rows

# ---------------------------------------------------------------- on littlefs, in MicroPython


def test_a_week_fits_one_mebibyte_and_flash_lasts() -> None:
    got = figures(run("store_wear.py"))
    assert got["rows_a_day"] > 12_000  # most of the day at 5 s
    assert got["days_kept_on_1_MiB"] >= 7
    assert got["erases_per_row"] <= 0.1
    assert got["failures"] == 0
    assert got["unbatched_erases_per_row"] > 0.9  # so the count does count


def test_power_cuts_lose_nothing_that_was_flushed() -> None:
    got = figures(run("store_cuts.py"))
    assert got["cuts"] > 1500
    assert got["lost"] == 0
    assert got["wrong_order"] == 0
    assert got["kept"] > 15


def test_full_flash_keeps_the_newest() -> None:
    got = figures(run("store_full.py"))
    assert got["last"] == got["written"] - 1
    assert got["gaps"] == 0
    assert 0 < got["first"] < got["last"] - 150
    assert got["dropped_segments"] > 20


def test_same_bytes_on_both_interpreters() -> None:
    under_cpython = subprocess.run(
        [sys.executable, str(SCRIPTS / "pack_bytes.py")],
        env={"PYTHONPATH": f"{FIRMWARE}:{FIRMWARE / 'bench'}", "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert run("pack_bytes.py") == under_cpython.stdout


# ---------------------------------------------------------------- frames and packs


def _rows(count: int, start_ms: int = 5_000_000) -> list[Any]:
    week = sample_rows.Week(start_ms)
    return [week.next() for _ in range(count)]


@st.composite
def _row_lists(draw: st.DrawFn) -> list[Any]:
    at_ms = draw(st.integers(0, 2**40))
    utc = draw(st.sampled_from([0, 1_795_600_000_000]))
    sums = [draw(st.integers(0, 2**36)) for _ in channels.SUMMED]
    out = []
    for _ in range(draw(st.integers(1, 24))):
        states = draw(st.integers(0, 2 ** len(channels.SWITCHED) - 1))
        full = draw(st.booleans())
        numbers = st.dictionaries(st.integers(0, len(channels.NUMERIC) - 1), st.integers(-20000, 200000), max_size=8)
        values = draw(numbers) if full else {}
        faults = draw(st.dictionaries(st.integers(0, 16), st.integers(1, 5), max_size=3)) if full else {}
        out.append(frame.Row(at_ms, utc + at_ms if utc else 0, full, states, sums, values, faults))
        step = draw(st.integers(1, 100_000))
        sums = frame.advance(sums, states, step)
        at_ms += step
    return out


@given(_row_lists(), st.integers(0, 2**32 - 1), st.integers(0, 2**31))
def test_frame_gives_back_its_rows(given_rows: list[Any], boot: int, seq: int) -> None:
    data = sample_rows.encode(boot, seq, 0xFFFF, given_rows)
    assert frame.intact(data) and frame.split(data + data) == [data, data]
    back = frame.Frame(data)
    assert (back.boot, back.seq, back.uptime_ms, back.utc_ms) == (
        boot,
        seq,
        given_rows[0].uptime_ms,
        given_rows[0].utc_ms,
    )
    for old, new in zip(given_rows, back.rows(), strict=True):
        assert (new.uptime_ms, new.full, new.states, list(new.sums), new.values, new.faults) == (
            old.uptime_ms,
            old.full,
            old.states,
            list(old.sums),
            old.values,
            old.faults,
        )


@given(st.data())
def test_a_flipped_bit_is_always_noticed(data: st.DataObject) -> None:
    good = sample_rows.encode(1, 2, sample_rows.MASK, _rows(5))
    bit = data.draw(st.integers(0, len(good) * 8 - 1))
    bad = bytearray(good)
    bad[bit // 8] ^= 1 << bit % 8
    assert not frame.intact(bytes(bad))


def test_pack_is_what_the_contract_says() -> None:
    given_rows = _rows(24)
    given_rows[2].faults = {2: channels.FAULTS.index("open")}
    given_rows[2].full = True
    payload = senml.pack("engine-shed", sample_rows.encode(0xAB, 17, sample_rows.MASK, given_rows))
    points = resolve(json.loads(payload))
    facts = {p.name: p.value for p in points}
    assert facts["boot"] == "000000ab" and facts["seq"] == 17 and facts["uptime"] == given_rows[0].uptime_ms / 1000
    times = sorted({p.t_s for p in points})
    assert times == [pytest.approx(r.utc_ms / 1000, abs=1e-6) for r in given_rows]
    assert [p.value for p in points if p.name == "stack/fault"] == ["open"]
    for p in points:
        if p.name == "pump":
            assert isinstance(p.value, bool) and p.sum is not None
        if p.name == "float":
            assert isinstance(p.value, bool) and p.sum is None
    parsed = parse("engine-shed", payload)
    assert isinstance(parsed, Pack) and parsed.refused == ()
    assert parsed.seq == 17 and parsed.base_ms == given_rows[0].utc_ms


def test_times_are_relative_until_the_clock_is_set() -> None:
    given_rows = _rows(3)
    for row in given_rows:
        row.utc_ms = 0
    pack = json.loads(senml.pack("a", sample_rows.encode(1, 0, 1, given_rows)))
    assert "bt" not in pack[0]
    assert max(p.t_s for p in resolve(pack)) == pytest.approx(
        (given_rows[2].uptime_ms - given_rows[0].uptime_ms) / 1000
    )


# ---------------------------------------------------------------- store and outbox


def test_one_bad_bit_on_flash_costs_one_frame_at_most(tmp_path: Path) -> None:
    rng = random.Random(4)
    frames = [sample_rows.encode(1, seq, sample_rows.MASK, _rows(24, 1000 + 100_000 * seq)) for seq in range(12)]
    for trial in range(150):
        place = tmp_path / str(trial)
        place.mkdir()
        kept = store.Store(str(place))
        for data in frames:
            assert kept.append([data])
        files = sorted(place.iterdir())
        victim = rng.choice(files)
        image = bytearray(victim.read_bytes())
        bit = rng.randrange(len(image) * 8)
        image[bit // 8] ^= 1 << bit % 8
        victim.write_bytes(image)
        found = []
        reader = store.Store(str(place))
        while (data := reader.first()) is not None:
            found.append(data)
            reader.pop()
        assert len(found) == len(frames) - 1 and reader.bad_frames
        assert all(data in frames for data in found)
        assert not list(place.iterdir())


def test_recovery_reads_names_only(tmp_path: Path) -> None:
    for number in range(500):
        (tmp_path / f"{number:08d}.seg").write_bytes(b"")
    kept = store.Store(str(tmp_path))
    assert kept.first() is None
    assert not list(tmp_path.iterdir())


def test_refused_writes_leave_rows_in_memory(tmp_path: Path) -> None:
    place = tmp_path / "data"
    place.mkdir()
    kept = store.Store(str(place))
    place.rmdir()
    out = outbox.Outbox(1, sample_rows.MASK, kept)
    with pytest.raises(OSError):
        (place / "x").write_bytes(b"")
    for row in _rows(100):
        out.put(row)
    assert kept.failures
    assert frame.Frame(out.next()).seq == 0


class _Sent:
    """What a broker would have got."""

    def __init__(self, out: Any) -> None:
        self.out = out
        self.frames: list[bytes] = []

    def drain(self, most: int = 10**6) -> None:
        while most and (data := self.out.next()) is not None:
            self.frames.append(data)
            self.out.acked(data)
            most -= 1


def _row_times(frames: list[bytes]) -> list[int]:
    return [row.uptime_ms for data in frames for row in frame.Frame(data).rows()]


@pytest.mark.parametrize("on_flash", [False, True])
def test_outage_backlog_follows_live_rows_in_batches(tmp_path: Path, on_flash: bool) -> None:
    out = outbox.Outbox(1, sample_rows.MASK, store.Store(str(tmp_path)) if on_flash else None)
    given_rows = _rows(500)
    for row in given_rows[:400]:
        out.put(row)
    assert out.buffered() == pytest.approx(400, rel=0 if not on_flash else 0.4)
    out.online()
    out.put(given_rows[400])
    sent = _Sent(out)
    sent.drain(1)
    assert _row_times(sent.frames) == [given_rows[400].uptime_ms]  # live first
    for row in given_rows[401:]:
        out.put(row)
        sent.drain(1)
    sent.drain()
    assert sorted(_row_times(sent.frames)) == [r.uptime_ms for r in given_rows]
    seqs = [frame.Frame(data).seq for data in sent.frames]
    assert len(set(seqs)) == len(seqs)
    backlog = [frame.Frame(data).count for data in sent.frames if frame.Frame(data).count > 1]
    assert len(backlog) >= 16 and all(20 <= n <= 50 for n in backlog[:16])
    assert out.buffered() == 0


@pytest.mark.parametrize("on_flash", [False, True])
def test_unacknowledged_frames_are_repeated_unchanged(tmp_path: Path, on_flash: bool) -> None:
    out = outbox.Outbox(1, sample_rows.MASK, store.Store(str(tmp_path)) if on_flash else None)
    given_rows = iter(_rows(400))
    seen: dict[int, bytes] = {}
    rng = random.Random(1)
    delivered: set[int] = set()
    for _ in range(60):
        out.online()
        for _ in range(rng.randrange(6)):
            out.put(next(given_rows))
            data = out.next()
            seq = frame.Frame(data).seq
            assert seen.setdefault(seq, data) == data
            if rng.random() < 0.6:
                out.acked(data)
                delivered.add(seq)
        out.offline()
        for _ in range(rng.randrange(3)):
            out.put(next(given_rows))
    out.online()
    sent = _Sent(out)
    sent.drain()
    for data in sent.frames:
        seq = frame.Frame(data).seq
        assert seen.setdefault(seq, data) == data
        delivered.add(seq)
    assert delivered == set(range(out.seq))


def test_memory_that_outlives_a_reset_gives_rows_to_the_next_boot() -> None:
    class Rtc:
        content = b""

        def memory(self, data: bytes | None = None) -> bytes:
            if data is not None:
                assert len(data) <= 2048
                self.content = data
            return self.content

    rtc = Rtc()
    memory = kept.Kept(rtc)
    out = outbox.Outbox(1, sample_rows.MASK, None, memory.write)
    given_rows = _rows(200)
    for row in given_rows[:50]:
        out.put(row)
    again = outbox.Outbox(2, sample_rows.MASK)
    again.restore(memory.read()[4:])
    sent = _Sent(again)
    again.online()
    sent.drain()
    assert _row_times(sent.frames) == [r.uptime_ms for r in given_rows[:50]]
    assert {frame.Frame(data).boot for data in sent.frames} == {1}
    # Garbage, truncated and old content never gives wrong rows.
    for content in (b"", b"\xff" * 2048, bytes(2048), rtc.content[:-3], b"\x00" + rtc.content):
        rtc.content = content
        third = outbox.Outbox(3, sample_rows.MASK)
        third.restore(memory.read()[4:])
        found = _Sent(third)
        third.online()
        found.drain()
        assert all(data in sent.frames for data in found.frames)


def test_memory_only_backlog_is_bounded_and_counts_what_it_drops() -> None:
    out = outbox.Outbox(1, sample_rows.MASK, limit_bytes=3000)
    given_rows = _rows(1000)
    for row in given_rows:
        out.put(row)
    out.online()
    sent = _Sent(out)
    sent.drain()
    times = _row_times(sent.frames)
    assert out.dropped_rows == 1000 - len(times) > 0
    assert times == [r.uptime_ms for r in given_rows[-len(times) :]]
