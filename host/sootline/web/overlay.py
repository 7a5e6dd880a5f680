"""Two firings one over another, both from the moment the flame was there."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from sootline.events import Event
from sootline.series import Floats
from sootline.units import System, clock, quantity_of, unit_of
from sootline.web.chart import Overview
from sootline.wording import channel_label

CHANNELS_SHOWN = ("stack", "nozzle", "tank")
BEFORE_MS = 3 * 60_000
AFTER_MS = 15 * 60_000
COLUMNS = 300


def overlay(overview: Overview, firings: Sequence[Event], now_ms: int, system: System) -> dict[str, Any]:
    """Lines of each firing for each channel, ready for JSON.

    t: minutes since the flame, the middle of each column; a line's value is the middle of the lowest and the highest
    reading in the column [unit shown], null where it holds none; channels without a reading are left out
    """
    span_ms = BEFORE_MS + AFTER_MS + max(firing.end_ms - firing.start_ms for firing in firings)
    minutes = ((np.arange(COLUMNS) + 0.5) * span_ms / COLUMNS - BEFORE_MS) / 60_000
    panels = []
    for channel in CHANNELS_SHOWN:
        lines = [_line(overview, firing, channel, span_ms, system) for firing in firings]
        if any(value is not None for line in lines for value in line):
            unit = unit_of(quantity_of(channel), system).label
            panels.append({"label": channel_label(channel), "unit": unit, "lines": lines})
    names = [clock(firing.start_ms, now_ms) for firing in firings]
    return {"t": np.round(minutes, 2).tolist(), "names": names, "panels": panels}


def _line(overview: Overview, firing: Event, channel: str, span_ms: int, system: System) -> list[float | None]:
    start_ms = firing.start_ms - BEFORE_MS
    t_ms, low, high = overview(firing.furnace, channel, start_ms, start_ms + span_ms, COLUMNS)
    line: list[float | None] = [None] * COLUMNS
    unit = unit_of(quantity_of(channel), system)
    middle: Floats = np.round((low + high) / 2 * unit.scale + unit.offset, 1)
    edges = start_ms + np.arange(COLUMNS, dtype=np.int64) * span_ms // COLUMNS
    for i, value in zip(np.searchsorted(edges, t_ms).tolist(), middle.tolist(), strict=True):
        line[i] = value
    return line
