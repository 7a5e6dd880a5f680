"""A fleet's past analysed again: the same on any executor, gone on with after a stop, one failure alone."""

import io
import json
import os
import signal
import subprocess
import sys
import time
from argparse import Namespace
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from sootline.cli import main
from sootline.commands import _fleet
from sootline.ingest.intake import Intake
from sootline.store import Store
from sootline.wire import encode
from sootline.wire.message import Message
from tests.service.ending import work
from tests.service.kit import PROFILE, stalled_refill

START_MS = 1_767_225_600_000
HOUR_MS = 3_600_000
STALL = "refill-timeout"
NAMES = ("carriage-shop", "engine-shed", "paint-shop")


def _deliver(store: Store, furnace: str, end_ms: int, boot: str) -> None:
    rows = stalled_refill(end_ms)
    packs = encode.packs(rows, furnace, boot, int(rows.t_ms[0]) - 60_000)
    sent = zip(rows.t_ms.tolist(), packs, strict=True)
    Intake(store, "sootline").take(
        [Message(t_ms + 80, f"sootline/{furnace}/measurements", one.payload) for t_ms, one in sent]
    )


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """Three furnaces, each with a refill that stalls on a day that is sealed."""
    folder = tmp_path / "data"
    (folder / "profiles").mkdir(parents=True)
    for name in NAMES:
        (folder / "profiles" / f"{name}.toml").write_text(PROFILE.replace("engine-shed", name))
    with Store.open(folder) as store:
        for hours, name in enumerate(NAMES, 1):
            _deliver(store, name, START_MS + hours * HOUR_MS, "b1")
        store.compact(START_MS + 96 * HOUR_MS)
    return folder


def replay_all(data: Path, *arguments: object, code: int = 0) -> tuple[list[dict[str, Any]], str]:
    out, notes = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(notes):
        assert main(["replay", "--all", "--json", "--data", str(data), *map(str, arguments)]) == code, notes.getvalue()
    return [json.loads(text) for text in out.getvalue().splitlines()], notes.getvalue()


def stalls(alarms: list[dict[str, Any]]) -> dict[str, set[str]]:
    """Furnace -> when its refill stalled."""
    return {name: {a["raised"] for a in alarms if (a["furnace"], a["alarm"]) == (name, STALL)} for name in NAMES}


def whatif_was(data: Path) -> list[tuple[str, str]]:
    """(furnace, alarm) as the one-process path finds them, through another command."""
    out = io.StringIO()
    with redirect_stdout(out):
        main(["whatif", "--set", "refill.limit_s=600", "--json", "--data", str(data)])
    changes = [json.loads(text)["was"] for text in out.getvalue().splitlines()]
    return sorted((was["furnace"], was["alarm"]) for was in changes if was)


@pytest.fixture(scope="module")
def cluster() -> Iterator[str]:
    from distributed import LocalCluster

    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as running:
        yield running.scheduler_address


def test_processes_and_a_cluster_find_the_same(data: Path, cluster: str) -> None:
    by_processes, _ = replay_all(data, "--workers", 2)
    by_cluster, _ = replay_all(data, "--cluster", cluster, "--again")
    assert by_processes == by_cluster
    found = sorted((alarm["furnace"], alarm["alarm"]) for alarm in by_processes if alarm["alarm"] == STALL)
    assert found == [(name, STALL) for name in NAMES] == whatif_was(data)
    assert [alarm["raised"] for alarm in by_processes] == sorted(alarm["raised"] for alarm in by_processes)


def test_what_is_finished_is_not_done_again_until_something_changes(data: Path) -> None:
    replay_all(data, "--workers", 1)
    kept = data / "replay" / "engine-shed.json"
    whole = kept.read_bytes()
    kept.write_bytes(whole.replace(STALL.encode(), b"overfiring"))
    alarms, _ = replay_all(data, "--workers", 1)
    assert {a["furnace"] for a in alarms if a["alarm"] == "overfiring"} == {"engine-shed"}, "it was done again"

    (data / "replay" / "carriage-shop.json").write_bytes(whole[:100])  # torn: done again
    with Store.open(data) as store:
        _deliver(store, "engine-shed", START_MS + 60 * HOUR_MS, "b2")
    alarms, _ = replay_all(data, "--workers", 1)
    assert all(len(times) == 1 for times in stalls(alarms).values())

    profile = data / "profiles" / "engine-shed.toml"
    profile.write_text(profile.read_text().replace("limit_s = 20.0", "limit_s = 60.0"))
    alarms, _ = replay_all(data, "--workers", 1)
    assert {name: len(times) for name, times in stalls(alarms).items()} == dict(zip(NAMES, (1, 0, 1), strict=True))


def test_one_furnace_that_fails_is_named_and_the_others_are_done(data: Path) -> None:
    (damaged, *_) = sorted(data.rglob("paint-shop/**/*.parquet"))
    damaged.write_bytes(b"not what was written")
    alarms, notes = replay_all(data, "--workers", 2, code=1)
    assert {alarm["furnace"] for alarm in alarms} == {"carriage-shop", "engine-shed"}
    assert "paint-shop could not be analysed: " in notes and damaged.name in notes
    assert not (data / "replay" / "paint-shop.json").exists()


def test_a_worker_that_is_killed_takes_no_other_furnace_along(tmp_path: Path) -> None:
    tasks = [_fleet.Task(name, "") for name in "abcd"]
    options = Namespace(cluster=None, workers=2)
    outcomes = {
        task.furnace: outcome for task, outcome in _fleet.outcomes(tasks, partial(work, str(tmp_path)), options)
    }
    assert {name: outcomes[name] for name in "acd"} == {"a": b"a", "c": b"c", "d": b"d"}
    assert "ended from outside" in _fleet.why(outcomes["b"])


def test_a_run_that_is_broken_off_leaves_what_is_finished(data: Path) -> None:
    command = [sys.executable, "-m", "sootline", "replay", "--all", "--workers", "1", "--data", str(data)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, start_new_session=True) as running:
        until = time.monotonic() + 60
        while not list(data.glob("replay/*.json")) and running.poll() is None and time.monotonic() < until:
            time.sleep(0.005)
        os.killpg(running.pid, signal.SIGKILL)
    finished = {path.name for path in data.glob("replay/*.json")}
    assert finished
    alarms, _ = replay_all(data, "--workers", 1)
    assert all(len(times) == 1 for times in stalls(alarms).values())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["x.ndjson", "--all"], "--all takes every furnace"),
        (["--all", "--data", "typo"], "there is no store in typo"),
        (["--all", "--workers", "0"], "give a number of processes"),
        (["--all", "--data", "{data}", "--cluster", "tcp://127.0.0.1:9", "--again"], "does not answer"),
        ([], "name the recordings or tables"),
    ],
)
def test_what_cannot_work_is_said_in_a_line(data: Path, arguments: list[str], said: str) -> None:
    command = [sys.executable, "-m", "sootline", "replay", *(text.format(data=data) for text in arguments)]
    ended = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    assert ended.returncode == 2 and said in ended.stderr and "Traceback" not in ended.stderr
