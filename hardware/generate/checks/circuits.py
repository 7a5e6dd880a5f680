"""Is each circuit complete, and is the barrier between domains whole?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from hardware.generate.checks.problem import Problem
from hardware.generate.load import Hardware, Netlist, Part

BRIDGES = {"opto_ac", "relay", "ct", "current_switch"}
VISO_MIN_V = 3750
# Reinforced insulation at 250 V in a sooty room: pollution degree 3, material group IIIa. From memory of IEC 60664-1.
CREEPAGE_MIN_MM = {"mains": 8.0, "24vac": 2.0}
SERIES_MIN = {"mains": 3, "24vac": 2}


def problems(hardware: Hardware) -> Iterator[Problem]:
    for netlist in (*hardware.stages.values(), hardware.sensor_board):
        yield from _complete(netlist)
        for part in netlist.parts:
            yield from _barrier(netlist, part)
    for netlist in hardware.stages.values():
        yield from _branch(netlist)
    yield from _sensor_board(hardware)


def _complete(netlist: Netlist) -> Iterator[Problem]:
    ends = Counter(net for part in netlist.parts for net in part.nets)
    for net in ends:
        if net not in netlist.nets:
            yield Problem("net-undeclared", netlist.name, f"net {net} has no domain")
    for net in netlist.nets:
        needed = 1 if net in netlist.ports else 2
        if ends[net] < needed:
            yield Problem("net-dangling", netlist.name, f"net {net} joins {ends[net]} pins")
    for ref, count in Counter(part.ref for part in netlist.parts).items():
        if count > 1:
            yield Problem("ref-duplicate", netlist.name, f"{ref} is used {count} times")


def _barrier(netlist: Netlist, part: Part) -> Iterator[Problem]:
    where = f"{netlist.name} {part.ref}"
    domains = {netlist.nets.get(net, "?") for net in part.nets}
    if len(domains) == 1:
        return
    if part.kind == "terminal":
        yield Problem("barrier", where, f"one terminal carries {sorted(domains)}")
    elif part.kind not in BRIDGES:
        yield Problem("barrier", where, f"a {part.kind} may not join {sorted(domains)}")
    elif set(part.fields.get("bridges", [])) != domains:
        yield Problem("barrier", where, f"is said to bridge {part.fields.get('bridges')} but joins {sorted(domains)}")
    else:
        yield from _insulation(part, domains, where)


def _insulation(part: Part, domains: set[str], where: str) -> Iterator[Problem]:
    needed = max(CREEPAGE_MIN_MM.get(domain, 0.0) for domain in domains)
    if part.fields.get("creepage_mm", 0) < needed:
        yield Problem("creepage", where, f"{part.fields.get('creepage_mm')} mm, {needed:g} mm needed")
    if part.fields.get("viso_v", 0) < VISO_MIN_V:
        yield Problem("isolation", where, f"{part.fields.get('viso_v')} V, {VISO_MIN_V} V needed")


def _branch(netlist: Netlist) -> Iterator[Problem]:
    """From L: a fuse first, then the series resistors one after another, and nothing else on the way to the LED."""
    net, walked = "L", []
    for _ in range(len(netlist.parts)):
        onward = [p for p in netlist.parts if net in p.nets and p.kind in ("fuse", "resistor") and p.ref not in walked]
        if net == "led" or not onward:
            break
        walked.append(onward[0].ref)
        net = next(n for n in onward[0].nets if n != net)
    kinds = [netlist.part(ref).kind for ref in walked]
    if kinds[:1] != ["fuse"]:
        yield Problem("fuse-first", netlist.name, "the first part after L must be the fuse")
    if net != "led" or walked[1:] != netlist.meta["series"]:
        yield Problem(
            "series-chain", netlist.name, f"L to LED runs through {walked}, not the fuse and {netlist.meta['series']}"
        )
    if len(netlist.meta["series"]) < SERIES_MIN[netlist.meta["domain"]]:
        yield Problem("series-count", netlist.name, "too few series resistors to survive one of them shorted")


def _sensor_board(hardware: Hardware) -> Iterator[Problem]:
    board = hardware.sensor_board
    for net, domain in board.nets.items():
        if domain not in ("selv", "24vac"):
            yield Problem("mains-on-board", board.name, f"net {net} is {domain}; this box is extra-low voltage only")
    for part in board.of_kind("relay_driver"):
        yield Problem("R4", f"{board.name} {part.ref}", "a relay driver on a board that may switch nothing")
    controller = next(iter(board.of_kind("controller")))
    for signal in hardware.signals:
        if signal.id not in controller.pins:
            yield Problem("signal-unwired", f"pinmap {signal.id}", "is not on the sensor board's controller")
        elif signal.pull_ohm and not _pulled(board, signal.id, signal.pull_ohm):
            yield Problem("pull-missing", f"pinmap {signal.id}", f"the netlist has no {signal.pull_ohm:g} ohm to 3.3 V")
    for pin in controller.pins:
        if pin not in {"v5", "v3v3", "gnd"} | {signal.id for signal in hardware.signals}:
            yield Problem("signal-unknown", f"{board.name} {pin}", "is wired but not in the pin map")


def _pulled(board: Netlist, net: str, ohm: float) -> bool:
    """A resistor of `ohm` from 3.3 V to the pin's net, or to the net one small resistor away from it."""
    near = {net}
    for part in board.of_kind("resistor"):
        if net in part.nets and part.value <= 1000:
            near |= set(part.nets)
    pulls = [p for p in board.of_kind("resistor") if "3v3" in p.nets and near & set(p.nets) - {"3v3", "gnd"}]
    return any(abs(part.value - ohm) < 1 for part in pulls)
