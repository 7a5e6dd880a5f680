"""Lines of the line protocol; the grammar is that of the InfluxDB 1.x and 2.x documentation (from memory)."""

import dataclasses

import numpy as np

from sootline.events import Event
from sootline.logbook import Logged
from sootline.mirror import lines
from sootline.profile import LogEntry
from sootline.series import SensorFault
from tests.store.making import FURNACE, START_MS, rows
from tests.store.test_records import ALARM


def test_a_row_has_a_field_for_each_reading_and_none_where_there_is_none():
    content = rows(
        [START_MS, START_MS + 5, START_MS + 9],
        (SensorFault(START_MS + 5, "stack", "short"),),
        tank=[60.25, np.nan, np.nan],
        pump=[0.0, 1.0, np.nan],
        pump_s=[np.nan, 812.5, np.nan],
    )
    assert list(lines.of_rows(FURNACE, content)) == [
        f"sootline,furnace=engine-shed tank=60.25,pump=0.0 {START_MS}",
        f"sootline,furnace=engine-shed pump=1.0,pump_on_s=812.5 {START_MS + 5}",
        f"sootline,furnace=engine-shed stack_fault=2.0 {START_MS + 5}",
    ]


def test_numbers_are_written_so_that_they_come_back_exactly():
    for value in (1 / 3, 1e-12, 1e22, -0.1, 372.0, 5e-324):
        (line,) = lines.of_rows(FURNACE, rows([0], tank=[value]))
        assert float(line.split("tank=")[1].split()[0]) == value


def test_text_and_numbers_that_are_none_stay_at_home():
    event = Event(
        FURNACE, "refill", START_MS, START_MS + 500, {"a b": 2, "bad": float("nan"), "far": float("inf"), "t": "x"}
    )
    assert lines.of_event(event) == (
        f"sootline_event,furnace=engine-shed,kind=refill duration_s=0.5,a\\ b=2.0 {START_MS}"
    )


def test_an_alarm_without_a_channel_has_no_such_tag():
    (line,) = lines.of_alarm(dataclasses.replace(ALARM, channel=None))
    assert line == f"sootline_alarm,furnace=engine-shed,alarm=preheat-slow standing=1.0,priority=2.0 {START_MS}"


def test_the_log_says_what_was_done_and_not_who_did_it():
    entry = LogEntry(START_MS, "setpoint", "tank", 62.5, "it was thick")
    logged = Logged("entry-of-a-test", FURNACE, entry, "Ffion", START_MS + 9)
    assert lines.of_logged(logged) == (
        f"sootline_log,furnace=engine-shed,kind=setpoint,channel=tank entered=1.0,value=62.5 {START_MS}"
    )
    undone = dataclasses.replace(logged, undone_by="Ffion", undone_ms=START_MS + 10)
    assert lines.of_logged(undone).endswith(f"value=62.5,undone=1.0 {START_MS}")
