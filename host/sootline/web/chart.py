"""Chart data: few points, no spike lost."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from sootline.alarms import Alarm
from sootline.channels import CHANNELS
from sootline.profile import LogEntry
from sootline.series import Floats, Times
from sootline.units import NO_READING, System, channel_value, quantity_of, unit_of
from sootline.wording import LOG_WORDS, PRIORITY_WORDS, alarm_title, channel_label

CHANNELS_SHOWN = ("stack", "tank", "nozzle", "pump")
# lowest and highest of each channel in each column, all channels together
MOST_POINTS = 4000
MOST_COLUMNS = MOST_POINTS // (2 * len(CHANNELS_SHOWN))
FEWEST_COLUMNS = 20
MOST_MARKS = 100

# columns wider than this tell the share of the time in which the pump ran: it runs for seconds, in every one of them
SHARE_FROM_MS = 300_000
RUN_MS = 3_600_000  # no pump run that began longer ago than this reaches into a chart

Spans = Callable[[str, str, int, int], list[tuple[int, int]]]
Overview = Callable[[str, str, int, int, int], tuple[Times, Floats, Floats]]


def chart(
    overview: Overview, spans: Spans, furnace: str, start_ms: int, end_ms: int, columns: int, system: System
) -> dict[str, Any]:
    """A chart of `furnace` over [start_ms, end_ms), ready for JSON.

    spans: begin and end of the events of a furnace and kind, for the share of the time in which the pump ran
    columns: how many the browser can draw; never more than MOST_COLUMNS
    t: where each column begins [s]; of each channel the lowest and the highest reading in the column [unit shown],
    null where it holds none
    """
    columns = max(FEWEST_COLUMNS, min(columns, MOST_COLUMNS))
    t_ms = start_ms + np.arange(columns, dtype=np.int64) * (end_ms - start_ms) // columns
    series = []
    for name in CHANNELS_SHOWN:
        times, low, high = overview(furnace, name, start_ms, end_ms, columns)
        place = np.searchsorted(t_ms, times)
        state = CHANNELS[name].kind == "state"
        if name == "pump" and t_ms[1] - t_ms[0] > SHARE_FROM_MS:
            runs = spans(furnace, "refill", start_ms - RUN_MS, end_ms)
            series.append(_pump_share(np.append(t_ms, end_ms), place, runs))
            continue
        series.append(
            {
                "channel": name,
                "label": channel_label(name),
                "unit": unit_of(quantity_of(name), system).label,
                "low": None if state else _numbers(low, place, columns, name, system),
                "high": _numbers(high, place, columns, name, system),
            }
        )
    return {"start": start_ms / 1000, "end": end_ms / 1000, "t": (t_ms / 1000).tolist(), "series": series}


def _pump_share(edges_ms: Times, place: Times, runs: list[tuple[int, int]]) -> dict[str, Any]:
    """The share of each column in which a refill ran [%]; null where the pump was not read."""
    begin, end = np.array(runs, dtype=np.float64).reshape(-1, 2).T
    on_ms = np.concatenate([[0.0], np.cumsum(end - begin)])
    turns = np.column_stack([begin, end]).ravel()
    total = np.interp(edges_ms, turns, np.repeat(on_ms, 2)[1:-1]) if len(runs) else np.zeros(len(edges_ms))
    share = np.round(100.0 * np.diff(total) / np.diff(edges_ms), 2)
    row: list[float | None] = [None] * len(share)
    for i in place.tolist():
        row[i] = float(share[i])
    label = f"{channel_label('pump')}, share of the time"
    return {"channel": "pump", "label": label, "unit": "%", "low": None, "high": row}


def _numbers(values: Floats, place: Times, columns: int, channel: str, system: System) -> list[float | None]:
    """`values` in the unit shown, each at its column; one decimal is finer than a pixel."""
    row: list[float | None] = [None] * columns
    unit = unit_of(quantity_of(channel), system)
    for i, value in zip(place.tolist(), np.round(values * unit.scale + unit.offset, 1).tolist(), strict=True):
        row[i] = value
    return row


def marks(alarms: Iterable[Alarm], log: Iterable[LogEntry], start_ms: int, end_ms: int) -> list[dict[str, Any]]:
    """What went wrong and what was done in [start_ms, end_ms), to be drawn as lines; the newest MOST_MARKS."""
    found = [
        (alarm.raised_ms, PRIORITY_WORDS[alarm.priority].look, alarm_title(alarm.alarm))
        for alarm in alarms
        if alarm.state != "suppressed" and alarm.priority != "low"
    ]
    found += [(entry.at_ms, "log", LOG_WORDS[entry.kind]) for entry in log]
    within = sorted(mark for mark in found if start_ms <= mark[0] < end_ms)[-MOST_MARKS:]
    return [{"t": t_ms / 1000, "look": look, "text": text} for t_ms, look, text in within]


@dataclass(frozen=True, slots=True)
class TableRow:
    label: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """The chart in numbers: lowest to highest of each channel by span of time."""

    series: tuple[str, ...]
    rows: tuple[TableRow, ...]


def table(
    overview: Overview, furnace: str, start_ms: int, end_ms: int, rows: int, system: System, label: Callable[[int], str]
) -> Table:
    """The chart as `rows` spans of time, newest first; label: the words for the start of a span [ms]."""
    edges = [start_ms + i * (end_ms - start_ms) // rows for i in range(rows)]
    cells: dict[int, dict[str, str]] = {edge: {} for edge in edges}
    for name in CHANNELS_SHOWN:
        for t_ms, low, high in zip(*overview(furnace, name, start_ms, end_ms, rows), strict=True):
            cells[int(t_ms)][name] = _span(name, float(low), float(high), system)
    made = tuple(
        TableRow(label(edge), tuple(cells[edge].get(name, NO_READING) for name in CHANNELS_SHOWN))
        for edge in reversed(edges)
    )
    return Table(tuple(channel_label(name) for name in CHANNELS_SHOWN), made)


def _span(channel: str, low: float, high: float, system: System) -> str:
    if CHANNELS[channel].kind == "state":
        return "ran" if high > 0.5 else "off"
    least, most = channel_value(channel, low, system), channel_value(channel, high, system)
    return str(most) if least == most else f"{least.text} to {most}"
