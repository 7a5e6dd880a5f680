"""AC presence stages on paper: LED current, output level, thresholds, stress. A second method beside the SPICE decks.

The opto-coupler model is simple and not a maker's: two antiparallel diodes (N = 1.5) and a collector current of
CTR x |IF| x tanh(VCE / 0.1 V), the CTR falling as (IF / 1 mA) ** 0.4 below 1 mA.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from hardware.generate.load import Netlist

Array = NDArray[np.float64]
Wave = Literal["full", "half"]

IDEALITY = 1.5
THERMAL_V = 0.02585
TANH_V = 0.1
CTR_EXPONENT = 0.4
SUPPLY_V = 3.3
STEP_S = 5e-5


@dataclass(frozen=True)
class Corner:
    """One set of part spreads: `ctr` and `vf_v` at 1 mA, tolerances as ratios, `dark_a` the opto's dark current."""

    ctr: float
    vf_v: float
    series_tol: float = 0.0
    shunt_tol: float = 0.0
    dark_a: float = 0.0


EASY = Corner(3.0, 0.95, -0.01, 0.01, 5e-6)
TYPICAL = Corner(1.0, 1.08, dark_a=1e-7)
HARD = Corner(0.5 * 0.7 * 0.7, 1.28, 0.01, -0.01)  # rank 50 %, ageing 0.7, temperature 0.7
UNRANKED = replace(HARD, ctr=0.2 * 0.7 * 0.7)
CORNERS = {"easy": EASY, "typical": TYPICAL, "hard": HARD, "unranked": UNRANKED}


@dataclass(frozen=True)
class Circuit:
    """The values of one stage that matter to its signal [ohm, F]."""

    series_ohm: float
    shunt_ohm: float
    pull_ohm: float
    contact_ohm: float
    filter_f: float

    @classmethod
    def of(cls, netlist: Netlist, shorted: str | None = None) -> Circuit:
        """Read from a stage's netlist; `shorted` names one series resistor to take as 0 ohm."""
        series = sum(netlist.part(ref).value for ref in netlist.meta["series"] if ref != shorted)
        inner = (netlist.part(f"IN_{ref}").value for ref in ("R5", "R7", "C2"))
        return cls(series, netlist.part("R4").value, *inner)

    def at(self, corner: Corner) -> Circuit:
        return replace(
            self,
            series_ohm=self.series_ohm * (1 + corner.series_tol),
            shunt_ohm=self.shunt_ohm * (1 + corner.shunt_tol),
        )


def saturation_a(corner: Corner) -> float:
    """Diode saturation current that gives `vf_v` at 1 mA [A]."""
    return float(1e-3 / np.exp(corner.vf_v / (IDEALITY * THERMAL_V)))


def led_current(circuit: Circuit, corner: Corner, source_v: Array) -> Array:
    """LED current for each source voltage [A, V], the 100 nF across the LED (43-91 us) left out."""
    c = circuit.at(corner)
    node = np.linspace(0.0, 2.2, 4401)
    led = 2 * saturation_a(corner) * np.sinh(node / (IDEALITY * THERMAL_V))
    source = node + c.series_ohm * (node / c.shunt_ohm + led)
    result: Array = np.sign(source_v) * np.interp(np.abs(source_v), source, led)
    return result


def collector_a(corner: Corner, led_a: Array) -> Array:
    """Collector current the opto could carry [A]."""
    led_a = np.abs(led_a)
    result: Array = corner.ctr * led_a * np.minimum(1.0, (led_a / 1e-3) ** CTR_EXPONENT)
    return result


def waveform(rms_v: Array, hz: float, wave: Wave, time_s: Array) -> Array:
    """Supply voltage at each time (rows) for each RMS value of the full sine (columns) [V]."""
    sine: Array = np.sqrt(2.0) * np.sin(2 * np.pi * hz * time_s)[:, None] * rms_v[None, :]
    if wave == "half":
        sine = np.maximum(sine, 0.0)
    return sine


def output_range(
    circuit: Circuit, corner: Corner, rms_v: Array, hz: float, wave: Wave = "full", settle_s: float = 0.6
) -> tuple[Array, Array]:
    """Smallest and largest settled output over the last two mains periods, for each RMS voltage [V]."""
    steps = round(settle_s / STEP_S)
    time = np.arange(steps, dtype=np.float64) * STEP_S
    able = collector_a(corner, led_current(circuit, corner, waveform(rms_v, hz, wave, time)))
    out = np.full(rms_v.shape, SUPPLY_V / 2)
    low, high = np.full(rms_v.shape, np.inf), np.full(rms_v.shape, -np.inf)
    watch = steps - round(2 / hz / STEP_S)
    for index in range(steps):
        drawn = _through_contact_resistor(able[index], out, circuit.contact_ohm) + corner.dark_a
        out = np.maximum(out + STEP_S * ((SUPPLY_V - out) / circuit.pull_ohm - drawn) / circuit.filter_f, 0.0)
        if index >= watch:
            low, high = np.minimum(low, out), np.maximum(high, out)
    return low, high


def _through_contact_resistor(able: Array, out: Array, ohm: float) -> Array:
    """Collector current with `ohm` between collector and filter: Newton from below, the function is concave."""
    vce = out / (1 + ohm * able / TANH_V)
    for _ in range(4):
        tanh = np.tanh(vce / TANH_V)
        excess = vce + ohm * able * tanh - out
        vce = vce - excess / (1 + ohm * able * (1 - tanh**2) / TANH_V)
    result: Array = able * np.tanh(vce / TANH_V)
    return result


def operate_v(circuit: Circuit, corner: Corner, hz: float, grid: Array, vil: float, wave: Wave = "full") -> float:
    """Smallest RMS voltage that reads on at every instant [V]."""
    _, high = output_range(circuit, corner, grid, hz, wave)
    return _crossing(grid, high, vil)


def release_v(circuit: Circuit, corner: Corner, hz: float, grid: Array, vih: float, wave: Wave = "full") -> float:
    """Largest RMS voltage that reads off at every instant [V]."""
    low, _ = output_range(circuit, corner, grid, hz, wave)
    return _crossing(grid, low, vih)


def _crossing(grid: Array, level: Array, limit: float) -> float:
    below = int(np.argmax(level < limit))
    if below == 0 or level[below] >= limit:
        return float("nan")
    share = (level[below - 1] - limit) / (level[below - 1] - level[below])
    return float(grid[below - 1] + share * (grid[below] - grid[below - 1]))


def led_average_a(circuit: Circuit, corner: Corner, rms_v: float, hz: float = 50.0) -> float:
    """Mean rectified LED current over a period [A]."""
    time = np.linspace(0, 1 / hz, 2001)[:-1]
    current = led_current(circuit, corner, waveform(np.array([rms_v]), hz, "full", time))
    return float(np.mean(np.abs(current)))


@dataclass(frozen=True)
class Stress:
    """Steady stress at one supply voltage: RMS input, LED peak [A]; worst series part, shunt, whole chain [W]."""

    input_a: float
    led_peak_a: float
    series_w: float
    shunt_w: float
    chain_w: float


def stress(netlist: Netlist, corner: Corner, rms_v: float, shorted: str | None = None) -> Stress:
    """Stress of a stage, with one series resistor shorted if named."""
    circuit = Circuit.of(netlist, shorted).at(corner)
    time = np.linspace(0, 0.02, 2001)[:-1]
    source = waveform(np.array([rms_v]), 50.0, "full", time)[:, 0]
    led = led_current(Circuit.of(netlist, shorted), corner, source)
    node = IDEALITY * THERMAL_V * np.arcsinh(led / (2 * saturation_a(corner)))
    current = (source - node) / circuit.series_ohm
    square = float(np.mean(current**2))
    largest = max(netlist.part(ref).value for ref in netlist.meta["series"] if ref != shorted)
    shunt = float(np.mean(node**2)) / circuit.shunt_ohm
    peak = float(np.max(np.abs(led)))
    return Stress(square**0.5, peak, square * largest, shunt, square * circuit.series_ohm)
