"""Plots: what is drawn lies where the numbers say, in black and white, as well-formed SVG."""

import re
import xml.etree.ElementTree as ET
from datetime import UTC
from math import floor, log10

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline.report.plots import DAY_MS, Flag, Panel, Series, nice_ticks, plot

T = 1_767_571_200_000.0 + np.arange(11) * DAY_MS  # Mon 5 Jan 2026 on
SVG = "{http://www.w3.org/2000/svg}"


def drawn(*panels: Panel, flags: tuple[Flag, ...] = ()) -> ET.Element:
    text = plot(panels, flags, float(T[0]), float(T[-1]), UTC, 500, "a plot <of & 1>")
    return ET.fromstring(text)


def test_dots_lie_where_the_numbers_say() -> None:
    y = np.arange(11.0) * 10
    y[4] = np.nan
    dots = drawn(Panel("Rise", (Series("rise", "dots", T, y),))).findall(".//circle")
    assert len(dots) == 10  # a gap is not drawn
    x = np.array([float(dot.attrib["cx"]) for dot in dots])
    up = np.array([-float(dot.attrib["cy"]) for dot in dots])
    assert np.corrcoef(x, up)[0, 1] == pytest.approx(1.0, abs=1e-4)
    assert x[0] == pytest.approx(46, abs=0.1) and x[-1] == pytest.approx(488, abs=0.1)


def test_bars_begin_at_zero() -> None:
    bars = drawn(Panel("Oil", (Series("oil", "bars", T[:-1], np.array([10.0] * 9 + [20.0])),), 100, True))
    heights = [float(bar.attrib["height"]) for bar in bars.findall(".//rect")]
    assert heights[-1] == pytest.approx(2 * heights[0], abs=0.2) == pytest.approx(100.0, abs=0.2)


def test_the_name_of_a_limit_stands_where_it_covers_no_dot() -> None:
    """Dots run along the limit at its right end, where the name would stand otherwise."""
    y = np.where(np.arange(11) > 4, 102.0, 20.0)
    limit = Series("limit: a name of some length", "limit", T[[0, -1]], np.full(2, 100.0))
    for dots, right in ((y, False), (y[::-1], True)):
        root = drawn(Panel("Rise", (limit, Series("rise", "dots", T, dots)), 170, True))
        (name,) = [e for e in root.findall(".//text") if e.text == limit.name]
        end, base = float(name.attrib["x"]), float(name.attrib["y"])
        begin = end - len(limit.name) * 6
        for dot in root.findall(".//circle"):
            x, at = float(dot.attrib["cx"]), float(dot.attrib["cy"])
            assert not (begin < x < end and base - 12 < at < base + 2)
        assert (end > 480) == right


def test_the_names_of_two_limits_close_together_keep_apart() -> None:
    limits = tuple(Series(f"limit: the {n}th", "limit", T[[0, -1]], np.full(2, 100.0 + 4 * n)) for n in range(2))
    root = drawn(Panel("Rise", (*limits, Series("rise", "dots", T, np.linspace(0.0, 200.0, 11))), 170, True))
    words = [e for e in root.findall(".//text") if (e.text or "").startswith("limit")]
    lines = sorted({float(e.attrib["y1"]) for e in root.findall(".//line") if "12 5" in e.get("stroke-dasharray", "")})
    assert len(lines) == 2 and 2 < lines[1] - lines[0] < 8
    base = sorted(float(e.attrib["y"]) for e in words)
    assert base[0] < lines[0] and base[1] - 9 > lines[1]  # one above both, the other below


def test_a_band_holds_its_line() -> None:
    low, high = np.full(11, 5.0), np.full(11, 15.0)
    root = drawn(Panel("x", (Series("band", "band", T, low, high), Series("line", "line", T, low + 5.0))))
    band = root.find(".//polygon")
    line = root.find(".//polyline")
    assert band is not None and line is not None
    edges = {float(point.split(",")[1]) for point in band.attrib["points"].split()}
    (middle,) = {float(point.split(",")[1]) for point in line.attrib["points"].split()}
    assert min(edges) < middle < max(edges)


def test_flags_do_not_run_into_each_other() -> None:
    flags = tuple(Flag(float(T[5] + i * 1000), "cleaned") for i in range(3))
    root = drawn(Panel("x", (Series("x", "dots", T, T * 0),)), flags=flags)
    heights = [text.attrib["y"] for text in root.findall("text") if text.text == "cleaned"]
    assert len(heights) == len(set(heights)) == 3


def test_it_is_black_and_white_and_says_what_it_is() -> None:
    y = np.arange(11.0)
    shapes = ("dots", "line", "dashed", "bars", "limit")
    panel = Panel("All", tuple(Series(shape, shape, T, y) for shape in shapes))
    text = plot((panel,), (Flag(float(T[3]), "batch"),), float(T[0]), float(T[-1]), UTC, 400, "told")
    assert set(re.findall(r'(?:stroke|fill)="([^"]+)"', text)) <= {"currentColor", "none", "#bbb"}
    assert 'role="img" aria-label="told"' in text and "<script" not in text and "style=" not in text
    assert re.findall(r">(\d+ Jan)<", text) == ["5 Jan", "7 Jan", "9 Jan", "11 Jan", "13 Jan", "15 Jan"]


def test_nothing_known_draws_an_empty_panel() -> None:
    root = drawn(Panel("Nothing", (Series("x", "line", T, np.full(11, np.nan)),)))
    assert root.find(".//polyline") is None


@given(st.floats(-1e4, 1e4), st.floats(1e-2, 1e5), st.integers(2, 8))
def test_ticks_are_round_and_enclose_the_numbers(low: float, span: float, most: int) -> None:
    ticks = nice_ticks(low, low + span, most)
    step = (ticks[-1] - ticks[0]) / (len(ticks) - 1)
    assert ticks[0] <= low + 1e-6 * step and ticks[-1] >= low + span - 1e-6 * step
    assert len(ticks) <= most + 3
    lead = step / 10.0 ** floor(log10(step * 1.0001))
    assert any(abs(lead - factor) < 1e-3 for factor in (1.0, 2.0, 5.0))
