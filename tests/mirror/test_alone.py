"""From a server alone: the analysis again, and the pages on a store that was filled from it."""

import io
import json
import urllib.request
from contextlib import redirect_stdout

import pytest

from sootline import cli
from sootline.alarms import iso
from sootline.ingest.intake import Intake
from sootline.mirror import Mirror
from sootline.store import Store
from sootline.wire.message import Message
from tests.mirror.test_mirror import NOW_MS, Clock, settled
from tests.service.kit import PROFILE, eventually, payloads, running, stalled_refill

STALL = "refill-timeout"


@pytest.fixture
def mirrored(tmp_path, engine):
    """A data folder with a stalled refill in it, and the server that has its readings."""
    data = tmp_path / "own"
    (data / "profiles").mkdir(parents=True)
    (data / "profiles" / "engine-shed.toml").write_text(PROFILE)
    rows = stalled_refill(NOW_MS - 3_600_000)
    with Store.open(data) as store:
        sent = zip(rows.t_ms.tolist(), payloads(rows), strict=True)
        Intake(store, "sootline").take([Message(t + 80, "sootline/engine-shed/measurements", one) for t, one in sent])
        Clock().run(Mirror(store, engine.line_server()))
    settled(engine)
    return data, ["--influxql"] if engine.kind == "influxdb" else []


def printed(*arguments):
    out = io.StringIO()
    with redirect_stdout(out):
        assert cli.main([str(argument) for argument in arguments]) == 0
    return out.getvalue()


def test_the_analysis_finds_on_the_server_what_it_finds_in_the_store(mirrored, engine, tmp_path):
    data, dialect = mirrored
    (tmp_path / "else" / "profiles").mkdir(parents=True)
    (tmp_path / "else" / "profiles" / "engine-shed.toml").write_text(PROFILE)
    server = ["--server", engine.url, *dialect, "--data", tmp_path / "else"]
    ours = printed("replay", "--all", "--workers", "1", "--json", "--data", data)
    theirs = printed("replay", "--all", "--workers", "1", "--json", *server)
    assert theirs == ours and STALL in ours
    assert printed("explain", "engine-shed", STALL, *server) == printed("explain", "engine-shed", STALL, "--data", data)


def test_the_pages_run_on_a_store_filled_from_the_server(mirrored, engine, tmp_path):
    data, dialect = mirrored
    printed("store", "fetch", engine.url, *dialect, "--data", tmp_path / "new")
    found = printed("replay", "--all", "--workers", "1", "--json", "--data", data)
    raised = {alarm["raised"] for alarm in map(json.loads, found.splitlines()) if alarm["alarm"] == STALL}
    with running(tmp_path / "new") as service:
        eventually(lambda: service.store.alarms())
        with urllib.request.urlopen(f"{service.web.url.rstrip('/')}/furnace/engine-shed", timeout=30) as page:
            assert STALL in page.read().decode()
        assert {iso(alarm.raised_ms) for alarm in service.store.alarms() if alarm.alarm == STALL} == raised
