"""The folder's data files as typed objects. Every other module reads the data through here."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parents[1]
REPOSITORY = FOLDER.parent
STAGES = ("a24", "b120", "c230")
STANDARD, OPTIONAL, REFERENCE, CONSUMABLE = "standard", "optional", "reference", "consumable"

Table = dict[str, Any]


@dataclass(frozen=True)
class Signal:
    """One wire of the controller board. `pins` maps board name to GPIO number."""

    id: str
    role: str
    pins: dict[str, int]
    pull_ohm: float | None = None
    channels: tuple[str, ...] = ()
    device: str | None = None
    optional: bool = False
    range_mv: tuple[float, float] | None = None
    terminal: str | None = None
    wires: tuple[str, ...] = ()
    cable: str = ""
    colour: str = ""


@dataclass(frozen=True)
class Part:
    """One component of a netlist. `pins` maps pin name to net; ratings are 0 when the kind has none."""

    ref: str
    kind: str
    pins: dict[str, str]
    bom: str
    value: float = 0.0
    tol: float = 0.0
    w: float = 0.0
    v: float = 0.0
    fields: Table = field(default_factory=dict)

    @property
    def nets(self) -> tuple[str, ...]:
        return tuple(self.pins.values())


@dataclass(frozen=True)
class Netlist:
    """A circuit: its parts, the domain of each net (selv, 24vac or mains), and the nets that leave it."""

    name: str
    meta: Table
    nets: dict[str, str]
    parts: tuple[Part, ...]
    ports: tuple[str, ...]

    def part(self, ref: str) -> Part:
        return next(p for p in self.parts if p.ref == ref)

    def of_kind(self, kind: str) -> list[Part]:
        return [p for p in self.parts if p.kind == kind]


@dataclass(frozen=True)
class BomRow:
    """One line of the parts list; prices are rough, in US dollars."""

    id: str
    build: str
    qty: int
    cls: str
    rating: str
    min_spec: dict[str, float]
    usd_low: float
    usd_high: float
    safety_listed: bool
    alternatives: str


@dataclass(frozen=True)
class Hardware:
    """Everything the folder says, loaded once."""

    folder: Path
    boards: dict[str, Table]
    signals: tuple[Signal, ...]
    settings: Table
    senses: tuple[Table, ...]
    rules: dict[str, Table]
    probes: tuple[Table, ...]
    budgets: tuple[Table, ...]
    stages: dict[str, Netlist]
    sensor_board: Netlist
    bom: dict[str, BomRow]
    expected: Table

    def signal(self, signal_id: str) -> Signal:
        return next(s for s in self.signals if s.id == signal_id)

    def sense_of(self, signal_id: str) -> Table:
        return next(s for s in self.senses if s["pinmap_id"] == signal_id)


def load(folder: Path = FOLDER) -> Hardware:
    """Read every data file under `folder`. Raises OSError, tomllib.TOMLDecodeError or KeyError on a broken file."""
    pinmap = _toml(folder / "pinmap.toml")
    sense = _toml(folder / "sense.toml")
    probes = _toml(folder / "probes.toml")
    blocks = {name: _toml(folder / "netlist" / f"{name}.toml") for name in (*STAGES, "di_input")}
    return Hardware(
        folder=folder,
        boards=_toml(folder / "boards.toml"),
        signals=tuple(_signal(row) for row in pinmap["signal"]),
        settings={key: value for key, value in pinmap.items() if key != "signal"},
        senses=tuple(sense["sense"]),
        rules=sense["rules"],
        probes=tuple(probes["probe"]),
        budgets=tuple(probes["budget"]),
        stages={name: _stage(name, blocks) for name in STAGES},
        sensor_board=_assemble("sensor_board", _toml(folder / "netlist" / "sensor_board.toml"), blocks),
        bom=_bom(folder / "bom.csv"),
        expected=_toml(folder / "expected.toml"),
    )


def _toml(path: Path) -> Table:
    with path.open("rb") as file:
        return tomllib.load(file)


def _signal(row: Table) -> Signal:
    channels = tuple(row.get("channels", [row["channel"]] if "channel" in row else []))
    span = row.get("range_mv")
    return Signal(
        id=row["id"],
        role=row["role"],
        pins=dict(row["pins"]),
        pull_ohm=row.get("pull_ohm"),
        channels=channels,
        device=row.get("device"),
        optional=row.get("optional", False),
        range_mv=(span[0], span[1]) if span else None,
        terminal=row.get("terminal"),
        wires=tuple(row.get("wires", [])),
        cable=row.get("cable", ""),
        colour=row.get("colour", ""),
    )


_PART_KEYS = {"ref", "kind", "pins", "bom", "value", "tol", "w", "v"}


def _part(row: Table, prefix: str = "", nets: dict[str, str] | None = None, values: Table | None = None) -> Part:
    rename = nets or {}
    over = (values or {}).get(row["ref"], {})
    row = {**row, **over}
    pins = {pin: rename.get(net, f"{prefix}{net}") for pin, net in row["pins"].items()}
    extra = {key: value for key, value in row.items() if key not in _PART_KEYS}
    numbers = {key: float(row.get(key, 0.0)) for key in ("value", "tol", "w", "v")}
    return Part(f"{prefix}{row['ref']}", row["kind"], pins, row.get("bom", ""), fields=extra, **numbers)


def _stage(name: str, blocks: dict[str, Table]) -> Netlist:
    """A presence stage with the sensor board's input behind it: the whole path from mains to pin."""
    table, tail = blocks[name], blocks["di_input"]
    rename = {"in": "out", "gnd": "gnd", "vcc": "vcc", "pin": "pin"}
    parts = [_part(row) for row in table["part"]]
    parts += [_part(row, "IN_", rename) for row in tail["part"]]
    nets = {**table["nets"], **_expand_nets(tail["nets"], "IN_", rename)}
    return Netlist(name, table["meta"], nets, tuple(parts), (*table["meta"]["ports"], "vcc", "gnd", "pin"))


def _assemble(name: str, table: Table, blocks: dict[str, Table]) -> Netlist:
    """Expand each `[[instance]]` of a block; its ports join the nets named in `connect`, the rest get a prefix."""
    nets = dict(table["nets"])
    parts = [_part(row) for row in table["part"]]
    for instance in table["instance"]:
        block, prefix, connect = blocks[instance["block"]], instance["prefix"], instance["connect"]
        parts += [_part(row, prefix, connect, instance.get("values")) for row in block["part"]]
        nets.update(_expand_nets(block["nets"], prefix, connect))
    return Netlist(name, table["meta"], nets, tuple(parts), tuple(table["meta"]["ports"]))


def _expand_nets(nets: dict[str, str], prefix: str, connect: dict[str, str]) -> dict[str, str]:
    return {connect.get(net, f"{prefix}{net}"): domain for net, domain in nets.items()}


def _bom(path: Path) -> dict[str, BomRow]:
    with path.open(newline="", encoding="utf-8") as file:
        return {row["id"]: _bom_row(row) for row in csv.DictReader(file)}


def _bom_row(row: dict[str, str]) -> BomRow:
    pairs = (item.split("=") for item in row["min_spec"].split(";") if item)
    return BomRow(
        id=row["id"],
        build=row["build"],
        qty=int(row["qty"]),
        cls=row["class"],
        rating=row["rating"],
        min_spec={key: float(value) for key, value in pairs},
        usd_low=float(row["usd_low"]),
        usd_high=float(row["usd_high"]),
        safety_listed=row["safety_listed"] == "yes",
        alternatives=row["alternatives"],
    )


def bom_uses(hardware: Hardware) -> Iterator[str]:
    """Every use of a parts-list row in the standard and optional build, one yield a piece.

    The mains reference stages are left out: they are a calculation, not something this folder asks anyone to buy.
    """
    yield from (part.bom for part in hardware.sensor_board.parts if part.bom)
    for item in (*hardware.senses, *hardware.probes):
        for bom_id, count in item.get("bom", {}).items():
            yield from [bom_id] * count
