"""Commissioning as people walk through it: what is still to do, values as typed and shown, the sheet.

Terminal and page share this; values are in the units the steps name, or in US customary ones at the edge.
"""

import math
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal, cast

from sootline import units, wording
from sootline.commissioning import record as rec
from sootline.commissioning.evaluate import Result, Value
from sootline.commissioning.record import Entry, Record
from sootline.commissioning.steps import BY_KEY, STEPS, Field, Need, Step, unlocks
from sootline.errors import UserError
from sootline.now import Reading
from sootline.units import Shown, System, Unit

FRESH_S = 180.0  # three reports of an idle board at its usual 60 s
AHEAD_S = 60.0  # a board's clock may be that much before the host's
TRADE_PROMPT = "technician or electrician who did it"
QUALIFIED = "Qualified people only: "
SUPERVISION = "Local codes, the maker's instructions and licensed practice come first. sootline only watches."

# unit of a field -> US customary unit: shown = value * scale + offset
_US: Mapping[str, Unit] = {
    "°C": Unit("°F", 1.8, 32.0, 2),
    "K": Unit("°F", 1.8, 0.0, 2),
    "l": Unit("gal", 1 / units.GALLON_L, 0.0, 3),
    "l/h": Unit("gal/h", 1 / units.GALLON_L, 0.0, 3),
    "kPa": Unit("psi", 1e3 / units.PSI_PA, 0.0, 2),
    "hPa": Unit("in Hg", 1e2 / units.INCH_MERCURY_PA, 0.0, 2),
    "Pa": Unit("in w.c.", 1 / units.INCH_WATER_PA, 0.0, 3),
    "mm": Unit("in", 1e-3 / units.INCH_M, 0.0, 2),
}
_SI_LABELS = {"l": "L", "l/h": "L/h"}

# what a result says: words and unit of each number
_RESULTS: Mapping[str, tuple[str, str]] = {
    "offset_K": ("offset", "K"),
    "slope": ("slope", ""),
    "boiling_point_C": ("water boils here at", "°C"),
    "difference_K": ("difference from the reference", "K"),
    "probe_K": ("first probe less second", "K"),
    "channel_K": ("first channel less second", "K"),
    "oil_C": ("at an oil temperature of", "°C"),
    "l_per_s": ("delivery", "l/s"),
    "uncertainty": ("uncertain by", "%"),
    "volume_l": ("differential", "l"),
    "spread": ("runs differ by", "%"),
    "nozzle_C": ("at a nozzle temperature of", "°C"),
    "net_K": ("clean net stack temperature", "K"),
    "spread_K": ("scatter", "K"),
    "least_band_K": ("least band an alarm may use", "K"),
}


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to do: a step, for one channel where it is repeated. `due`: since when a yearly repeat is due."""

    step: Step
    channel: str
    entry: Entry | None
    due: date | None

    @property
    def key(self) -> str:
        return f"{self.step.key}/{self.channel}" if self.channel else self.step.key

    @property
    def title(self) -> str:
        return _title(self.step, self.channel)

    @property
    def state(self) -> Literal["open", "done", "due"]:
        return "open" if self.entry is None else "due" if self.due else "done"

    @property
    def says(self) -> str:
        """`done 2026-01-10 by Maud`, `due again since 2027-01-10`, `to do`."""
        if self.entry is None:
            return "to do"
        done = f"done {self.entry.on.isoformat()} by {self.entry.by}"
        return f"{done}; due again since {self.due.isoformat()}" if self.due else done

    @property
    def unlocks(self) -> tuple[str, ...]:
        """Titles of the verdicts that wait for the step."""
        return tuple(wording.alarm_title(verdict) for verdict in unlocks(self.step.key))

    @property
    def by_whom(self) -> str:
        return TRADE_PROMPT if self.step.qualified else "your name"


def items(record: Record, fitted: Collection[str], today: date) -> tuple[Item, ...]:
    """Everything to do at a furnace in order; a channel that is not fitted needs no step, unless none is known yet."""
    since = {(due.step, due.channel): due.since for due in rec.due(record, today)}
    return tuple(
        Item(step, channel, record.latest(step.key, channel), since.get((step.key, channel)))
        for step in STEPS
        for channel in step.channels or ("",)
        if not channel or not fitted or channel in fitted or record.latest(step.key, channel)
    )


def find(found: Iterable[Item], key: str) -> list[Item]:
    """The items of a step, or the one of `step/channel`. Raises UserError where there is none."""
    given = list(found)
    step, _, channel = key.partition("/")
    chosen = [item for item in given if item.step.key == step and channel in ("", item.channel)]
    if not chosen:
        known = ", ".join(dict.fromkeys(item.step.key for item in given))
        if step in BY_KEY:
            known = ", ".join(item.key for item in given if item.step.key == step) or "none for the sensors fitted"
        raise UserError(f"there is no step '{key}' here; there are {known}")
    return chosen


def first_open(found: Iterable[Item]) -> Item | None:
    """What comes next: the first that is not done, else the first that is due again."""
    given = list(found)
    still = [item for item in given if item.state == "open"] or [item for item in given if item.state == "due"]
    return still[0] if still else None


def waiting_words(needs: Iterable[Need]) -> str:
    """The steps a verdict waits for, as what it needs."""
    titles = [_title(BY_KEY[need.step], need.channel) for need in needs]
    more = f" and {len(titles) - 1} more" if len(titles) > 1 else ""
    return f"the commissioning step {titles[0]}{more}"


def _title(step: Step, channel: str) -> str:
    return f"{step.title} ({wording.channel_label(channel).lower()})" if channel else step.title


# values as people type and read them


def unit_label(unit: str, system: System) -> str:
    """The label of a field's unit as shown."""
    return _US[unit].label if system == "us" and unit in _US else _SI_LABELS.get(unit, unit)


def parse(field: Field, text: str, system: System) -> Value:
    """What was typed, in the field's own unit; several numbers are kept apart by spaces. Raises UserError."""
    text = " ".join(text.split())
    if not text:
        raise UserError(f"{field.ask}: nothing was given")
    if field.kind in ("text", "choice"):
        if field.kind == "choice" and text not in field.choices:
            raise UserError(f"{field.ask}: choose one of {', '.join(field.choices)}")
        return text
    numbers = [_number(field, word, system) for word in text.replace(";", " ").split()]
    if field.kind == "numbers":
        return numbers
    if len(numbers) != 1:
        raise UserError(f"{field.ask}: give one number, not {len(numbers)}")
    return numbers[0]


def _number(field: Field, word: str, system: System) -> float:
    try:
        value = float(word.strip(",").replace(",", ".").replace(units.MINUS, "-"))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        apart = "numbers with spaces between" if field.kind == "numbers" else "a number"
        raise UserError(f"{field.ask}: '{word}' is no number; give {apart}")
    if system == "us" and field.unit in _US:
        unit = _US[field.unit]
        value = round((value - unit.offset) / unit.scale, 6)
    return value


def shown(value: float, unit: str, system: System) -> Shown:
    """A value in a field's unit as text and label: two decimals, more for small ones, none that say nothing."""
    scaled, digits = value, 2 if abs(value) >= 0.1 or value == 0 else 4
    if system == "us" and unit in _US:
        scaled, digits = value * _US[unit].scale + _US[unit].offset, _US[unit].digits
    text = f"{scaled:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return Shown("0" if text == "-0" else text.replace("-", units.MINUS), unit_label(unit, system))


def value_words(field: Field, value: Value, system: System) -> str:
    """A noted value as text with its unit."""
    if isinstance(value, str):
        return value
    numbers = value if isinstance(value, list) else [value]
    texts = [shown(number, field.unit, system) for number in numbers]
    return f"{' '.join(text.text for text in texts)} {texts[0].unit}".strip()


def taken(reading: Reading | None, channel: str, now_ms: int) -> float:
    """The value of a channel's newest reading. Raises UserError, one line, when there is none, or it is bad or old."""
    name = wording.channel_label(channel)
    if reading is None:
        raise UserError(f"{name}: no reading has come in the last day; is the probe connected and the board online?")
    age_s = (now_ms - reading.t_ms) / 1000
    if not -AHEAD_S <= age_s <= FRESH_S:
        old = f"is {units.age(age_s)}" if age_s > 0 else "lies ahead of the host's clock"
        raise UserError(f"{name}: the newest reading {old}; wait for a new one, or see that board and service run")
    if reading.value is None or not math.isfinite(reading.value):
        fault = wording.FAULT_WORDS.get(reading.fault or "", "no number")
        raise UserError(f"{name}: the board reports '{fault}'; mend it first")
    return reading.value


def result_words(result: Result, system: System) -> list[str]:
    """What came of a step, a line each."""
    lines = []
    for key, value in result.items():
        if key == "may_be_corrected":
            lines.append("small enough to be corrected" if value else "over 5 K: look into it, never correct it away")
        elif key == "points":
            points = cast("list[list[float]]", value)
            lines += [f"{shown(air_Pa / 1e3, 'kPa', system)}: {shown(flow, 'l/h', system)}" for air_Pa, flow in points]
        else:
            words, unit = _RESULTS[key]
            lines.append(f"{words} {_result(cast(float, value), unit, system)}")
    return lines


def _result(value: float, unit: str, system: System) -> str:
    if unit == "l/s":
        return str(shown(value * 3600, "l/h", system))
    if unit == "%":
        return f"{value:.1%}"
    return str(shown(value, unit, system)) if unit else f"{value:.3f}"


# lists and the sheet


def waiting_lines(record: Record, fitted: Collection[str]) -> list[str]:
    """Each verdict that waits, and for what."""
    return [
        f"{wording.alarm_title(verdict)}: needs {waiting_words(needs)}"
        for verdict, needs in rec.waiting(record, fitted).items()
    ]


def due_lines(record: Record, today: date) -> list[str]:
    """The yearly repeats that are due."""
    return [
        f"{_title(BY_KEY[due.step], due.channel)}: due again since {due.since.isoformat()}"
        for due in rec.due(record, today)
    ]


def sheet(record: Record, found: Iterable[Item], today: date, system: System) -> Iterator[str]:
    """The sheet as Markdown: what was done with its values, and room to write for what was not."""
    yield f"# Commissioning: {wording.furnace_name(record.furnace)} ({record.furnace})"
    yield ""
    yield f"Printed {today.isoformat()}. {SUPERVISION}"
    last = ""
    for item in found:
        if item.step.key != last:
            last = item.step.key
            number = STEPS.index(item.step) + 1
            yield from ("", f"## {number}. {item.step.title}", "", item.step.how, "")
            yield f"**Caution:** {caution(item.step)}"
        yield from ("", f"- [{' ' if item.entry is None or item.due else 'x'}] {item.title}: {item.says}")
        for field in item.step.fields:
            unit = unit_label(field.unit, system)
            blank = f"______ {unit}".strip() + (f" ({', '.join(field.choices)})" if field.choices else "")
            value = blank if item.entry is None else value_words(field, item.entry.values[field.name], system)
            yield f"  - {field.ask}: {value}"
        if item.entry is None:
            yield "  - by ____________________  date ____________"
        else:
            yield from (f"  - result: {line}" for line in result_words(item.entry.result, system))


def caution(step: Step) -> str:
    """The step's caution, and for whom the step is."""
    return f"{QUALIFIED}{step.caution}" if step.qualified and "only" not in step.caution else step.caution
