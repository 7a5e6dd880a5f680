"""Netlist data to ngspice decks, and ngspice's tables back to arrays."""

from __future__ import annotations

import hashlib
import subprocess
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from hardware.generate.load import Netlist, Part
from hardware.generate.stage import CTR_EXPONENT, IDEALITY, SUPPLY_V, TANH_V, Corner, saturation_a

Array = NDArray[np.float64]
FUSE_OHM = 2.0  # a cold 100 mA fuse; matters to nobody
NGSPICE = "ngspice"


def full_wave(rms_v: float, hz: float, off_at_s: float | None = None, phase_s: float = 0.0) -> str:
    """Expression of a sine supply, switched off at `off_at_s`."""
    gate = "" if off_at_s is None else f"*(time < {off_at_s!r} ? 1 : 0)"
    return f"{rms_v * 2**0.5!r}*sin({2 * np.pi * hz!r}*(time+{phase_s!r})){gate}"


def half_wave(rms_v: float, hz: float, off_at_s: float | None = None, phase_s: float = 0.0) -> str:
    """As `full_wave`, behind a rectifier."""
    return f"max(0,{full_wave(rms_v, hz, off_at_s, phase_s)})"


def deck(
    netlist: Netlist,
    corner: Corner,
    supply: str,
    *,
    stop_s: float = 0.6,
    start_s: float = 0.0,
    step_s: float = 1e-4,
    output_v: float | None = None,
    feed: str = "",
) -> str:
    """One transient of a presence stage.

    `supply` is the voltage between `line` and N as an ngspice expression; `feed` is the lines that join `line`
    to the stage's L (a snubber, a stray capacitance), by default a wire. `output_v` is the filter's starting voltage.
    """
    lines = [f"* {netlist.name}: {netlist.meta['title']}", f"Bsupply line N V={supply}", "Rearth N 0 1G"]
    lines += [feed or "Rfeed line L 1m", f"Vcc vcc 0 {SUPPLY_V}", "Rgnd gnd 0 1m", "Rpin pin gnd 100Meg"]
    for part in netlist.parts:
        lines += _element(part, corner, netlist.meta["series"], output_v)
    lines += [
        f".model led D(IS={saturation_a(corner):.6e} N={IDEALITY})",
        ".options reltol=1e-3 abstol=1e-9 method=gear temp=26.82 tnom=26.82",
        f".tran {step_s:g} {stop_s:g} {start_s:g} {step_s:g} uic",
        ".end",
    ]
    return "\n".join(lines) + "\n"


def _element(part: Part, corner: Corner, series: list[str], output_v: float | None) -> list[str]:
    if part.kind == "opto_ac":
        return _opto(part, corner)
    a, b = part.nets[:2]
    if part.kind == "resistor":
        tolerance = corner.series_tol if part.ref in series else corner.shunt_tol if part.ref == "R4" else 0.0
        return [f"R{part.ref} {a} {b} {part.value * (1 + tolerance):.6g}"]
    if part.kind == "capacitor":
        start = f" IC={output_v:g}" if part.ref.endswith("C2") and output_v is not None else " IC=0"
        return [f"C{part.ref} {a} {b} {part.value:.6g}{start}"]
    if part.kind == "fuse":
        return [f"R{part.ref} {a} {b} {FUSE_OHM}"]
    return []  # varistor and suppressor do not conduct in these decks


def _opto(part: Part, corner: Corner) -> list[str]:
    pins = part.pins
    led = "(abs(i(Vled))+1n)"
    collector = (
        f"{corner.ctr:.6g}*{led}*min(1,pwr({led}/1m,{CTR_EXPONENT}))"
        f"*tanh(v({pins['collector']},{pins['emitter']})/{TANH_V})+{corner.dark_a:g}"
    )
    return [
        f"Vled {pins['a']} led_anode 0",
        f"D1 led_anode {pins['k']} led",
        f"D2 {pins['k']} led_anode led",
        f"Bopto {pins['collector']} {pins['emitter']} I={collector}",
    ]


class Runs:
    """Runs decks in `folder` and keeps every result, so that a deck asked for twice is simulated once."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder or Path(tempfile.mkdtemp(prefix="spice-"))
        self.results: dict[str, dict[str, Array]] = {}

    def run(self, text: str, vectors: tuple[str, ...] = ("v(pin)", "i(vled)")) -> dict[str, Array]:
        """Arrays of `time` and each vector. Raises RuntimeError with ngspice's own words if it fails."""
        control = f".control\nset wr_singlescale\nrun\nwrdata OUT {' '.join(vectors)}\n.endc\n"
        text = text.replace(".end\n", control + ".end\n")
        key = hashlib.sha256(text.encode()).hexdigest()[:16]
        if key not in self.results:
            self.results[key] = self._simulate(key, text, vectors)
        return self.results[key]

    def _simulate(self, key: str, text: str, vectors: tuple[str, ...]) -> dict[str, Array]:
        out, path = self.folder / f"{key}.data", self.folder / f"{key}.cir"
        path.write_text(text.replace("OUT", str(out)), encoding="utf-8")
        done = subprocess.run([NGSPICE, "-b", str(path)], capture_output=True, text=True, timeout=120)
        if not out.exists():
            raise RuntimeError(f"ngspice made no table from {path}:\n{done.stdout}\n{done.stderr}")
        table = np.loadtxt(out)
        return {name: table[:, column] for column, name in enumerate(("time", *vectors))}
