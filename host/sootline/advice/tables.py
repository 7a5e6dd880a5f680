"""Everything that is kept of the furnaces, as tables to take away."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import pyarrow as pa

from sootline.advice import ledger, oil_log
from sootline.alarms import Alarm
from sootline.errors import UserError
from sootline.events import Event
from sootline.files import commissioning, profiles
from sootline.logbook import Logged
from sootline.profile import LogEntry
from sootline.store import Store
from sootline.store.exporting import TIME, Table, of_readings

PIECE_MS = 30 * 86_400_000


@dataclass(frozen=True, slots=True)
class Ask:
    """Which furnaces, and from when to when: start_ms <= t < end_ms. Steps, batches and proofs are told whole."""

    store: Store
    furnaces: Sequence[str]
    start_ms: int = 0
    end_ms: int = 2**62

    @property
    def folder(self) -> Path:
        return self.store.folder

    def spans(self) -> list[tuple[str, int, int]]:
        """Each furnace's part of the time in which it has readings."""
        made = []
        for furnace in self.furnaces:
            extent = self.store.extent(furnace)
            if extent is not None:
                made.append((furnace, max(self.start_ms, extent[0]), min(self.end_ms, extent[1] + 1)))
        return made


def readings(ask: Ask) -> Table:
    """Every reading, as the boards sent it. Raises UserError where there is none."""
    table = of_readings(ask.store.read, ask.spans())
    if len(table.schema) == 2:
        raise UserError("there are no readings in that time")
    return table


def events(ask: Ask) -> Table:
    """Firings, refills, warm-ups, phases and steady stacks; a column for each feature, its unit in the name."""
    kinds: dict[str, set[type]] = {}
    for piece in _event_pieces(ask):
        for event in piece:
            for key, value in event.features.items():
                if value is not None:
                    kinds.setdefault(key, set()).add(type(value))
    columns = {key: _column(kinds[key]) for key in sorted(kinds)}
    schema = pa.schema([
        ("furnace", pa.string()), ("kind", pa.string()), ("start", TIME), ("end", TIME), *columns.items(),
    ])  # fmt: skip
    return Table(schema, (_events(piece, columns, schema) for piece in _event_pieces(ask)))


def _event_pieces(ask: Ask) -> Iterator[list[Event]]:
    for furnace, start_ms, end_ms in ask.spans():
        for from_ms in range(start_ms, end_ms, PIECE_MS):
            yield ask.store.events(furnace, None, from_ms, min(from_ms + PIECE_MS, end_ms))


def _column(kinds: set[type]) -> pa.DataType:
    if kinds == {bool}:
        return pa.bool_()
    return pa.float64() if kinds <= {float, int} else pa.string()


def _events(piece: Sequence[Event], columns: Mapping[str, pa.DataType], schema: pa.Schema) -> pa.Table:
    rows = []
    for event in piece:
        row: dict[str, Any] = {
            "furnace": event.furnace, "kind": event.kind, "start": event.start_ms, "end": event.end_ms,
        }  # fmt: skip
        for key, kind in columns.items():
            value = event.features.get(key)
            row[key] = str(value) if value is not None and pa.types.is_string(kind) else value
        rows.append(row)
    return pa.Table.from_pylist(rows, schema=schema)


def alarms(ask: Ask) -> Table:
    """Every alarm with who had it; the numbers behind it as JSON."""
    schema = pa.schema([
        *((name, pa.string()) for name in ("furnace", "alarm", "channel", "priority", "state")),
        *((name, TIME) for name in ("raised", "cleared", "found")),
        ("acknowledged_by", pa.string()), ("acknowledged_at", TIME),
        ("shelved_by", pa.string()), ("shelved_for", pa.string()), ("shelved_until", TIME),
        *((name, pa.string()) for name in ("suppressed_by", "hazard", "first_step", "detail")),
    ])  # fmt: skip
    within = (
        [alarm for alarm in ask.store.alarms(name) if ask.start_ms <= alarm.raised_ms < ask.end_ms]
        for name in ask.furnaces
    )
    return Table(schema, (pa.Table.from_pylist([_alarm(a) for a in those], schema=schema) for those in within))


def _alarm(alarm: Alarm) -> dict[str, Any]:
    taken, shelf = alarm.acknowledged, alarm.shelved
    return {
        "furnace": alarm.furnace, "alarm": alarm.alarm, "channel": alarm.channel, "priority": alarm.priority,
        "state": alarm.state, "raised": alarm.raised_ms, "cleared": alarm.cleared_ms, "found": alarm.found_ms,
        "acknowledged_by": taken and taken.by, "acknowledged_at": taken and taken.at_ms,
        "shelved_by": shelf and shelf.by, "shelved_for": shelf and shelf.reason,
        "shelved_until": shelf and shelf.until_ms, "suppressed_by": alarm.suppressed_by, "hazard": alarm.hazard,
        "first_step": alarm.first_step, "detail": msgspec.json.encode(alarm.detail).decode(),
    }  # fmt: skip


def log(ask: Ask) -> Table:
    """What people did, from the logbook, lines undone too, and from the profile."""
    schema = pa.schema([
        ("furnace", pa.string()), ("at", TIME), ("kind", pa.string()), ("channel", pa.string()),
        ("value_C", pa.float64()), ("note", pa.string()), ("by", pa.string()), ("entered", TIME),
        ("photo", pa.string()), ("undone_by", pa.string()), ("undone", TIME),
    ])  # fmt: skip
    given = profiles.load_folder(ask.folder / "profiles")
    rows = []
    for name in ask.furnaces:
        book = ask.store.logbook(name)
        kept = {logged.entry for logged in book}
        lines = [_logged(logged) for logged in book]
        lines += [_entry(name, entry) for entry in (given[name].log if name in given else ()) if entry not in kept]
        rows += sorted(lines, key=lambda row: (row["at"], row["kind"]))
    within = [row for row in rows if ask.start_ms <= row["at"] < ask.end_ms]
    return Table(schema, [pa.Table.from_pylist(within, schema=schema)])


def _logged(logged: Logged) -> dict[str, Any]:
    return _entry(logged.furnace, logged.entry) | {
        "by": logged.by, "entered": logged.entered_ms, "photo": f"{logged.id}.jpg" if logged.photo else None,
        "undone_by": logged.undone_by, "undone": logged.undone_ms,
    }  # fmt: skip


def _entry(furnace: str, entry: LogEntry) -> dict[str, Any]:
    return {
        "furnace": furnace, "at": entry.at_ms, "kind": entry.kind, "channel": entry.channel,
        "value_C": entry.value_C, "note": entry.note,
    }  # fmt: skip


def searches(ask: Ask) -> Table:
    """Causes that were looked for step by step: what was asked and said, and what was found."""
    schema = pa.schema([
        ("furnace", pa.string()), ("begun", TIME), ("alarm", pa.string()), ("channel", pa.string()), ("raised", TIME),
        ("by", pa.string()), ("ended", pa.string()), ("found", pa.string()), ("answers", pa.string()),
    ])  # fmt: skip
    rows = [
        {
            "furnace": name, "begun": s.begun_ms, "alarm": s.alarm, "channel": s.channel, "raised": s.raised_ms,
            "by": s.by, "ended": s.ended, "found": s.found,
            "answers": " | ".join(f"{answer.asked}: {answer.said}" for answer in s.answers),
        }
        for name in ask.furnaces for s in ask.store.searches(name) if ask.start_ms <= s.begun_ms < ask.end_ms
    ]  # fmt: skip
    return Table(schema, [pa.Table.from_pylist(rows, schema=schema)])


def oil(ask: Ask) -> Table:
    """The batches of used oil with their tests; they belong to no single furnace."""
    tests = ("arsenic", "cadmium", "chromium", "lead", "halogens")
    schema = pa.schema([
        ("received", pa.string()), ("source", pa.string()), ("kind", pa.string()), ("volume_l", pa.float64()),
        *((f"{name}_ppm", pa.float64()) for name in tests), ("flash_C", pa.float64()), ("analysis", pa.string()),
    ])  # fmt: skip
    rows = [
        {
            "received": batch.received.isoformat(), "source": batch.source, "kind": batch.kind,
            "volume_l": batch.volume_l, "flash_C": batch.flash_C, "analysis": batch.analysis,
            **{f"{name}_ppm": batch.tests_ppm.get(name) for name in tests},
        }
        for batch in oil_log.load(oil_log.path_of(ask.folder))
    ]  # fmt: skip
    return Table(schema, [pa.Table.from_pylist(rows, schema=schema)])


def predictions(ask: Ask) -> Table:
    """What was written down before each cleaning and what came of it, hit or miss."""
    schema = pa.schema([
        ("furnace", pa.string()), ("written", TIME), ("predicted_K", pa.float64()), ("predicted_sd_K", pa.float64()),
        ("predicted_ash_kg", pa.float64()), ("cleaned", TIME), ("measured_K", pa.float64()),
        ("measured_se_K", pa.float64()), ("ash_kg", pa.float64()), ("digest", pa.string()),
    ])  # fmt: skip
    rows = []
    for name in ask.furnaces:
        for row in ledger.load(ledger.path_of(ask.folder, name)).rows:
            was, came = row.prediction, row.outcome
            rows.append({
                "furnace": name, "written": was.written_ms, "predicted_K": was.drop_K, "predicted_sd_K": was.sd_K,
                "predicted_ash_kg": was.ash_kg, "cleaned": came and came.cleaned_ms, "measured_K": came and came.drop_K,
                "measured_se_K": came and came.se_K, "ash_kg": came and came.ash_kg, "digest": row.digest,
            })  # fmt: skip
    return Table(schema, [pa.Table.from_pylist(rows, schema=schema)])


def steps(ask: Ask) -> Table:
    """The commissioning record: each step with its values and what came of it, as JSON."""
    schema = pa.schema([(name, pa.string()) for name in ("furnace", "step", "channel", "on", "by", "values", "result")])
    rows = []
    for name in ask.furnaces:
        record = commissioning.load(ask.folder, name)
        for entry in record.entries if record else ():
            rows.append({
                "furnace": name, "step": entry.step, "channel": entry.channel, "on": entry.on.isoformat(),
                "by": entry.by, "values": msgspec.json.encode(entry.values).decode(),
                "result": msgspec.json.encode(entry.result).decode(),
            })  # fmt: skip
    return Table(schema, [pa.Table.from_pylist(rows, schema=schema)])


def messages(ask: Ask) -> Table:
    """What was said to whom by which way, whether it went out, and who confirmed that it came; digests too."""
    schema = pa.schema([
        ("made", TIME), ("contact", pa.string()), ("way", pa.int64()), ("what", pa.string()), ("furnace", pa.string()),
        ("alarm", pa.string()), ("title", pa.string()), ("body", pa.string()), ("state", pa.string()),
        ("tries", pa.int64()), ("done", TIME), ("error", pa.string()), ("confirmed_by", pa.string()),
        ("confirmed", TIME),
    ])  # fmt: skip
    rows = [
        {
            "made": m.made_ms, "contact": m.contact, "way": m.way, "what": m.what, "furnace": m.key and m.key[0],
            "alarm": m.key and m.key[1], "title": m.title, "body": m.body, "state": m.state, "tries": m.tries,
            "done": m.done_ms, "error": m.error, "confirmed_by": m.confirmed_by, "confirmed": m.confirmed_ms,
        }
        for m in reversed(ask.store.messages(ask.start_ms, ask.end_ms))
        if m.key is None or m.key[0] in ask.furnaces
    ]  # fmt: skip
    return Table(schema, [pa.Table.from_pylist(rows, schema=schema)])


TABLES: dict[str, Callable[[Ask], Table]] = {
    "readings": readings,
    "events": events,
    "alarms": alarms,
    "log": log,
    "searches": searches,
    "messages": messages,
    "oil": oil,
    "predictions": predictions,
    "commissioning": steps,
}
