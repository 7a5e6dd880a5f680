"""Readings, events, alarms and the logbook as lines of the line protocol: numbers only, and tags that stay few.

sootline,furnace=engine-shed tank=60.25,pump=1.0,pump_on_s=812.5 <ms>    a row; no field where there is no reading
sootline,furnace=engine-shed stack_fault=1.0 <ms>                         1 + position in channels.FAULTS
sootline_event,furnace=engine-shed,kind=refill duration_s=9.1,on_time_s=9.0 <ms of the beginning>
sootline_alarm,furnace=engine-shed,alarm=leak standing=1.0,priority=4.0 <ms of raised>   and standing=0.0 at its end
sootline_log,furnace=engine-shed,kind=cleaning entered=1.0 <ms>           and undone=1.0 for what was undone
"""

from collections.abc import Iterator

import numpy as np

from sootline.alarms import PRIORITIES, Alarm
from sootline.channels import FAULTS
from sootline.events import Event
from sootline.logbook import Logged
from sootline.series import Rows

READINGS, EVENTS, ALARMS, LOG = "sootline", "sootline_event", "sootline_alarm", "sootline_log"
SUM, FAULT = "_on_s", "_fault"


def of_rows(furnace: str, rows: Rows) -> Iterator[str]:
    """One line for each row, and one for each fault."""
    head = f"{READINGS},furnace={furnace} "
    columns = {**rows.values, **{name + SUM: column for name, column in rows.on_s.items()}}
    fields = [[f"{name}={value}" for value in column.tolist()] for name, column in columns.items()]
    there = [(~np.isnan(column)).tolist() for column in columns.values()]
    for i, t_ms in enumerate(rows.t_ms.tolist()):
        line = ",".join(field[i] for field, given in zip(fields, there, strict=True) if given[i])
        if line:
            yield f"{head}{line} {t_ms}"
    for fault in rows.faults:
        yield f"{head}{fault.channel}{FAULT}={FAULTS.index(fault.kind) + 1.0} {fault.t_ms}"


def of_event(event: Event) -> str:
    """Numbers and on/off features; text stays at home."""
    fields = {"duration_s": (event.end_ms - event.start_ms) / 1000}
    for name, value in event.features.items():
        if isinstance(value, bool | int | float) and np.isfinite(value):
            fields[name] = float(value)
    told = ",".join(f"{_escape(name)}={value}" for name, value in fields.items())
    return f"{EVENTS},furnace={event.furnace},kind={_escape(event.kind)} {told} {event.start_ms}"


def of_alarm(alarm: Alarm) -> Iterator[str]:
    channel = f",channel={alarm.channel}" if alarm.channel else ""
    head = f"{ALARMS},furnace={alarm.furnace},alarm={_escape(alarm.alarm)}{channel}"
    priority = PRIORITIES.index(alarm.priority) + 1.0
    yield f"{head} standing=1.0,priority={priority} {alarm.raised_ms}"
    if alarm.cleared_ms is not None:
        yield f"{head} standing=0.0,priority={priority} {alarm.cleared_ms}"


def of_logged(logged: Logged) -> str:
    """What was done and, for a set point, its value; who did it and what they noted stays at home."""
    entry = logged.entry
    channel = f",channel={entry.channel}" if entry.channel else ""
    value = "" if entry.value_C is None else f",value={float(entry.value_C)}"
    undone = ",undone=1.0" if logged.undone else ""
    return f"{LOG},furnace={logged.furnace},kind={entry.kind}{channel} entered=1.0{value}{undone} {entry.at_ms}"


def _escape(text: str) -> str:
    """Commas, equal signs and spaces are marks of the protocol in tags and field names."""
    return text.replace(",", "\\,").replace("=", "\\=").replace(" ", "\\ ")
