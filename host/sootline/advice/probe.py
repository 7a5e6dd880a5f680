"""The stack probe itself, from stored readings: how fast it follows a start, and how far it is off when all is cold.

A probe pulled back, loose or sooted over reads another stack from the same fire. Only short spans around the firings
are read, never a season.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sootline.advice.burned import HOUR_MS, Burned
from sootline.events import Event
from sootline.heat.confounders import Level
from sootline.heat.elementwise import FloatArray
from sootline.series import Rows
from sootline.store import Store

REFERENCES = ("return_air", "room")  # what a cold stack is held against, the better one first
COLD_MS, COLD_SPAN_MS = 6 * HOUR_MS, HOUR_MS // 2  # the same wait each time, so that the same warmth is left
BEFORE_MS, SETTLING_MS, SETTLED_MS = 180_000, 480_000, 600_000  # idle readings may be 60 s apart
RISE_K = 30.0  # a start that lifts the stack by less has not lit a cold stack
GAP_S = 30.0  # readings further apart do not tell when the stack passed a level
FEWEST = 5
SHARE = 0.632  # 1 - 1/e


@dataclass(frozen=True)
class ProbeCheck:
    """Response time [s] and cold offset [K] while clean (first) and now; None where `few` says what there was."""

    lag_s: tuple[Level | None, Level | None]
    cold_offset_K: tuple[Level | None, Level | None]
    few: str


def check(store: Store, seen: Burned, clean: tuple[int, int], now: tuple[int, int]) -> ProbeCheck:
    """Both tests over the spells (start_ms, end_ms) that stand for clean and for now."""
    lags = [np.array([*_lags(store, seen, spell)]) for spell in (clean, now)]
    cold = [_offsets(store, seen, spell) for spell in (clean, now)]
    counts = [[int(np.isfinite(spell[name]).sum()) for spell in cold] for name in REFERENCES]
    best = int(np.argmax([min(count) for count in counts]))  # one reference for both: two would differ by themselves
    few = []
    if min(lag.size for lag in lags) < FEWEST:
        few.append(f"{lags[0].size} starts while clean and {lags[1].size} now with a stack read for 10 min")
    if min(counts[best]) < FEWEST:
        few.append(
            f"{counts[best][0]} cold readings while clean and {counts[best][1]} now, 6 h off, beside return air or room"
        )
    text = f"{' and '.join(few)}; needs {FEWEST} each" if few else ""
    offsets = [spell[REFERENCES[best]] for spell in cold]
    return ProbeCheck(
        (median_level(lags[0]), median_level(lags[1])), (median_level(offsets[0]), median_level(offsets[1])), text
    )


def response_s(t_s: FloatArray, stack_C: FloatArray) -> float | None:
    """Seconds from the start of a firing (t_s = 0) until the stack has come 63 % of the way to its level at 8-10 min.

    None where the start or that level was not read, the rise is below 30 K, or readings are missing at the passage.
    Source: first-order step response, 1 - 1/e after one time constant.
    """
    known = np.isfinite(stack_C)
    t_s, stack_C = t_s[known], stack_C[known]
    before, settled = stack_C[t_s <= 0.0], stack_C[t_s >= SETTLING_MS / 1000]
    if not before.size or not settled.size:
        return None
    rise_K = float(np.median(settled)) - float(before[-1])
    if rise_K < RISE_K:
        return None
    target_C = float(before[-1]) + SHARE * rise_K
    passed = int(np.argmax((t_s > 0.0) & (stack_C >= target_C)))
    (earlier_s, later_s), (low_C, high_C) = t_s[passed - 1 : passed + 1], stack_C[passed - 1 : passed + 1]
    earlier_s = max(earlier_s, 0.0)  # the last reading before the start stands until the start
    if later_s - earlier_s > GAP_S:
        return None
    return float(earlier_s + (later_s - earlier_s) * (target_C - low_C) / (high_C - low_C))


def median_level(values: FloatArray) -> Level | None:
    """Median and its standard error, from the median deviation; None with fewer than 5.

    Source: large-sample error of the median of normal scatter, 1.2533 sd/sqrt(n), sd = 1.4826 median deviation.
    """
    known = values[np.isfinite(values)]
    if known.size < FEWEST:
        return None
    median = float(np.median(known))
    sd = 1.4826 * float(np.median(np.abs(known - median)))
    return Level(median, 1.2533 * sd / known.size**0.5)


def _lags(store: Store, seen: Burned, spell: tuple[int, int]) -> Iterator[float]:
    for firing in seen.firings:
        if not _within(firing, spell) or firing.end_ms - firing.start_ms < SETTLED_MS:
            continue
        start_ms = firing.start_ms
        rows = store.read(seen.furnace, start_ms - BEFORE_MS, start_ms + SETTLED_MS, ("stack",))
        found = response_s((rows.t_ms - start_ms) / 1000.0, _column(rows, "stack"))
        if found is not None:
            yield found


def _offsets(store: Store, seen: Burned, spell: tuple[int, int]) -> dict[str, FloatArray]:
    """Stack minus each reference, 6 h after each firing that no other firing followed until then [K]."""
    starts = [*(firing.start_ms for firing in seen.firings[1:]), seen.now_ms]
    found: dict[str, list[float]] = {name: [] for name in REFERENCES}
    for firing, next_ms in zip(seen.firings, starts, strict=False):
        from_ms = firing.end_ms + COLD_MS
        until_ms = min(from_ms + COLD_SPAN_MS, next_ms)
        if from_ms >= until_ms or not _within(firing, spell) or until_ms > spell[1]:
            continue
        rows = store.read(seen.furnace, from_ms, until_ms, ("stack", *REFERENCES))
        for name in REFERENCES:
            apart = _column(rows, "stack") - _column(rows, name)
            if np.isfinite(apart).any():
                found[name].append(float(np.nanmedian(apart)))
    return {name: np.array(values) for name, values in found.items()}


def _within(firing: Event, spell: tuple[int, int]) -> bool:
    return spell[0] <= firing.start_ms and firing.end_ms <= spell[1]


def _column(rows: Rows, channel: str) -> FloatArray:
    return rows.values.get(channel, np.full(len(rows), np.nan))
