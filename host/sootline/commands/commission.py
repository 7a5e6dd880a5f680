"""Commission a furnace: walk through its checks, take readings live, keep the record; list what waits and is due."""

import argparse
import json
import time
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np

from sootline import walkthrough as walk
from sootline import wording
from sootline.channels import CHANNELS
from sootline.commands import _arguments
from sootline.commissioning import record as rec
from sootline.commissioning.evaluate import Value
from sootline.commissioning.record import Record
from sootline.commissioning.steps import Field
from sootline.errors import SootlineError, UserError, no_furnace
from sootline.files import commissioning, profiles
from sootline.now import Reading
from sootline.store import Store
from sootline.units import System, age
from sootline.walkthrough import Item
from sootline.wire.topics import FURNACE_ID

DAY_MS = 86_400_000
KEYS = "Enter: do it   s: skip   q: leave"


class _Leave(Exception):
    """The person goes; what was accepted is kept."""


class _Skip(Exception):
    """Not this step now."""


def main(argv: Sequence[str]) -> int:
    options = _parser().parse_args(argv)
    furnace: str = options.furnace
    if not FURNACE_ID.fullmatch(furnace):
        raise UserError(f"'{furnace}' is no name of a furnace; use small letters, digits and hyphens")
    try:
        with Store.open(options.data, read_only=True) as store:
            _known(store, options.data, furnace)
            record = commissioning.load(options.data, furnace) or Record(furnace)
            fitted = _fitted(store, furnace)
            found = walk.items(record, fitted, date.today())
            if options.json:
                print(json.dumps(_summary(record, found, fitted), indent=1))
            elif options.list:
                print("\n".join(_listing(record, found, fitted)))
            elif options.sheet:
                print("\n".join(walk.sheet(record, found, date.today(), options.units)))
            else:
                chosen = walk.find(found, options.step) if options.step else _still(found)
                _Walk(options.data, store, furnace, options.units).through(chosen)
                print("\n".join(_closing(options.data, furnace, fitted)))
    except UserError:
        raise
    except SootlineError as error:
        raise UserError(str(error)) from None
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("sootline commission", description=__doc__)
    parser.add_argument("furnace", metavar="FURNACE")
    _arguments.data(parser)
    parser.add_argument("--step", metavar="ID", help="only this step, such as senses, or ice_point/stack")
    parser.add_argument("--list", action="store_true", help="how far it is, what waits, what is due again")
    parser.add_argument("--sheet", action="store_true", help="the sheet to print, as Markdown")
    parser.add_argument("--json", action="store_true", help="what --list tells, for programs")
    parser.add_argument("--units", choices=("si", "us"), default="si")
    return parser


def _known(store: Store, data: Path, furnace: str) -> None:
    known = sorted({*store.furnaces(), *profiles.load_folder(data / "profiles")})
    if furnace not in known and not commissioning.path(data, furnace).exists():
        raise no_furnace(furnace, data, known)


def _fitted(store: Store, furnace: str) -> frozenset[str]:
    """Every channel of which the board ever sent a reading."""
    extent = store.extent(furnace)
    if extent is None:
        return frozenset()
    start_ms, end_ms = extent[0], extent[1] + 1
    return frozenset(c for c in CHANNELS if len(store.overview(furnace, c, start_ms, end_ms, 1)[0]))


def _newest(store: Store, furnace: str, channel: str, now_ms: int) -> Reading | None:
    """The last word on a channel within a day: a reading, or the fault after it."""
    rows = store.read(furnace, now_ms - DAY_MS, now_ms + DAY_MS, {channel})
    column = rows.values.get(channel, np.empty(0))
    given = np.flatnonzero(~np.isnan(column))
    found = Reading(int(rows.t_ms[given[-1]]), float(column[given[-1]])) if len(given) else None
    for fault in rows.faults:
        if fault.channel == channel and (found is None or fault.t_ms > found.t_ms):
            found = Reading(fault.t_ms, None, fault.kind)
    return found


def _still(found: Sequence[Item]) -> list[Item]:
    return [item for item in found if item.state != "done"]


class _Walk:
    """Asks, evaluates and keeps, one step after the other."""

    def __init__(self, data: Path, store: Store, furnace: str, system: System) -> None:
        self._data = data
        self._store = store
        self._furnace = furnace
        self._system = system
        self._by = ""

    def through(self, chosen: Sequence[Item]) -> None:
        print(f"{wording.furnace_name(self._furnace)}: {len(chosen)} to do. {walk.SUPERVISION}")
        try:
            for item in chosen:
                self._item(item)
        except _Leave:
            print("Left. What was accepted is kept; come back with the same command.")

    def _item(self, item: Item) -> None:
        print(f"\n{item.title}   [{item.key}]  {item.says}")
        print(f"Caution: {walk.caution(item.step)}")
        print(item.step.how)
        given: dict[str, Value] = {}
        try:
            while True:
                self._ask(f"{KEYS} > ")
                if self._attempt(item, given):
                    return
        except _Skip:
            print("skipped")

    def _attempt(self, item: Item, given: dict[str, Value]) -> bool:
        """Ask for all values of a step and evaluate it; `given` keeps them for the next attempt."""
        for field in item.step.fields:
            given[field.name] = self._value(item, field, given.get(field.name))
        known = "" if item.step.qualified else self._by
        by = self._ask(f"{item.by_whom}{f' (Enter: {known})' if known else ''}: ") or known
        if not item.step.qualified:
            self._by = by
        try:
            record = commissioning.add(self._data, self._furnace, item.step.key, date.today(), by, given, item.channel)
        except UserError as error:
            print(f"refused: {error}")
            return False
        print("accepted")
        for line in walk.result_words(record.entries[-1].result, self._system):
            print(f"  {line}")
        return True

    def _value(self, item: Item, field: Field, before: Value | None) -> Value:
        unit = walk.unit_label(field.unit, self._system)
        words = f"{field.ask} [{unit}]" if unit else field.ask
        if field.choices:
            words += f" ({', '.join(field.choices)})"
        if field.kind == "numbers":
            words += ", spaces between"
        if field.live:
            words += f" (Enter: take it from {item.channel} now)"
        elif before is not None:
            words += f" (Enter: {walk.value_words(field, before, self._system)})"
        while True:
            text = self._ask(f"{words}: ")
            if not text and before is not None and not field.live:
                return before
            try:
                return self._take(item, field) if field.live and not text else walk.parse(field, text, self._system)
            except UserError as error:
                print(f"  {error}")

    def _take(self, item: Item, field: Field) -> float:
        now_ms = time.time_ns() // 1_000_000
        reading = _newest(self._store, self._furnace, item.channel, now_ms)
        value = walk.taken(reading, item.channel, now_ms)
        assert reading is not None
        print(f"  {walk.shown(value, field.unit, self._system)}, {age((now_ms - reading.t_ms) / 1000)}")
        return value

    def _ask(self, words: str) -> str:
        try:
            text = input(words).strip()
        except EOFError:
            print()
            raise _Leave from None
        if text == "q":
            raise _Leave
        if text == "s":
            raise _Skip
        return text


def _listing(record: Record, found: Sequence[Item], fitted: frozenset[str]) -> list[str]:
    width = max(len(item.title) for item in found)
    marks = {"open": " ", "done": "x", "due": "!"}
    lines = [f"[{marks[item.state]}] {item.title:<{width}}  {item.key:<24} {item.says}" for item in found]
    if not record.entries:
        return [*lines, "", "Nothing is recorded yet; verdicts wait for no step until the first is."]
    waiting = walk.waiting_lines(record, fitted)
    due = walk.due_lines(record, date.today())
    lines += ["", "Verdicts that wait:", *(f"  {line}" for line in waiting or ["none"])]
    return [*lines, "", "Yearly repeats that are due:", *(f"  {line}" for line in due or ["none"])]


def _closing(data: Path, furnace: str, fitted: frozenset[str]) -> list[str]:
    record = commissioning.load(data, furnace)
    if record is None:
        return []
    found = walk.items(record, fitted, date.today())
    still, waiting = len(_still(found)), len(rec.waiting(record, fitted))
    return [f"\n{len(found) - still} of {len(found)} done; {waiting} verdicts wait. See --list and --sheet."]


def _summary(record: Record, found: Sequence[Item], fitted: frozenset[str]) -> dict[str, object]:
    def row(item: Item) -> dict[str, object]:
        entry = item.entry
        return {
            "step": item.step.key,
            "channel": item.channel or None,
            "state": item.state,
            "on": entry and entry.on.isoformat(),
            "by": entry and entry.by,
            "due_since": item.due and item.due.isoformat(),
        }

    waiting = rec.waiting(record, fitted) if record.entries else {}
    needs = {verdict: [{"step": n.step, "channel": n.channel or None} for n in its] for verdict, its in waiting.items()}
    return {"furnace": record.furnace, "steps": [row(item) for item in found], "waiting": needs}
