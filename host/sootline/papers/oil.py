"""Oil and stock as they are read: burned, left and for how long, the batches with their tests, what a blend needs."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from math import isinf
from pathlib import Path

import numpy as np

from sootline.advice.batches import told
from sootline.advice.burned import DAY_MS
from sootline.advice.oil import figures as oil_figures
from sootline.advice.stock import Period, Stock
from sootline.heat.oil import oil_of_parts
from sootline.heat.used_oil import OilBatch
from sootline.papers.words import FigureView, figure_views, plain
from sootline.report.plots import Flag, Panel, Series, plot
from sootline.units import System, convert, day, said, show, shown, unit_of
from sootline.wording import furnace_name

RESULTS = ("above", "below", "flagged", "within", "untested")
SOURCES = {"own": "own used oil", "household": "from households", "other": "from others"}


@dataclass(frozen=True, slots=True)
class PeriodView:
    name: str
    oil: str
    refills: int


@dataclass(frozen=True, slots=True)
class StockView:
    """What was burned and is left; lacks: what it rests on and what is not known."""

    furnace: str
    name: str
    as_of_ms: int
    headline: str
    because: str
    figures: tuple[FigureView, ...]
    weeks: tuple[PeriodView, ...]
    batches: tuple[PeriodView, ...]
    lacks: tuple[str, ...]
    wide: str
    narrow: str


@dataclass(frozen=True, slots=True)
class BatchView:
    """One batch as logged, beside the published limits. tests: (result, words)."""

    number: int
    received: str
    volume: str
    kind: str
    source: str
    analysis: str
    specification: str
    tests: tuple[tuple[str, str], ...]
    conditions: tuple[tuple[str, str], ...]
    keep_until: str


def stock_view(stock: Stock, system: System, zone: tzinfo | None) -> StockView:
    """Everything that is told of the oil of one furnace."""
    seen = stock.seen
    return StockView(
        furnace=seen.furnace,
        name=furnace_name(seen.furnace),
        as_of_ms=seen.now_ms,
        headline=_headline(stock, zone),
        because=_because(stock, system),
        figures=figure_views(stock.figures, system),
        weeks=tuple(_periods(stock.periods["week"], system)),
        batches=tuple(_periods(stock.periods["batch"], system)),
        lacks=tuple(plain(note, system) for note in stock.notes),
        wide=_plot(stock, system, zone, 760),
        narrow=_plot(stock, system, zone, 380),
    )


def _headline(stock: Stock, zone: tzinfo | None) -> str:
    if stock.left is None:
        return "Stock not known"
    days = stock.left.days
    if isinf(days.median):
        return "Lasts longer than can be told"
    empty = day(stock.seen.now_ms + days.median * DAY_MS, zone)
    return f"About {days.median:.0f} days left, empty about {empty}"


def _because(stock: Stock, system: System) -> str:
    if stock.left is None:
        return "Give what is in the tank below, or have its level measured."
    left = stock.left
    litres = show(left.litres, "volume", system)
    error = shown(left.error_l, "volume", system)
    text = f"{litres} (± {error.text}, {left.known})"
    if isinf(left.days.high):
        return f"{text}; nothing much was burned lately."
    weather = f", {said(left.weather, system)}" if left.weather else ""
    return f"{text}; 8 chances in 10 that it lasts {left.days.low:.0f} to {left.days.high:.0f} days{weather}."


def _periods(periods: Sequence[Period], system: System) -> Iterator[PeriodView]:
    for period in periods:
        if period.burned.refills:
            litres, error = (shown(v, "volume", system) for v in (period.burned.litres, period.burned.standard_error_l))
            yield PeriodView(period.name, f"{litres.text} ± {error}", period.burned.refills)


def _plot(stock: Stock, system: System, zone: tzinfo | None, width: int) -> str:
    days = stock.days
    if len(days) < 2:
        return ""
    unit = unit_of("volume", system).label
    start_ms = np.array([float(p.start_ms) for p in days])
    oil = np.array([convert(p.burned.litres, "volume", system) for p in days])
    bars = Series(f"oil burned in a day, {unit}", "bars", start_ms, oil)
    flags = [Flag(entry.at_ms, "batch") for entry in stock.seen.log("batch")]
    panel = Panel(f"Oil burned, {unit} a day", (bars,), 120, True)
    label = "Oil burned on each day; the tables have the weeks in numbers"
    return plot((panel,), flags, start_ms[0], start_ms[-1] + DAY_MS, zone, width, label)


def batch_views(batches: Iterable[tuple[int, OilBatch]], folder: Path, system: System) -> tuple[BatchView, ...]:
    """The batches, each with its number in the log, the newest first. Raises: OutOfRange"""
    made = []
    for number, batch in batches:
        one = told(number, batch, folder, None)
        tests = [(test["result"], _limit_words(test["text"], system)) for test in one["tests"]]
        conditions = list(_conditions(one["space_heater"], system))
        made.append(
            BatchView(
                number, one["received"], show(batch.volume_l, "volume", system), batch.kind, SOURCES[batch.source],
                batch.analysis, one["specification"], _grouped(tests), _grouped(conditions), one["keep_until"],
            )
        )  # fmt: skip
    return tuple(reversed(made))


def _conditions(conditions: Iterable[Mapping[str, str]], system: System) -> Iterator[tuple[str, str]]:
    """Result and words; what holds for several furnaces is said once."""
    furnaces: dict[tuple[str, str], list[str]] = {}
    for one in conditions:
        furnaces.setdefault((one["result"], one["text"]), []).append(furnace_name(one["furnace"]))
    for (result, text), names in furnaces.items():
        yield result, plain(f"{', '.join(names)}: {text}", system)


def _grouped(findings: Sequence[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    """One line for each result, what is outside a limit first."""
    lines = {result: [words for found, words in findings if found == result] for result in RESULTS}
    return tuple((result, "; ".join(words)) for result, words in lines.items() if words)


def _limit_words(text: str, system: System) -> str:
    return said(text.replace(" (100 °F)", "") if system == "us" else text, system)


def blend_view(
    parts: Mapping[str, float], differential_l: float | None, system: System
) -> tuple[tuple[FigureView, ...], tuple[str, ...]]:
    """What a blend needs and gives, and the notes to it.

    parts: kind to its part by volume, of any sum above nothing; differential_l: oil in a refill [L]
    Raises: OutOfRange for an unknown kind or parts of nothing
    """
    total = sum(parts.values())
    oil = oil_of_parts({kind: share / total for kind, share in parts.items()} if total > 0 else parts)
    figures = oil_figures(oil, system == "us", differential_l)
    return figure_views(figures, system), tuple(said(note, system) for note in oil.notes)
