"""From firings to the daily record, and the cleaning advice of the alarm made from it."""

import pickle

import numpy as np
import pytest

from sootline.analysis.course import DAY_MS, Course, generator
from sootline.analysis.engine import Engine
from sootline.errors import OutOfRange
from sootline.events import Event
from sootline.profile import LogEntry, parse

START_MS = 1_767_571_200_000  # Mon 5 Jan 2026 00:00 UTC
PROFILE = """
[furnace]
id = "engine-shed"
[stack]
limit_C = 380.0
[cleaning]
at_rise_K = 60.0
"""


def course(days: int, firings: int = 4, rise_K_per_h: float = 0.15) -> Course:
    """Two hours a firing; the rise is a straight line without noise."""
    made = Course(START_MS, 100.0)
    for k in range(days * firings):
        h = 2.0 * (k + 1)
        made.add(START_MS + k // firings * DAY_MS + (k % firings + 1) * 18_000_000, 100.0 + h, rise_K_per_h * h)
    return made


def test_a_row_a_day() -> None:
    record = course(10).record()
    assert record.day == pytest.approx(np.arange(10) + 12.5 / 24)  # firings end at 5, 10, 15, 20 h
    assert record.hours == pytest.approx(8.0 * np.arange(10) + 5.0)
    assert record.value == pytest.approx(0.15 * record.hours)


def test_neighbours_are_joined_when_there_are_too_many() -> None:
    record = course(90).record(60)
    assert record.day.size == 45
    assert record.value == pytest.approx(0.15 * record.hours)


def test_too_few_days_are_refused() -> None:
    with pytest.raises(OutOfRange, match="5 days are too few"):
        course(5).record()
    with pytest.raises(OutOfRange, match="0 days are too few"):
        Course(START_MS, 0.0).record()


def test_batches_that_burned_are_in_the_record() -> None:
    made = course(10)
    made.batch(100.0)  # at the cleaning itself: the first batch
    made.batch(140.0)
    made.batch(900.0)  # after the last reading
    assert made.record().batch_start_h == (0.0, 40.0)


def test_recent_hours_are_those_between_midnights() -> None:
    recent = course(40).recent_h()
    assert recent.size == 28 and recent == pytest.approx(np.full(28, 8.0), abs=1e-6)


def test_the_same_day_draws_the_same() -> None:
    first, later = generator("engine-shed", START_MS), generator("engine-shed", START_MS + 3_600_000)
    assert first.random(4).tolist() == later.random(4).tolist()
    assert generator("carriage-shop", START_MS).random() != generator("engine-shed", START_MS).random()


def burn(engine: Engine, days: int, first_day: int, rise_K_per_h: float, saved: bool = False) -> Engine:
    """Four firings of two hours a day: 262 K over return air, rising by the hour, with 2 K of scatter."""
    for k in range(days * 4):
        noise = np.random.default_rng(first_day * 4 + k).normal()
        burned_h = engine.fire.burned_s() / 3600 + 2.0
        end_ms = START_MS + (first_day + k // 4) * DAY_MS + (k % 4 + 1) * 18_000_000
        engine.plant.history.now_ms = end_ms
        engine.fire.burned_ms += 7_200_000
        stack_C = 277.0 + rise_K_per_h * burned_h + 2.0 * float(noise)
        features = {"burned_s": 7200.0, "stack_end": stack_C, "return_air_end": 15.0}
        engine.plant.happened(Event("engine-shed", "firing", end_ms - 7_200_000, end_ms, features))
        if saved:
            engine = pickle.loads(pickle.dumps(engine))
    return engine


def test_the_advice_comes_from_the_whole_course() -> None:
    """0.15 K an hour and 8 h a day: 60 K over clean after 400 h, on the 51st day, 24 February."""
    engine = burn(Engine(parse(PROFILE)), 38, 0, 0.15)
    (alarm,) = (a for a in engine.alarms if a.alarm == "stack-rising")
    assert alarm.detail["binding"] == "rise"
    assert abs(np.datetime64(alarm.detail["clean_by"]) - np.datetime64("2026-02-24")) <= np.timedelta64(4, "D")
    assert alarm.detail["clean_from"] <= alarm.detail["clean_by"] <= alarm.detail["clean_to"]
    stops = burn(Engine(parse(PROFILE)), 38, 0, 0.15, saved=True)
    assert [a.detail for a in stops.alarms] == [a.detail for a in engine.alarms]


def test_a_cleaning_starts_the_course_anew() -> None:
    engine = burn(Engine(parse(PROFILE)), 10, 0, 0.15)
    at_ms = START_MS + 10 * DAY_MS
    engine.plant.history.now_ms = at_ms
    engine.plant.logged(LogEntry(at_ms, "cleaning"))
    engine = burn(engine, 10, 10, 0.15)
    found = next(d for d in engine.detectors if d.alarm == "stack-rising")
    assert found.course.now_h == pytest.approx(80.0)  # type: ignore[attr-defined]
