"""Are the parts of the presence stages and the level input inside their ratings, one fault allowed?

And does each stage switch where it should?
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np

from hardware.generate.checks.problem import Problem
from hardware.generate.load import Hardware, Netlist, Table
from hardware.generate.stage import EASY, HARD, Circuit, Corner, output_range, stress

DERATE = 0.6
LED_DERATE = 0.5
FUSE_FACTOR = 10
PULSE = 6.25  # metal film takes 2.5 times its rated voltage for five seconds
LOOP_SUPPLY_V = 24.0
VIL_V, VIH_V = 0.8, 2.475  # the stricter of both boards


def problems(hardware: Hardware) -> Iterator[Problem]:
    for name, netlist in hardware.stages.items():
        yield from _stress(netlist)
        yield from _surge(netlist)
        yield from _levels(netlist, hardware.expected[name]["window"])
    yield from _loop(hardware.sensor_board)


def _stress(netlist: Netlist) -> Iterator[Problem]:
    volts = netlist.meta["supply_v"]["max"]
    series = netlist.meta["series"]
    opto = netlist.of_kind("opto_ac")[0]
    for shorted in (None, *series):
        found = stress(netlist, EASY, volts, shorted)
        fault = f"{netlist.name} at {volts} V" + (f" with {shorted} shorted" if shorted else "")
        for ref in series:
            if ref != shorted and found.series_w > DERATE * netlist.part(ref).w:
                yield Problem("power", fault, f"{ref} takes {found.series_w:.2f} W, rated {netlist.part(ref).w:g} W")
        if found.shunt_w > DERATE * netlist.part("R4").w:
            yield Problem("power", fault, f"R4 takes {found.shunt_w:.3f} W")
        if found.led_peak_a * 1e3 > LED_DERATE * opto.fields["if_max_ma"]:
            yield Problem("led-current", fault, f"LED peak {found.led_peak_a * 1e3:.1f} mA")
        fuses = netlist.of_kind("fuse") if shorted is None else []
        if any(fuse.value < FUSE_FACTOR * found.input_a for fuse in fuses):
            yield Problem("fuse", fault, f"the fuse is under {FUSE_FACTOR} times {found.input_a * 1e3:.1f} mA")


def _surge(netlist: Netlist) -> Iterator[Problem]:
    if not netlist.meta["surge_v"]:
        return
    varistors = netlist.of_kind("mov")
    if not varistors:
        yield Problem("surge", netlist.name, "a mains stage needs its varistor behind the fuse")
        return
    each = varistors[0].fields["clamp_v"] / len(netlist.meta["series"])
    for ref in netlist.meta["series"]:
        if each > netlist.part(ref).v:
            yield Problem("surge", netlist.name, f"{ref} sees {each:.0f} V, rated {netlist.part(ref).v:g} V")


@lru_cache(maxsize=256)
def _settled(circuit: Circuit, corner: Corner, volts: float) -> tuple[float, float]:
    low, high = output_range(circuit, corner, np.array([volts]), 50.0)
    return float(low[0]), float(high[0])


def _levels(netlist: Netlist, window: Table) -> Iterator[Problem]:
    circuit = Circuit.of(netlist)
    least = min(window["on_above_v"], netlist.meta["supply_v"]["min"])
    high = _settled(circuit, HARD, float(least))[1]
    if high > VIL_V:
        yield Problem("threshold", netlist.name, f"{least} V may not read on: the output stays at {high:.2f} V")
    low = _settled(circuit, EASY, float(window["off_below_v"]))[0]
    if low < VIH_V:
        yield Problem(
            "threshold", netlist.name, f"{window['off_below_v']} V may not read off: the output falls to {low:.2f} V"
        )


def _loop(board: Netlist) -> Iterator[Problem]:
    """24 V straight onto the level input, until the resettable fuse opens."""
    burden = [p for p in board.of_kind("resistor") if set(p.nets) == {"loop", "gnd"}]
    for part in burden:
        if LOOP_SUPPLY_V**2 / part.value > PULSE * part.w:
            yield Problem("power", f"{board.name} {part.ref}", "24 V on the loop input burns it before the fuse opens")
    if not any("loop" in part.nets for part in board.of_kind("ptc")):
        yield Problem("loop-fuse", board.name, "the level input needs its resettable fuse")
