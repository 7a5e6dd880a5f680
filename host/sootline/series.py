"""Rows of readings in time order: the one shape in which store, analysis, model and tables exchange data."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Times = NDArray[np.int64]


@dataclass(frozen=True, slots=True, order=True)
class SensorFault:
    """A reading known to be bad. `kind` is one of `channels.FAULTS`."""

    t_ms: int
    channel: str
    kind: str


@dataclass(frozen=True, slots=True)
class Rows:
    """n rows of readings, strictly increasing in time.

    t_ms:   (n,) measured time, milliseconds since the Unix epoch, UTC
    values: channel -> (n,) float64 in contract units; on/off as 0.0/1.0; NaN where that row holds no reading
    on_s:   on/off channel -> (n,) seconds on since boot where the board sent the sum, else NaN
    faults: readings known to be bad, in time order; their times need not be rows
    """

    t_ms: Times
    values: Mapping[str, Floats]
    on_s: Mapping[str, Floats] = field(default_factory=dict)
    faults: tuple[SensorFault, ...] = ()

    def __len__(self) -> int:
        return len(self.t_ms)

    @property
    def span_ms(self) -> tuple[int, int] | None:
        """The first and last moment of rows and faults; None without any."""
        times = [int(self.t_ms[0]), int(self.t_ms[-1])] if len(self.t_ms) else []
        times += [self.faults[0].t_ms, self.faults[-1].t_ms] if self.faults else []
        return (min(times), max(times)) if times else None

    def between(self, start_ms: int, end_ms: int) -> "Rows":
        """The rows with start_ms <= t < end_ms (views, not copies)."""
        i, j = np.searchsorted(self.t_ms, (start_ms, end_ms))
        return Rows(
            self.t_ms[i:j],
            {name: column[i:j] for name, column in self.values.items()},
            {name: column[i:j] for name, column in self.on_s.items()},
            tuple(f for f in self.faults if start_ms <= f.t_ms < end_ms),
        )


EMPTY = Rows(np.empty(0, np.int64), {})


def concatenate(parts: Sequence[Rows]) -> Rows:
    """Rows one after another; each part must lie wholly after the part before it."""
    parts = [part for part in parts if len(part) or part.faults]
    if not parts:
        return EMPTY
    if len(parts) == 1:
        return parts[0]
    t_ms = np.concatenate([part.t_ms for part in parts])
    return Rows(
        t_ms,
        _stack_columns([(part.values, len(part)) for part in parts]),
        _stack_columns([(part.on_s, len(part)) for part in parts]),
        tuple(fault for part in parts for fault in part.faults),
    )


def _stack_columns(parts: Sequence[tuple[Mapping[str, Floats], int]]) -> dict[str, Floats]:
    names = dict.fromkeys(name for columns, _ in parts for name in columns)
    return {
        name: np.concatenate([columns[name] if name in columns else np.full(n, np.nan) for columns, n in parts])
        for name in names
    }


def merge(parts: Iterable[Rows]) -> Rows:
    """Rows from several sources in any order, brought into time order.

    Rows of the same time become one row; where two give the same channel a reading at the same time, the later
    part wins (a repeated pack carries the same reading, so for repeats the order of delivery does not matter).
    """
    kept = [part for part in parts if len(part) or part.faults]
    if not kept:
        return EMPTY
    all_times = np.concatenate([part.t_ms for part in kept])
    t_ms = np.unique(all_times)
    values: dict[str, Floats] = {}
    on_s: dict[str, Floats] = {}
    for part in kept:
        index = np.searchsorted(t_ms, part.t_ms)
        for target, columns in ((values, part.values), (on_s, part.on_s)):
            for name, column in columns.items():
                merged = target.get(name)
                if merged is None:
                    merged = target[name] = np.full(len(t_ms), np.nan)
                given = ~np.isnan(column)
                merged[index[given]] = column[given]
    faults = tuple(sorted({fault for part in kept for fault in part.faults}))
    return Rows(t_ms, values, on_s, faults)
