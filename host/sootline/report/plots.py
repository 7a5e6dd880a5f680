"""Plots over time as SVG text: readable in black and white, on paper and on a phone, without a script.

Ink is `currentColor`, so a plot follows the page's colours; every look stands in the elements themselves, for what
makes a PDF reads no style sheet inside a plot. What a series is shows in its shape, never in colour:
dots, a line, a band, bars or a broken line for a limit. Numbers are in the unit that is shown; NaN is a gap.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from html import escape
from math import ceil, floor, isfinite, log10
from typing import Literal

import numpy as np

from sootline.series import Floats

DAY_MS = 86_400_000
MARGIN_LEFT, MARGIN_RIGHT, AXIS, TITLE = 46, 12, 22, 20
FLAG_ROW = 15
LETTER = 12  # type size
CHARACTER = 6.6  # width of a letter at the type size used, for labels that must not run into each other

_INK = 'stroke="currentColor" fill="none"'
_RULE = 'stroke="#bbb"'
_LOOKS: dict[str, str] = {
    "dots": f'{_INK} stroke-width="1.1"',
    "bars": 'fill="currentColor" fill-opacity="0.7"',
    "band": 'fill="currentColor" fill-opacity="0.15"',
    "line": f'{_INK} stroke-width="2"',
    "dashed": f'{_INK} stroke-width="2" stroke-dasharray="5 4"',
    "limit": f'{_INK} stroke-width="1.4" stroke-dasharray="12 5"',
    "flag": f'{_INK} stroke-opacity="0.6" stroke-dasharray="1.5 2.5"',
}
Mask = np.ndarray[tuple[int], np.dtype[np.bool_]]
Shape = Literal["dots", "line", "dashed", "band", "bars", "limit"]


@dataclass(frozen=True, slots=True)
class Series:
    """What is drawn. y: line, dots, bars or the middle; low, high: the edges of a band; width_ms: of a bar."""

    name: str
    shape: Shape
    t_ms: Floats
    y: Floats
    high: Floats | None = None
    width_ms: float = DAY_MS


@dataclass(frozen=True, slots=True)
class Panel:
    """One set of series on one axis of numbers. height [px]; from_zero: the axis begins at zero."""

    title: str
    series: tuple[Series, ...]
    height: int = 150
    from_zero: bool = False


@dataclass(frozen=True, slots=True)
class Flag:
    """Something that was done, at a moment: a short word at the top and a line across all panels."""

    t_ms: float
    word: str


def plot(
    panels: Sequence[Panel],
    flags: Iterable[Flag],
    start_ms: float,
    end_ms: float,
    zone: tzinfo | None,
    width: int,
    label: str,
) -> str:
    """The panels under each other on one axis of time, as an SVG element.

    label: what a screen reader says instead; zone: of the owner's clock, for the days; None: of the machine
    """
    scale = _Scale(start_ms, end_ms, width)
    shown = sorted((flag for flag in flags if start_ms <= flag.t_ms <= end_ms), key=lambda flag: flag.t_ms)
    placed, rows = _placed(shown, scale)
    top = rows * FLAG_ROW + (4 if rows else 0)
    parts: list[str] = []
    tops = []
    across = [scale.x(flag.t_ms) for flag in shown]
    for panel in panels:
        parts += _panel(panel, scale, top + TITLE, across)
        tops.append(top + TITLE)
        top += TITLE + panel.height + 8
    bottom = top - 8
    for flag, row in placed:
        x = scale.x(flag.t_ms)
        parts.append(f'<line {_LOOKS["flag"]} x1="{x:.1f}" x2="{x:.1f}" y1="{row * FLAG_ROW + 14}" y2="{bottom}"/>')
        anchor = "end" if x > width - MARGIN_RIGHT - len(flag.word) * CHARACTER else "start"
        parts.append(
            f'<text x="{x + (3 if anchor == "start" else -3):.1f}" y="{row * FLAG_ROW + 12}" text-anchor="{anchor}">'
            f"{escape(flag.word)}</text>"
        )
    parts += _days(scale, zone, bottom, tops[0] if tops else 0)
    return (
        f'<svg class="plot" viewBox="0 0 {width} {bottom + AXIS}" role="img" aria-label="{escape(label)}" '
        'font-family="sans-serif" font-size="12" fill="currentColor">'
        f"{''.join(parts)}</svg>"
    )


@dataclass(frozen=True, slots=True)
class _Scale:
    start_ms: float
    end_ms: float
    width: int

    @property
    def right(self) -> float:
        return self.width - MARGIN_RIGHT

    def x(self, t_ms: float) -> float:
        share = (t_ms - self.start_ms) / (self.end_ms - self.start_ms)
        return MARGIN_LEFT + min(max(share, 0.0), 1.0) * (self.right - MARGIN_LEFT)


def _placed(flags: Sequence[Flag], scale: _Scale) -> tuple[list[tuple[Flag, int]], int]:
    """Each flag on the first row on which its word does not run into another; how many rows there are."""
    ends: list[float] = []
    placed = []
    for flag in flags:
        length = len(flag.word) * CHARACTER + 6
        x = scale.x(flag.t_ms)
        begin = x - length if x > scale.right - length else x
        row = next((i for i, end in enumerate(ends) if end <= begin), len(ends))
        if row == len(ends):
            ends.append(0.0)
        ends[row] = begin + length
        placed.append((flag, row))
    return placed, len(ends)


def _panel(panel: Panel, scale: _Scale, top: int, across: Sequence[float]) -> Iterator[str]:
    """across: where lines run through all panels [px]."""
    low, high = _extent(panel)
    ticks = nice_ticks(low, high, 3 if panel.height < 110 else 5)
    low, high = min(low, ticks[0]), max(high, ticks[-1])
    bottom = top + panel.height

    def y(value: float) -> float:
        return bottom - (value - low) / (high - low) * panel.height

    yield f'<text font-weight="600" x="{MARGIN_LEFT}" y="{top - 6}">{escape(panel.title)}</text>'
    for tick in ticks:
        at = y(tick)
        yield f'<line class="rule" {_RULE} x1="{MARGIN_LEFT}" x2="{scale.right}" y1="{at:.1f}" y2="{at:.1f}"/>'
        text = f"{tick:g}".replace("-", "−")
        yield f'<text x="{MARGIN_LEFT - 5}" y="{at + 4:.1f}" text-anchor="end">{text}</text>'
    for series in panel.series:
        yield from _series(series, scale, y, bottom)
    taken = [point for series in panel.series for point in _taken(series, scale, y)]
    for series in panel.series:
        points = _points(series, scale, y) if series.shape == "limit" else []
        if points:
            end, base = _label(series.name, points[-1][1], taken, across, scale)
            yield f'<text x="{end:.1f}" y="{base:.1f}" text-anchor="end">{escape(series.name)}</text>'
            begin = end - len(series.name) * CHARACTER
            taken += [(x, base - LETTER / 2) for x in np.arange(begin, end, 4.0)]


def _inside(series: Series, scale: _Scale) -> Mask:
    known: Mask = np.isfinite(series.y) & (series.t_ms >= scale.start_ms) & (series.t_ms <= scale.end_ms)
    return known


def _points(
    series: Series, scale: _Scale, y: Callable[[float], float], values: Floats | None = None
) -> list[tuple[float, float]]:
    """Where the values of a series lie [px]: its own, or those given for the same moments."""
    inside = _inside(series, scale)
    of = series.y if values is None else values
    return [(scale.x(t), y(v)) for t, v in zip(series.t_ms[inside], of[inside], strict=True)]


def _taken(series: Series, scale: _Scale, y: Callable[[float], float]) -> Iterator[tuple[float, float]]:
    """Points that a word must not cover; along a line or an edge one in four pixels."""
    for values in (series.y, series.high):
        points = [] if values is None else _points(series, scale, y, values)
        if series.shape == "dots" or len(points) < 2:
            yield from points
        else:
            x, at = np.array(points).T
            along = np.arange(x[0], x[-1], 4.0)
            yield from zip(along, np.interp(along, x, at), strict=True)


def _label(
    text: str, at: float, taken: Sequence[tuple[float, float]], across: Sequence[float], scale: _Scale
) -> tuple[float, float]:
    """Where the word at a limit ends, and its base line: where it covers least; better above, and far right."""
    length = len(text) * CHARACTER
    ends = np.arange(scale.right, min(scale.right, MARGIN_LEFT + length) - 1, -6.0)

    def covered(end: float, base: float) -> int:
        near = [x for x, y in taken if base - LETTER < y < base + 3] + list(across)
        return sum(end - length - 4 < x < end + 4 for x in near)

    places = [(float(end), base) for base in (at - 4, at + LETTER + 1) for end in ends]
    return min(places, key=lambda place: covered(*place))


def _series(series: Series, scale: _Scale, y: Callable[[float], float], bottom: float) -> Iterator[str]:
    points = _points(series, scale, y)
    title = f"<title>{escape(series.name)}</title>"
    if series.shape == "dots":
        dots = "".join(f'<circle cx="{a:.1f}" cy="{b:.1f}" r="2.2"/>' for a, b in points)
        yield f"<g {_LOOKS['dots']}>{title}{dots}</g>"
    elif series.shape == "bars":
        yield f"<g {_LOOKS['bars']}>{title}{''.join(_bars(series, scale, y, bottom))}</g>"
    elif series.shape == "limit":
        if points:
            (x1, y1), (x2, y2) = points[0], points[-1]
            yield f'<line {_LOOKS["limit"]} x1="{x1:.1f}" x2="{x2:.1f}" y1="{y1:.1f}" y2="{y2:.1f}"/>'
    elif series.shape == "band" and series.high is not None:
        upper = _points(series, scale, y, series.high)
        if points:
            around = " ".join(f"{a:.1f},{b:.1f}" for a, b in (*points, *reversed(upper)))
            yield f'<polygon {_LOOKS["band"]} points="{around}">{title}</polygon>'
    elif points:
        path = " ".join(f"{a:.1f},{b:.1f}" for a, b in points)
        yield f'<polyline {_LOOKS[series.shape]} points="{path}">{title}</polyline>'


def _bars(series: Series, scale: _Scale, y: Callable[[float], float], bottom: float) -> Iterator[str]:
    inside = _inside(series, scale)
    for t_ms, value in zip(series.t_ms[inside], series.y[inside], strict=True):
        left, right = scale.x(t_ms), scale.x(t_ms + series.width_ms)
        gap = min(1.5, (right - left) / 6)
        yield (
            f'<rect x="{left + gap:.1f}" y="{y(value):.1f}" width="{max(right - left - 2 * gap, 0.5):.1f}" '
            f'height="{max(bottom - y(value), 0.0):.1f}"/>'
        )


def _extent(panel: Panel) -> tuple[float, float]:
    values = [array[np.isfinite(array)] for s in panel.series for array in (s.y, s.high) if array is not None]
    all_of = np.concatenate(values) if values else np.empty(0)
    if not all_of.size:
        return 0.0, 1.0
    low, high = float(all_of.min()), float(all_of.max())
    if panel.from_zero:
        low, high = min(low, 0.0), max(high, 0.0)
    if high - low < 1e-9:
        return (0.0, 1.0) if panel.from_zero else (low - 0.5, high + 0.5)
    return low, high


def nice_ticks(low: float, high: float, most: int) -> list[float]:
    """Round numbers (1, 2 or 5 times a power of ten apart) that enclose low..high, about `most` of them."""
    if not (isfinite(low) and isfinite(high)) or high <= low:
        return [0.0, 1.0]
    raw = (high - low) / most
    power = 10.0 ** floor(log10(raw))
    step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= raw * 0.999)
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    return [round(i * step, 10) for i in range(first, last + 1)]


def _days(scale: _Scale, zone: tzinfo | None, bottom: float, top: float) -> Iterator[str]:
    """Days under the axis, at midnight of the owner's clock, as many as there is room for."""
    room = max(2, int((scale.right - MARGIN_LEFT) // 58))
    days = (scale.end_ms - scale.start_ms) / DAY_MS
    step = next((n for n in (1, 2, 7, 14, 28, 56, 91, 182) if days / n <= room), 364)
    day = datetime.fromtimestamp(scale.start_ms / 1000, zone).replace(hour=0, minute=0, second=0, microsecond=0)
    if step >= 7:
        day -= timedelta(days=day.weekday())
    while day.timestamp() * 1000 <= scale.end_ms:
        t_ms = day.timestamp() * 1000
        if t_ms >= scale.start_ms:
            x = scale.x(t_ms)
            yield f'<line {_INK} x1="{x:.1f}" x2="{x:.1f}" y1="{bottom}" y2="{bottom + 4}"/>'
            anchor = "end" if x > scale.right - 20 else "middle"
            yield f'<text x="{x:.1f}" y="{bottom + 17}" text-anchor="{anchor}">{day.day} {day:%b}</text>'
        day += timedelta(days=step)
    yield f'<line {_INK} x1="{MARGIN_LEFT}" x2="{scale.right}" y1="{bottom}" y2="{bottom}"/>'
    yield f'<line {_INK} x1="{MARGIN_LEFT}" x2="{MARGIN_LEFT}" y1="{top}" y2="{bottom}"/>'
