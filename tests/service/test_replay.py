"""Replay finds what the live service found, from recordings and from tables, and prints nothing else."""

import io
import json
import subprocess
import sys
import threading
import time
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet
import pytest

from sootline.cli import main
from sootline.commands import record
from sootline.files.recordings import line
from sootline.series import Rows
from sootline.wire.message import Message
from tests.service.kit import PROFILE, Peer, broker, eventually, payloads, running, stalled_refill
from tests.service.test_deliveries import END_MS, START_MS, packs, readings

FIELDS = [
    "furnace", "alarm", "channel", "priority", "state", "raised", "cleared", "found", "acknowledged", "shelved_until",
    "suppressed_by", "hazard", "first_step", "detail",
]  # fmt: skip
TOPIC = "sootline/engine-shed/measurements"


def replay(*arguments: object, code: int = 0) -> tuple[list[dict[str, Any]], str]:
    """(records printed, standard error) of `sootline replay ... --json`."""
    out, notes = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(notes):
        assert main(["replay", *map(str, arguments), "--json"]) == code, notes.getvalue()
    return [json.loads(text) for text in out.getvalue().splitlines()], notes.getvalue()


@pytest.fixture
def profile(tmp_path: Path) -> Path:
    path = tmp_path / "profile.toml"
    path.write_text(PROFILE)
    return path


def _record_of(rows: Rows, path: Path) -> Path:
    sent = zip(rows.t_ms.tolist(), payloads(rows), strict=True)
    path.write_bytes(b"".join(line(Message(t_ms + 80, TOPIC, payload)) for t_ms, payload in sent))
    return path


def test_a_recording_of_a_live_run_gives_what_live_raised(tmp_path: Path, profile: Path) -> None:
    """`sootline record` beside the service, and the service's own recording: both give the service's alarms."""
    stop = threading.Event()
    with (
        broker(tmp_path / "broker") as address,
        running(tmp_path / "data", broker=address, record=tmp_path / "own") as service,
        Peer(address.port) as peer,
    ):
        recorder = threading.Thread(target=record.record, args=(address, "sootline", "r", tmp_path / "beside", stop))
        recorder.start()
        eventually(lambda: _subscribed(peer, tmp_path / "beside"))
        for payload in payloads(stalled_refill(time.time_ns() // 1_000_000)):
            peer.publish(TOPIC, payload)
        peer.publish(TOPIC, b"no pack")
        eventually(lambda: service.store.alarms())
        eventually(lambda: sum(service.store.set_aside_counts("engine-shed").values()) == 1)
        time.sleep(0.5)
        live = [alarm.record() for alarm in service.store.alarms()]
        stop.set()
        recorder.join()
    assert [alarm["alarm"] for alarm in live] == ["refill-timeout"]
    for folder in ("own", "beside"):
        found, notes = replay(*sorted((tmp_path / folder).iterdir()), "--profile", profile)
        assert found == live, folder
        assert "1 messages set aside: not a SenML pack" in notes


def _subscribed(peer: Peer, folder: Path) -> bool:
    """Whether the recorder hears: it writes what is published to a topic of its own."""
    peer.publish("sootline/recorder/command", b"{}")
    return any(folder.glob("*.zst")) if folder.exists() else False


def test_a_line_is_the_alarm_record_of_the_contract(tmp_path: Path, profile: Path) -> None:
    [alarm], notes = replay(_record_of(stalled_refill(START_MS), tmp_path / "a.ndjson"), "--profile", profile)
    assert list(alarm) == FIELDS
    assert (alarm["furnace"], alarm["alarm"], alarm["channel"]) == ("engine-shed", "refill-timeout", None)
    assert alarm["raised"].endswith("Z") and alarm["found"] >= alarm["raised"]
    assert notes == ""


def test_the_same_recording_gives_the_same_text_every_time(tmp_path: Path) -> None:
    path = tmp_path / "a.ndjson"
    path.write_bytes(
        b"".join(line(Message(at_ms + 90, "sootline/carriage-shop/measurements", p)) for at_ms, p in packs())
    )
    first, _ = replay(path)
    assert len(first) > 2
    command = [sys.executable, "-m", "sootline", "replay", str(path), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert [json.loads(text) for text in done.stdout.splitlines()] == first
    assert done.stderr == ""
    keys = [(alarm["raised"], alarm["alarm"], alarm["channel"] or "") for alarm in first]
    assert keys == sorted(keys)


def test_tables_give_the_same_alarms_in_every_form(tmp_path: Path) -> None:
    rows = readings()
    columns: dict[str, Any] = {"time": pa.array(rows.t_ms, pa.timestamp("ms", "UTC"))}
    for name, column in rows.values.items():
        columns[name] = pa.array(column, mask=np.isnan(column))
    table = pa.table(columns)
    pa.parquet.write_table(table, tmp_path / "a.parquet", row_group_size=100)
    pa.csv.write_csv(table, tmp_path / "a.csv")
    found, notes = replay(tmp_path / "a.parquet", "--furnace", "carriage-shop")
    assert len(found) > 2 and notes == ""
    assert {alarm["furnace"] for alarm in found} == {"carriage-shop"}
    assert all(START_MS / 1000 <= _unix_s(alarm["raised"]) <= END_MS / 1000 for alarm in found)
    assert replay(tmp_path / "a.csv", "--furnace", "carriage-shop")[0] == found


def _unix_s(text: str) -> float:
    return float(np.datetime64(text.removesuffix("Z"), "ms").astype(np.int64)) / 1000


def test_one_furnace_of_several_may_be_chosen(tmp_path: Path, profile: Path) -> None:
    path = _record_of(stalled_refill(START_MS), tmp_path / "a.ndjson")
    other = path.read_bytes().replace(b"engine-shed", b"carriage-shop")
    path.write_bytes(path.read_bytes() + other)
    found, notes = replay(path, "--profile", profile)
    assert [alarm["furnace"] for alarm in found] == ["engine-shed"]
    assert "'carriage-shop' is watched with defaults" in notes
    found, _ = replay(path, "--profile", profile, "--furnace", "carriage-shop")
    assert [alarm["furnace"] for alarm in found] == ["carriage-shop"]
    _, notes = replay(path, "--furnace", "weigh-house", code=2)
    assert "they hold carriage-shop, engine-shed" in notes


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["{folder}/none.ndjson"], "there is no such file"),
        (["{folder}/a.txt"], "neither a recording"),
        (["{folder}/a.csv"], "no 'time' column"),
        (["{folder}/a.parquet"], "cannot be read as a table"),
        (["{folder}/a.ndjson.zst"], "cannot be read"),
        (["{folder}/a.ndjson", "{folder}/a.csv"], "not both"),
        (["{folder}/a.ndjson", "--profile", "{folder}/none.toml"], "No such file"),
        (["{folder}/a.ndjson", "--profile", "{folder}/bad.toml"], "nearest known one is 'refill.limit_s'"),
        (["{folder}/a.ndjson", "--furnace", "Engine Shed"], "no furnace id"),
    ],
)
def test_what_cannot_be_replayed_is_one_clear_line(tmp_path: Path, arguments: list[str], words: str) -> None:
    for name in ("a.txt", "a.ndjson", "a.parquet", "a.ndjson.zst"):
        (tmp_path / name).write_text("")
    (tmp_path / "a.parquet").write_text("PAR1")
    (tmp_path / "a.ndjson.zst").write_text("plain")
    (tmp_path / "a.csv").write_text("tank\n60\n")
    (tmp_path / "bad.toml").write_text('[furnace]\nid = "a"\n[refill]\nlimit_min = 20\n')
    found, notes = replay(*(text.format(folder=tmp_path) for text in arguments), code=2)
    assert found == []
    assert notes.count("\n") == 1 and notes.startswith("sootline: ") and words in notes


def test_no_look_ahead_what_comes_later_changes_nothing_found_before(tmp_path: Path) -> None:
    """A replay that ends earlier has found the same, by then."""
    whole = tmp_path / "whole.ndjson"
    lines = [line(Message(at_ms + 90, "sootline/carriage-shop/measurements", p)) for at_ms, p in packs()]
    whole.write_bytes(b"".join(lines))
    half = tmp_path / "half.ndjson"
    half.write_bytes(b"".join(lines[: len(lines) * 3 // 4]))
    last_ms = packs()[len(lines) * 3 // 4 - 1][0]
    by_then = {(a["alarm"], a["channel"], a["raised"], a["found"]) for a in replay(half)[0]}
    of_whole = {
        (a["alarm"], a["channel"], a["raised"], a["found"])
        for a in replay(whole)[0]
        if _unix_s(a["found"]) * 1000 <= last_ms + 90
    }
    assert of_whole == by_then and by_then


def test_each_furnace_may_have_its_profile(tmp_path: Path, profile: Path) -> None:
    path = _record_of(stalled_refill(START_MS), tmp_path / "a.ndjson")
    path.write_bytes(path.read_bytes() + path.read_bytes().replace(b"engine-shed", b"carriage-shop"))
    other = tmp_path / "other.toml"
    other.write_text(PROFILE.replace("engine-shed", "carriage-shop"))
    found, notes = replay(path, "--profile", profile, "--profile", other)
    assert [alarm["furnace"] for alarm in found] == ["carriage-shop", "engine-shed"]
    assert notes == ""
