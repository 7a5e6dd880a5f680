"""`sootline explain` and `sootline whatif` on a real store, a table and a recording of one simulated bad day."""

import json
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from sootline.alarms import Alarm
from sootline.cli import main
from sootline.commands.whatif import pair
from sootline.series import Rows
from sootline.sim.faults import Fault
from sootline.sim.run import simulate
from sootline.sim.weather import Weather
from sootline.sim.workshop import ENGINE_SHED, PROFILES
from sootline.store import Store
from sootline.wire import encode
from sootline.wire.pack import Pack, parse

HOUR_MS = 3_600_000
START_MS = 1_767_571_200_000  # 5 January 2026, midnight UTC
CHANNELS = ("tank", "nozzle", "stack", "pump", "float", "call", "burner", "room", "outdoor", "supply", "suction")


@pytest.fixture(scope="module")
def bad_day() -> Rows:
    """30 hours with an air leak at the filter bowl from 24 h on."""
    faults = (Fault("air-leak", START_MS + 24 * HOUR_MS),)
    weather = Weather(1, mean_C=-4.0)
    return simulate(ENGINE_SHED, 1, START_MS, START_MS + 30 * HOUR_MS, faults, channels=CHANNELS, weather=weather)[0]


@pytest.fixture(scope="module")
def folder(bad_day: Rows, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with the day in its store, and the profile."""
    data = tmp_path_factory.mktemp("data")
    (data / "profiles").mkdir()
    (data / "profiles" / "engine-shed.toml").write_text(PROFILES["engine-shed"])
    with Store.open(data) as store, store.batch() as batch:
        for encoded in encode.packs(bad_day, "engine-shed", "b1", START_MS, samples=40):
            pack = parse("engine-shed", encoded.payload)
            assert isinstance(pack, Pack) and pack.base_ms is not None
            batch.pack(pack, encoded.last_ms, pack.base_ms)
    return data


@pytest.fixture(scope="module")
def table(bad_day: Rows, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("table") / "engine-shed.parquet"
    times = pa.array(bad_day.t_ms, pa.timestamp("ms", "UTC"))
    pq.write_table(pa.table({"time": times, **{n: pa.array(c) for n, c in bad_day.values.items()}}), path)
    return path


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    assert main([str(argument) for argument in arguments]) == 0
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    assert main([str(argument) for argument in arguments]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    return said


def test_explain_says_numbers_baseline_causes_rule_and_settings(capsys, folder: Path) -> None:
    out = run(capsys, "explain", "engine-shed", "refill-timeout", "--data", folder)
    assert out.startswith("engine-shed: refill-timeout, high, raised 2026-01-06T0")
    for words in (
        "pump ran: 20", "pump usually runs:",  # numbers
        "pump seconds of a refill:", "refill limiter: 20 s",  # what was usual
        "air drawn in at the filter bowl", "no dip:",  # causes with their evidence
        "Rule: a run ended by the limiter",  # the rule as its docstring has it
        "limit_tolerance_s = 0.5 s: a run this near the limit was ended by the limiter",  # its settings
    ):  # fmt: skip
        assert words in out, words


def test_explain_reads_tables_too_and_the_same_comes_out(capsys, folder: Path, table: Path) -> None:
    profile = folder / "profiles" / "engine-shed.toml"
    of_table = run(capsys, "explain", "engine-shed", "refill-timeout", table, "--profile", profile)
    of_store = run(capsys, "explain", "engine-shed", "refill-timeout", "--data", folder)
    assert of_table.splitlines()[0] == of_store.splitlines()[0]


def test_explain_of_an_alarm_that_never_rang_still_gives_the_rule(capsys, folder: Path) -> None:
    out = run(capsys, "explain", "engine-shed", "stack-high", "--data", folder)
    assert "stack-high has not been raised" in out and "Rule: stack > limit" in out and "over_limit_s" in out


def test_explain_of_the_silent_board(capsys, folder: Path) -> None:
    assert "offline_s = 600 s" in run(capsys, "explain", "engine-shed", "board-offline", "--data", folder)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("engine-shed", "gremlins"), "there is no alarm 'gremlins'"),
        (("engine-shed", "preheat-slow/attic"), "there is no channel 'attic'"),
        (("boiler", "leak"), "there is no furnace 'boiler'"),
        (("engine-shed", "refill-timeout", "--raised", "2020-01-01"), "it was raised 2026-01-06T"),
    ],
)
def test_explain_says_what_is_wrong(capsys, folder: Path, arguments, words: str) -> None:
    assert words in refused(capsys, "explain", *arguments, "--data", folder)


def test_explain_without_a_store(capsys, tmp_path: Path) -> None:
    assert str(tmp_path) in refused(capsys, "explain", "engine-shed", "leak", "--data", tmp_path / "none")


def test_whatif_with_the_settings_as_they_are_changes_nothing(capsys, folder: Path) -> None:
    out = run(capsys, "whatif", "--set", "overdue_ratio=1.6", "--data", folder)
    assert out.splitlines() == [out.strip()] and "0 more, 0 fewer, 0 at another time" in out


def test_whatif_of_a_stricter_and_of_a_laxer_limit(capsys, folder: Path) -> None:
    stricter = run(capsys, "whatif", "--set", "stack.limit_C=200", "--data", folder)
    assert "+ " in stricter and "stack-high  critical: would have rung" in stricter
    laxer = run(capsys, "whatif", "--set", "refill.limit_s=60", "--data", folder)
    assert "- " in laxer and "refill-timeout" in laxer and "would have been quiet" in laxer


def test_whatif_since_leaves_out_what_was_before(capsys, folder: Path) -> None:
    every = run(capsys, "whatif", "--set", "stack.limit_C=200", "--data", folder, "--json").splitlines()
    late = run(capsys, "whatif", "--set", "stack.limit_C=200", "--since", "2026-01-06", "--data", folder, "--json")
    assert len(late.splitlines()) < len(every)
    for line in late.splitlines():
        change = json.loads(line)
        assert (change["was"] or change["would"])["raised"] >= "2026-01-06"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--set", "stuck_after_z=1"), "the nearest is 'stuck_after_s'"),
        (("--set", "stack.limit=1"), "the nearest is 'stack.limit_C'"),
        (("--set", "stack.limit_C=5000"), "must lie between 50 and 1000"),
        (("--set", "stuck_after_s"), "KEY=VALUE"),
        (("--set", "stuck_after_s=1", "--since", "monday"), "is no time"),
        (("--set", "stuck_after_s=1", "--since", "2999-01-01"), "in the future"),
    ],
)
def test_whatif_says_what_is_wrong(capsys, folder: Path, arguments, words: str) -> None:
    assert words in refused(capsys, "whatif", *arguments, "--data", folder)


def alarm(name: str, raised_min: float, cleared_min: float | None = None, priority: str = "high") -> Alarm:
    cleared = None if cleared_min is None else round(cleared_min * 60_000)
    at = round(raised_min * 60_000)
    return Alarm("shed", name, None, priority, "returned", at, cleared, at, "none", "")  # type: ignore[arg-type]


def test_pairs_are_the_same_alarm_at_another_time_or_priority() -> None:
    was = [alarm("lockout", 0, 50), alarm("leak", 100, 110), alarm("no-heat", 200, 210)]
    would = [alarm("lockout", 40, 60), alarm("leak", 100, 110), alarm("no-heat", 500, 510, "medium")]
    told = [(change.kind, change.alarm.alarm) for change in pair(was, would)]
    assert told == [("other", "lockout"), ("less", "no-heat"), ("more", "no-heat")]
