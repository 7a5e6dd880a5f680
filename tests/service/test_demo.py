"""The demo: history through the intake, boards in their own processes, a stalled refill that is seen and mended."""

import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import urllib.request
from datetime import date
from itertools import pairwise
from pathlib import Path

import pytest

from sootline import demo
from sootline.advice import oil_log
from sootline.commands import demo as command
from sootline.commissioning.record import waiting
from sootline.files import commissioning
from sootline.profile import parse
from sootline.service import Options, Service
from sootline.sim import scenarios
from sootline.store import Store
from sootline.wire import topics
from sootline.wire.pack import Pack
from sootline.wire.pack import parse as parse_pack
from tests.service.kit import eventually

DAY_MS = 86_400_000
NOW_MS = 1_795_600_000_000


def test_a_stall_is_on_the_page_within_five_seconds_of_the_limiter_and_leaves_with_the_reset(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The whole demo with a short history and an early stall; what is waited for is what a visitor waits for."""
    monkeypatch.setattr(scenarios, "STALL_AFTER_MS", 10_000)
    monkeypatch.setattr(scenarios, "REPAIRED_AFTER_STALL_MS", 30_000)
    services: list[Service] = []
    monkeypatch.setattr(command, "Service", lambda options: services.append(Service(options)) or services[0])
    stop = threading.Event()
    options = Options(tmp_path, broker_port=0, web_port=0)
    running = threading.Thread(target=command.show, args=(options, 1, stop), daemon=True)
    running.start()
    try:
        live = eventually(lambda: services and services[0].live)

        def stalled() -> object:
            present = [a for f in live.furnaces() for a in f.alarms if a.alarm == "refill-timeout"]
            return next((a for a in present if a.cleared_ms is None), None)

        alarm = eventually(stalled, 120)
        seen_ms = command.now_ms()
        with urllib.request.urlopen(services[0].web.url, timeout=10) as page:
            assert "Refill stalled" in page.read().decode()
        limiter_ms = eventually(lambda: _stopped_ms(services[0].store, seen_ms))
        assert seen_ms - limiter_ms < 5000
        assert abs(alarm.raised_ms - limiter_ms) < 1000
        eventually(lambda: not stalled(), 90)
    finally:
        stop.set()
        running.join(30)
    assert not running.is_alive()


def _stopped_ms(store: Store, seen_ms: int) -> int | None:
    """When the pump last stopped."""
    rows = store.read("engine-shed", seen_ms - 120_000, seen_ms + 60_000, ("pump",))
    pump = [(t_ms, on) for t_ms, on in zip(rows.t_ms.tolist(), rows.values["pump"], strict=True) if on == on]
    return max((t_ms for (_, before), (t_ms, on) in pairwise(pump) if before > on), default=None)


@pytest.mark.skipif(
    shutil.which("micropython") is None and not Path(sys.executable).with_name("micropython").exists(),
    reason="there is no micropython for this platform",
)
def test_it_runs_boards_under_micropython_ends_with_ctrl_c_and_starts_again_at_once(tmp_path: Path) -> None:
    for _ in range(2):
        process = subprocess.Popen(
            [sys.executable, "-m", "sootline", "demo", "--data", str(tmp_path), "--port", "0", "--days", "1"],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        assert process.stdout is not None
        text = ""
        while "Ctrl-C" not in text:
            line = process.stdout.readline()
            assert line, text
            text += line
        found = re.search(r"http://127\.0\.0\.1:\d+/", text)
        assert found
        with urllib.request.urlopen(found[0], timeout=10) as page:
            assert "engine-shed" in page.read().decode()
        boards = [int(pid) for pid in re.findall(r"micropython process (\d+)", text)]
        assert len(boards) == 2
        for pid in boards:
            assert b"micropython" in Path(f"/proc/{pid}/cmdline").read_bytes()
        process.send_signal(signal.SIGINT)
        assert process.wait(30) == 0
        process.stdout.close()
        assert not any(Path(f"/proc/{pid}").exists() for pid in boards)
    with Store.open(tmp_path, read_only=True) as store:
        assert store.furnaces() == ["carriage-shop", "engine-shed"]


def test_the_story_is_moved_by_whole_days_and_its_profiles_with_it(tmp_path: Path) -> None:
    told = scenarios.story("engine-shed")
    for days in (1, 3, 28):
        tale = demo.tales(NOW_MS, days)["engine-shed"]
        assert tale.offset_ms % DAY_MS == 0
        assert tale.start_ms < NOW_MS < tale.end_ms
        assert NOW_MS // DAY_MS - tale.start_ms // DAY_MS == min(days, 27)
        profile = parse(demo.profile_toml(tale))
        original = parse(told.profile_toml)
        assert profile.furnace.clean_on is not None and original.furnace.clean_on is not None
        assert (profile.furnace.clean_on - original.furnace.clean_on).days * DAY_MS == tale.offset_ms
        assert all(entry.at_ms <= NOW_MS for entry in profile.log)
    assert len(parse(demo.profile_toml(demo.tales(NOW_MS, 28)["engine-shed"])).log) > 8


def test_boards_of_the_past_speak_the_wire_format_and_keep_silent_without_network() -> None:
    tale = demo.tales(NOW_MS, 3)["carriage-shop"]
    (out_ms, back_ms), *_ = tale.outages
    rows, _ = tale.run(until_ms=back_ms + 600_000, interval_s=demo.INTERVAL_S)
    messages = list(demo.board_messages(tale, rows))
    received = [message.received_ms for message in messages]
    assert received == sorted(received)
    packs = [m for m in messages if m.topic == topics.build("carriage-shop", "measurements")]
    parsed = [parse_pack("carriage-shop", m.payload, m.received_ms / 1000) for m in packs]
    assert all(isinstance(pack, Pack) and not pack.refused for pack in parsed)
    assert [pack.seq for pack in parsed if isinstance(pack, Pack)] == list(range(len(parsed)))
    assert any(isinstance(pack, Pack) and pack.base_ms is None for pack in parsed)  # before the clock was set
    within = [m for m in messages if out_ms + demo.WILL_AFTER_MS < m.received_ms < back_ms - 1000]
    assert within == []
    late = [
        m
        for m, pack in zip(packs, parsed, strict=True)
        if isinstance(pack, Pack) and pack.base_ms and m.received_ms - pack.base_ms > 600_000
    ]
    assert len(late) > 50  # sent after the outage


def test_a_passing_folder_clears_what_a_killed_demo_left(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path))
    left = tmp_path / f"sootline-demo-{os.getuid()}"
    (left / "broker").mkdir(parents=True)
    (left / "sootline.db").write_text("left")
    with command._passing_folder() as folder:
        assert folder == left and [path.name for path in folder.iterdir()] in ([], ["lock"])
    assert not left.exists()


def test_the_workshops_books_are_kept_as_far_as_the_story_has_come(tmp_path: Path) -> None:
    """Every verdict has the commissioning it waits for; no batch of oil comes before its day."""
    stories = demo.tales(NOW_MS, 10)
    demo.write_books(tmp_path, stories, NOW_MS)
    demo.write_books(tmp_path, stories, NOW_MS)  # once is enough
    for furnace, tale in stories.items():
        steps = commissioning.load(tmp_path, furnace)
        assert steps is not None and waiting(steps, tale.spec.channels) == {}
        assert {entry.channel for entry in steps.entries} - {""} <= set(tale.spec.channels)
    batches = oil_log.load(oil_log.path_of(tmp_path))
    assert len(batches) == 2 and all(b.received < date.fromtimestamp(NOW_MS / 1000) for b in batches)
    moments = demo.predict_before_cleanings(tmp_path, demo.tales(NOW_MS, 28), NOW_MS)
    assert len(moments) == 1 and moments[0].at_ms < NOW_MS - 2 * DAY_MS


def test_a_moment_comes_between_the_messages_before_and_after_it() -> None:
    stories = demo.tales(NOW_MS, 1)
    heard: list[int] = []
    at_ms = NOW_MS - 6 * 3_600_000
    history = demo.History(stories, NOW_MS, [demo.Moment(at_ms, lambda: heard.append(last_ms))])
    last_ms = 0
    for batch in history:
        last_ms = max((message.received_ms for message in batch), default=last_ms)
    (before_ms,) = heard
    assert at_ms - demo.BATCH_MS <= before_ms < at_ms
