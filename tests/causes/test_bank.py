"""A fast part of the bank, and what must hold of every cause that is found: the full bank is `tests.causes.bank`."""

import json
import pickle
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from sootline.analysis.causes.finder import look
from sootline.analysis.causes.scene import EVIDENCE, Finding
from sootline.analysis.causes.trees import TREES
from sootline.analysis.engine import Engine
from sootline.analysis.sampling import Sampling
from sootline.profile import LogEntry
from sootline.series import Rows
from tests.causes import bank
from tests.causes.cases import CASES
from tests.causes.world import HOUR_MS, SETS, Case, _profile, known, only, rows_of

FAST = (
    "air-leak-shed", "valve-shut-shed", "float-down-shed", "float-up-shed", "pump-unseen-shed", "sips-shed",
    "welded-shed", "relay-tank-shed", "no-spark-shed", "water-shed", "air-leak-shop", "half-nozzle-shop",
    "open-tank-shop", "relay-tank-shop", "open-stack", "shorted-thermostat-shed",
)  # fmt: skip
WARM_DAYS = 3.25


@lru_cache(maxsize=1)
def answers() -> list[bank.Answer]:
    return [answer for case in fast_cases() for answer in bank.ask(case)]


def fast_cases() -> list[Case]:
    chosen = [case for case in CASES if case.id in FAST]
    return [replace(case, warm_days=WARM_DAYS, hours=min(case.hours, 36.0)) for case in chosen]


@pytest.mark.parametrize("channels", SETS)
def test_the_true_cause_comes_first_or_among_the_first_three(channels: str) -> None:
    s = bank.shares(answers(), channels)
    assert s["raised"] >= 9
    assert s["first_told_apart"] >= 0.8 and s["first_three_told_apart"] >= 0.95
    if channels == "all":
        assert s["first"] >= 0.8 and s["first_three"] >= 0.95


def test_the_bank_is_large_and_its_cases_are_different() -> None:
    assert len(CASES) >= 60 and len({case.id for case in CASES}) == len(CASES)
    assert len({case.alarm.partition("/")[0] for case in CASES}) >= 20
    assert len({(case.alarm, case.expect) for case in CASES}) >= 50


@lru_cache(maxsize=4)
def story(channels: str) -> tuple[bytes, Rows]:
    """A known furnace and a bad day on it, with several alarms."""
    case = next(case for case in fast_cases() if case.id == "air-leak-shed")
    rows = only(rows_of(replace(case, hours=6.0)), SETS[channels])
    return known(case.spec, case.seed, case.warm_days, case.mean_C)[1][channels], rows


def run(saved: bytes, blocks: list[Rows], restart: bool = False) -> list[dict]:
    engine: Engine = pickle.loads(saved)
    for rows in blocks:
        engine.feed(rows)
        if restart:
            engine = pickle.loads(pickle.dumps(engine))
    return [alarm.record() for alarm in engine.alarms]


@pytest.mark.parametrize("channels", SETS)
def test_causes_do_not_depend_on_chunks_or_restarts(channels: str) -> None:
    saved, rows = story(channels)
    start_ms, end_ms = int(rows.t_ms[0]), int(rows.t_ms[-1]) + 1
    whole = run(saved, [rows])
    assert any(record["detail"].get("causes") for record in whole)
    for minutes in (1, 7, 61):
        edges = range(start_ms, end_ms + minutes * 60_000, minutes * 60_000)
        blocks = [rows.between(edge, edge + minutes * 60_000) for edge in edges]
        assert run(saved, [b for b in blocks if len(b)], restart=minutes == 7) == whole


@pytest.mark.parametrize("channels", SETS)
def test_every_record_is_complete_and_in_order(channels: str) -> None:
    for record in run(*(lambda saved, rows: (saved, [rows]))(*story(channels))):
        causes = record["detail"].get("causes")
        if causes is None:
            continue
        json.dumps(causes)
        assert 1 <= len(causes) <= 5
        odds = [cause["probability"] for cause in causes]
        assert odds == sorted(odds, reverse=True) and 0.3 < sum(odds) <= 1.03
        for cause in causes:
            assert set(cause) - {"branch"} == {"id", "cause", "probability", "evidence", "first"}
            assert all(isinstance(words, str) and 3 <= len(words) <= 100 for words in cause["evidence"])
            assert len(cause["first"]) <= 160


@pytest.mark.parametrize("seed", range(8))
def test_missing_readings_never_raise(seed: int) -> None:
    """Whole channels, long spans and single readings go missing at random; the analysis goes on."""
    rng = np.random.default_rng(seed)
    saved, rows = story("all")
    values = {}
    for name, column in rows.values.items():
        if rng.random() < 0.3:
            continue
        column = column.copy()
        column[rng.random(len(column)) < rng.choice([0.0, 0.3])] = np.nan
        if rng.random() < 0.4:
            first = rng.integers(len(column))
            column[first : first + rng.integers(1, len(column))] = np.nan
        values[name] = column
    rows = Rows(rows.t_ms, values, {}, ())
    for engine in (pickle.loads(saved), Engine(_profile("shed"), sampling=Sampling())):
        engine.feed(rows)
        for entry in engine.plant.book.entries:  # and every tree looks at every alarm's scene
            engine.causes.look_again(entry)


def test_only_what_was_written_down_before_an_alarm_explains_it() -> None:
    _, rows = story("four")
    start_ms = int(rows.t_ms[0])
    log = (LogEntry(start_ms + HOUR_MS, "batch"), LogEntry(start_ms + 3 * HOUR_MS, "filter"))
    engine = Engine(replace(_profile("shed"), log=log), sampling=Sampling())
    engine.feed(rows)
    seen = engine.causes.seen
    assert seen.entered("batch", start_ms + 2 * HOUR_MS, 4.0) == log[0]
    assert seen.entered("filter", start_ms + 2 * HOUR_MS, 3.0) is None
    assert seen.entered("batch", start_ms + 2 * HOUR_MS, 0.02) is None


def test_what_was_found_stays_found_and_first_looks_are_not_repeated() -> None:
    saved, rows = story("all")
    engine: Engine = pickle.loads(saved)
    engine.feed(rows)
    entry = next(entry for entry in engine.plant.book.entries if entry.alarm == "refill-timeout")
    gone = {"no-such-thing-any-more": Finding(True, "as it was")}
    assert look(engine, engine.causes.seen, entry, gone).items() >= gone.items()
    once = [name for name in TREES["flame-loss"].evidence if EVIDENCE[name].once]
    entry = next(entry for entry in engine.plant.book.entries if entry.alarm == "flame-loss")
    kept = {name: Finding(True, "as it was") for name in once}
    later = look(engine, engine.causes.seen, entry, kept)
    assert once and all(later[name] == kept[name] for name in once)
