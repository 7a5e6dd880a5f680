"""The commissioning record of one furnace: who did which step when, with what values and what came of it.

Kept as JSON: `{"version": 1, "furnace": "...", "entries": [{"step", "channel", "on", "by", "values", "result"}]}`.
Entries are only added; the newest of a step and channel counts.
"""

import difflib
import json
import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from typing import Any

from sootline.commissioning.evaluate import Result, Value, Values, evaluate
from sootline.commissioning.steps import BY_KEY, NEEDS, STEPS, Field, Need, Step
from sootline.errors import OutOfRange, UserError
from sootline.wire.topics import FURNACE_ID

VERSION = 1
YEAR = timedelta(days=365)
_ENTRY_KEYS = {"step", "channel", "on", "by", "values", "result"}


@dataclass(frozen=True, slots=True)
class Entry:
    """One step done on one day by one person. `channel` is "" for a step that is not repeated per channel."""

    step: str
    channel: str
    on: date
    by: str
    values: Values
    result: Result


@dataclass(frozen=True, slots=True)
class Record:
    """All entries of a furnace, oldest first."""

    furnace: str
    entries: tuple[Entry, ...] = ()

    def latest(self, step: str, channel: str = "") -> Entry | None:
        found = [entry for entry in self.entries if entry.step == step and entry.channel == channel]
        return max(found, key=lambda entry: entry.on, default=None)


@dataclass(frozen=True, slots=True)
class Due:
    """A yearly step whose last time is over a year ago, and since when it is due."""

    step: str
    channel: str
    since: date


def add(record: Record, step: str, on: date, by: str, values: Mapping[str, object], channel: str = "") -> Record:
    """The record with one more step, evaluated. Raises UserError for values that cannot be, or a step not passed."""
    described = _step(step)
    _check_channel(described, channel)
    if not by.strip():
        raise UserError("Say who did the step.")
    checked = check_values(described, values)
    try:
        entry = Entry(step, channel, on, by.strip(), checked, evaluate(step, checked))
    except OutOfRange as error:
        raise UserError(f"{error}: was the value noted in the unit asked for?") from None
    return replace(record, entries=(*record.entries, entry))


def check_values(step: Step, values: Mapping[str, object]) -> dict[str, Value]:
    """Every field of the step, of its kind and finite, and no other. Raises UserError naming the first that is not."""
    fields = {field.name: field for field in step.fields}
    for name in values:
        if name not in fields:
            raise UserError(f"{step.key}: unknown value {name!r}{_nearest(name, fields)}")
    return {name: _value(step, field, values) for name, field in fields.items()}


def _value(step: Step, field: Field, values: Mapping[str, object]) -> Value:
    where = f"{step.key}: {field.name} ({field.ask})"
    value = values.get(field.name)
    if value is None:
        raise UserError(f"{where} is missing.")
    if field.kind == "numbers":
        if not isinstance(value, list) or not value:
            raise UserError(f"{where} must be a list of numbers.")
        return [_number(where, item) for item in value]
    if field.kind == "number":
        return _number(where, value)
    if not isinstance(value, str) or not value.strip():
        raise UserError(f"{where} must be text.")
    if field.kind == "choice" and value not in field.choices:
        raise UserError(f"{where} must be one of: {', '.join(field.choices)}.")
    return value.strip()


def _number(where: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise UserError(f"{where} must be a number.")
    return float(value)


def waiting(record: Record, fitted: Collection[str]) -> dict[str, tuple[Need, ...]]:
    """Each trend verdict that still waits, with the steps it waits for; channels that are not `fitted` need no step."""
    found = {}
    for verdict, needs in NEEDS.items():
        asked = [need for need in needs if not need.channel or need.channel in fitted]
        if missing := tuple(need for need in asked if not _met(record, need)):
            found[verdict] = missing
    return found


def _met(record: Record, need: Need) -> bool:
    entry = record.latest(need.step, need.channel)
    if entry is None and need.or_step:
        entry = record.latest(need.or_step, need.channel)
    if entry is None or need.step != "baseline":
        return entry is not None
    moved = record.latest("probe_geometry", "stack")
    return moved is None or entry.on >= moved.on  # a moved probe reads another stack


def due(record: Record, today: date) -> list[Due]:
    """Yearly steps done once and not within a year before `today`, in the order of the steps."""
    found = []
    for step in STEPS:
        for channel in step.channels or ("",):
            entry = record.latest(step.key, channel) if step.yearly else None
            if entry is not None and entry.on + YEAR < today:
                found.append(Due(step.key, channel, entry.on + YEAR))
    return found


def dumps(record: Record) -> str:
    """JSON text, stable byte for byte."""
    entries = [{**asdict(entry), "on": entry.on.isoformat()} for entry in record.entries]
    body = {"version": VERSION, "furnace": record.furnace, "entries": entries}
    return json.dumps(body, ensure_ascii=False, indent=1) + "\n"


def loads(text: str) -> Record:
    """Read a record back; every result is computed again from its values. Raises UserError that names the place."""
    try:
        body = json.loads(text)
    except ValueError as error:
        raise UserError(f"The commissioning record is not JSON: {error}") from None
    if not isinstance(body, dict) or set(body) != {"version", "furnace", "entries"}:
        raise UserError("The commissioning record must hold version, furnace and entries, nothing else.")
    if body["version"] != VERSION:
        raise UserError(f"The commissioning record has version {body['version']!r}; this reads version {VERSION}.")
    if not isinstance(body["furnace"], str) or not FURNACE_ID.fullmatch(body["furnace"]):
        raise UserError(f"The commissioning record names no furnace: {body['furnace']!r}.")
    if not isinstance(body["entries"], list):
        raise UserError("The commissioning record's entries must be a list.")
    record = Record(body["furnace"])
    for place, row in enumerate(body["entries"], start=1):
        try:
            record = _append(record, row)
        except UserError as error:
            raise UserError(f"Commissioning record, entry {place}: {error}") from None
    return record


def _append(record: Record, row: Any) -> Record:
    if not isinstance(row, dict) or set(row) != _ENTRY_KEYS:
        raise UserError(f"needs exactly: {', '.join(sorted(_ENTRY_KEYS))}.")
    texts = (row["step"], row["channel"], row["on"], row["by"])
    if not all(isinstance(text, str) for text in texts) or not isinstance(row["values"], dict):
        raise UserError("step, channel, on and by must be text, values an object.")
    try:
        on = date.fromisoformat(row["on"])
    except ValueError:
        raise UserError(f"{row['on']!r} is no date; write it as 2026-01-31.") from None
    return add(record, row["step"], on, row["by"], row["values"], row["channel"])


def _step(key: str) -> Step:
    if key not in BY_KEY:
        raise UserError(f"unknown step {key!r}{_nearest(key, BY_KEY)}")
    return BY_KEY[key]


def _check_channel(step: Step, channel: str) -> None:
    if step.per and channel not in step.channels:
        raise UserError(f"{step.key} is done per channel, one of: {', '.join(step.channels)}.")
    if not step.per and channel:
        raise UserError(f"{step.key} belongs to no channel.")


def _nearest(name: str, known: Iterable[str]) -> str:
    match = difflib.get_close_matches(name, list(known), n=1)
    return f"; did you mean {match[0]}?" if match else "."
