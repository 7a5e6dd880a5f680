"""A furnace run from one time to another at full speed: what its board would have reported, and the truth."""

from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sootline.channels import CHANNELS, STATES
from sootline.series import Floats, Rows, SensorFault
from sootline.sim.faults import Fault
from sootline.sim.furnace import Edge, Furnace
from sootline.sim.sensors import convert, fail
from sootline.sim.signals import process_values
from sootline.sim.spec import FurnaceSpec
from sootline.sim.truth import Truth
from sootline.sim.weather import Weather

SUMMED = ("pump", "burner", "tank_heater", "nozzle_heater")  # channels that carry their seconds on
_LASTING = ("power", "circulation")  # on for months: they keep no board busy
MOVES_K, MOVES_IN_MS = 2.0, 60_000  # a temperature that changes more than this is moving
_TEMPERATURES = frozenset(name for name, channel in CHANNELS.items() if channel.unit == "Cel")

Action = tuple[int, str, Mapping[str, Any]]


def simulate(
    spec: FurnaceSpec,
    seed: int,
    start_ms: int,
    end_ms: int,
    faults: Sequence[Fault] = (),
    actions: Sequence[Action] = (),
    interval_s: float = 5.0,
    idle_interval_s: float = 60.0,
    channels: Sequence[str] | None = None,
    weather: Weather | None = None,
    start_C: float | None = None,
) -> tuple[Rows, Truth]:
    """Run a furnace from `start_ms` to before `end_ms` and return (rows, truth).

    actions: (t_ms, name, details) as `Furnace.act` takes them; channels: those the board reports, all of the
    furnace's when None. A full row every `interval_s` [s] while anything is on or moving, every `idle_interval_s`
    otherwise, and a row at every change of an on/off channel with that channel alone.
    Raises: ValueError for channels the furnace has not, unknown actions, or an end before the start.
    """
    names = tuple(spec.channels if channels is None else channels)
    if missing := [name for name in names if name not in spec.channels]:
        raise ValueError(f"{spec.id} has no channel {', '.join(missing)}")
    if end_ms <= start_ms:
        raise ValueError("the end must lie after the start")
    furnace = Furnace(spec, seed, start_ms, faults, weather, start_C)
    board = _Board(furnace, names, round(1000 * interval_s), round(1000 * idle_interval_s))
    for t_ms, name, details in sorted(actions, key=lambda action: action[0]):
        board.run(min(max(t_ms, start_ms), end_ms))
        if start_ms <= t_ms < end_ms:
            furnace.act(name, **details)
    board.run(end_ms)
    return board.rows(seed, end_ms), furnace.truth


@dataclass(slots=True)
class _Board:
    """Samples a furnace as the contract asks."""

    furnace: Furnace
    names: tuple[str, ...]
    interval_ms: int
    idle_interval_ms: int
    sample_ms: int = -1
    moving: bool = True
    full_ms: list[int] = field(default_factory=list)
    full: "array[float]" = field(default_factory=lambda: array("d"))
    full_on: "array[float]" = field(default_factory=lambda: array("d"))
    edges: list[tuple[int, str, bool, float]] = field(default_factory=list)
    on_s: dict[str, float] = field(default_factory=dict)
    on_since_ms: dict[str, int] = field(default_factory=dict)
    on: set[str] = field(default_factory=set)
    _reference: tuple[int, dict[str, float]] = (0, {})

    def __post_init__(self) -> None:
        self.sample_ms = self.furnace.t_ms
        self.on_s = {name: 0.0 for name in SUMMED if name in self.names}
        for name, on in self.furnace.gear.outputs.items():
            if on and name in self.names:
                self.on.add(name)
                self.on_since_ms[name] = self.furnace.t_ms

    def run(self, to_ms: int) -> None:
        """Samples and changes before `to_ms`."""
        while self.furnace.t_ms < to_ms or self.sample_ms < to_ms:
            self._changes(self.furnace.advance(min(self.sample_ms, to_ms), until_edge=True))
            now_ms = self.furnace.t_ms
            if now_ms >= to_ms:
                return
            if now_ms >= self.sample_ms:
                self._sample(now_ms)
            self.sample_ms = min(self.sample_ms, now_ms + self._spacing_ms())

    def _spacing_ms(self) -> int:
        busy = self.moving or any(name not in _LASTING for name in self.on)
        return self.interval_ms if busy else self.idle_interval_ms

    def _changes(self, edges: Sequence[Edge]) -> None:
        for edge in edges:
            if edge.channel not in self.names:
                continue
            if edge.on:
                self.on.add(edge.channel)
                self.on_since_ms[edge.channel] = edge.t_ms
            else:
                self.on.discard(edge.channel)
                if edge.channel in self.on_s:
                    self.on_s[edge.channel] += (edge.t_ms - self.on_since_ms[edge.channel]) / 1000.0
            self.edges.append((edge.t_ms, edge.channel, edge.on, self.on_s.get(edge.channel, np.nan)))

    def _sample(self, now_ms: int) -> None:
        values = process_values(self.furnace, self.names)
        self.full_ms.append(now_ms)
        self.full.extend(values.values())
        self.full_on.extend(
            total + ((now_ms - self.on_since_ms[name]) / 1000.0 if name in self.on else 0.0)
            for name, total in self.on_s.items()
        )
        since_ms, reference = self._reference
        if now_ms - since_ms >= MOVES_IN_MS:
            temperatures = {name: float(values[name]) for name in self.names if name in _TEMPERATURES}
            self.moving = any(abs(t - reference.get(name, t)) > MOVES_K for name, t in temperatures.items())
            self._reference = (now_ms, temperatures)
        self.sample_ms = now_ms + self._spacing_ms()

    def rows(self, seed: int, end_ms: int) -> Rows:
        """Everything sampled before `end_ms`, through converters and sick sensors."""
        edges = [edge for edge in self.edges if edge[0] < end_ms]
        edge_ms = np.array([edge[0] for edge in edges], np.int64)
        full_ms = np.array(self.full_ms, np.int64)
        t_ms = np.unique(np.concatenate((full_ms, edge_ms)))
        at_full = np.searchsorted(t_ms, full_ms)
        table = np.frombuffer(self.full, np.float64).reshape(len(full_ms), len(self.names))
        sums = np.frombuffer(self.full_on, np.float64).reshape(len(full_ms), len(self.on_s))
        values = {name: _spread(len(t_ms), at_full, table[:, i]) for i, name in enumerate(self.names)}
        on_s = {name: _spread(len(t_ms), at_full, sums[:, i]) for i, name in enumerate(self.on_s)}
        for i, (_, name, on, total) in zip(np.searchsorted(t_ms, edge_ms), edges, strict=True):
            values[name][i] = on
            if name in on_s:
                on_s[name][i] = total
        faults: list[SensorFault] = []
        for name in self.names:
            if name not in STATES:
                values[name][at_full] = convert(name, values[name][at_full], seed)
            values[name], bad = fail(name, t_ms, values[name], self.furnace.faults.faults, seed)
            faults += bad
        return Rows(t_ms, values, on_s, tuple(sorted(faults)))


def _spread(n: int, at: np.ndarray[Any, np.dtype[np.intp]], column: Floats) -> Floats:
    """A column of n rows with readings only at the rows `at`."""
    spread = np.full(n, np.nan)
    spread[at] = column
    return spread
