"""Circuit diagrams, drawn from the netlists with schemdraw: presence stages, inputs, pin plans."""

# mypy: allow-untyped-calls
from __future__ import annotations

from typing import Literal

import schemdraw
import schemdraw.elements as elm

from hardware.generate.load import Hardware, Netlist, Part, Signal

schemdraw.use("svg")
schemdraw.config(fontsize=13, lw=1.4)
SMALL = 12
Align = Literal["left", "right"]


def si(value: float, unit: str = "") -> str:
    """2200.0 -> '2.2 k', 1e-07 with 'F' -> '100 nF'."""
    for factor, prefix in ((1e6, "M"), (1e3, "k"), (1, ""), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p")):
        if value >= factor * 0.9999:
            return f"{value / factor:.3g} {prefix}{unit}".strip()
    return f"{value:g} {unit}"


def _value(part: Part) -> str:
    watts = f" {part.w:g} W" if part.w >= 0.5 else ""
    unit = "F" if part.kind == "capacitor" else ""
    return f"{part.ref.removeprefix('IN_')}\n{si(part.value, unit)}{watts}"


def presence_stage(netlist: Netlist) -> str:
    """SVG of a presence stage with the sensor board's input behind it."""
    mains = netlist.meta["domain"] == "mains"
    with schemdraw.Drawing(show=False) as d:
        end = _primary(d, netlist, mains)
        _secondary(d, netlist, end)
        bar = end + 3.3
        d += elm.Line().at((bar, 2.6)).to((bar, -4.6)).color("firebrick").linestyle("--")
        barrier = "isolation barrier: 8 mm creepage, 5 kV, slot, no copper, no text below"
        d += elm.Label().theta(0).at((bar + 1.5, 3.0)).label(barrier, fontsize=SMALL, halign="right").color("firebrick")
        side = "in the electrician's box" if mains else "24 V AC side, Class 2 transformer"
        d += (
            elm.Label()
            .theta(0)
            .at((2.0, -4.4))
            .label(f"{netlist.meta['title']}: {side}", fontsize=SMALL, halign="left")
        )
        d += elm.Label().theta(0).at((bar + 0.4, -4.4)).label("sensor board, 3.3 V", fontsize=SMALL, halign="left")
        _margin(d, -2.4, -5.0, end + 13.2, 3.4)
        return _svg(d)


def _svg(d: schemdraw.Drawing) -> str:
    return str(d.get_imagedata("svg").decode())


def _margin(d: schemdraw.Drawing, left: float, bottom: float, right: float, top: float) -> None:
    """White corner marks: schemdraw underestimates the width of text, which then leaves the sheet."""
    for corner in ((left, bottom), (right, top)):
        d += elm.Line().at(corner).to((corner[0] + 0.01, corner[1])).color("white")


def _primary(d: schemdraw.Drawing, netlist: Netlist, mains: bool) -> float:
    """From L to the opto's LEDs; returns the x of the LED node."""
    d += elm.Dot(open=True).at((0, 0)).label("L′ (load side)", loc="left", fontsize=SMALL)
    d += elm.Dot(open=True).at((0, -3)).label("N or C", loc="left", fontsize=SMALL)
    fuse = netlist.of_kind("fuse")[0]
    d += elm.Fuse().at((0, 0)).to((2.4, 0)).label(f"{fuse.ref} {fuse.value * 1e3:g} mA", fontsize=SMALL)
    x = 2.4
    if mains:
        d += elm.Dot().at((x, 0))
        d += elm.RBoxVar().at((x, 0)).to((x, -3)).label("RV1\n275 V AC", loc="bottom", fontsize=SMALL)
        d += elm.Dot().at((x, -3))
        d += elm.Line().at((x, 0)).to((x + 0.6, 0))
        x += 0.6
    for ref in netlist.meta["series"]:
        d += elm.ResistorIEC().at((x, 0)).to((x + 2.2, 0)).label(_value(netlist.part(ref)), fontsize=SMALL)
        x += 2.2
    for part, offset in ((netlist.part("R4"), 0.5), (netlist.part("C1"), 2.1)):
        symbol = elm.ResistorIEC if part.kind == "resistor" else elm.Capacitor
        d += elm.Dot().at((x + offset, 0))
        d += symbol().at((x + offset, 0)).to((x + offset, -3)).label(_value(part), loc="bottom", fontsize=SMALL)
        d += elm.Dot().at((x + offset, -3))
    node = x + 4.7
    d += elm.Line().at((x, 0)).to((node, 0))
    d += elm.Line().at((0, -3)).to((node, -3))
    d += elm.LED().at((node, 0)).to((node, -3))
    d += elm.LED().reverse().at((node + 1.1, 0)).to((node + 1.1, -3))
    d += elm.Line().at((node, 0)).to((node + 1.1, 0))
    d += elm.Line().at((node, -3)).to((node + 1.1, -3))
    d += elm.Rect(corner1=(node - 0.6, 0.5), corner2=(node + 5.0, -3.5)).theta(0).at((0, 0)).linestyle(":")
    d += elm.Label().theta(0).at((node - 0.5, 0.75)).label("U1 AC opto", fontsize=SMALL, halign="left")
    return float(node - 1.0)


def _secondary(d: schemdraw.Drawing, netlist: Netlist, end: float) -> None:
    x = end + 5.0
    transistor = d.add(elm.BjtNpn(circle=False).at((x, -1.5)).anchor("base"))
    d += elm.Line().at(transistor.emitter).to((transistor.emitter[0], -3))
    d += elm.Line().at(transistor.collector).to((transistor.collector[0], 0))
    start = transistor.collector[0]
    d += elm.Line().at((start, 0)).to((start + 1.0, 0))
    _input(d, netlist, start + 1.0, start)


def _input(d: schemdraw.Drawing, netlist: Netlist, x: float, ground_from: float) -> None:
    r5, r6, r7, c2 = (netlist.part(f"IN_{ref}") for ref in ("R5", "R6", "R7", "C2"))
    d += elm.Dot().at((x, 0))
    d += elm.Zener().at((x, -3)).to((x, 0)).label("D1 TVS\n5 V", loc="bottom", fontsize=SMALL)
    d += elm.ResistorIEC().at((x, 0)).to((x + 2.4, 0)).label(_value(r7), fontsize=SMALL)
    node = x + 2.4
    d += elm.Dot().at((node, 0))
    d += elm.ResistorIEC().at((node, 0)).to((node, 2.4)).label(_value(r5), loc="bottom", fontsize=SMALL)
    d += elm.Vdd().at((node, 2.4)).label("3.3 V", fontsize=SMALL)
    d += elm.Capacitor().at((node, 0)).to((node, -3)).label(_value(c2), loc="bottom", fontsize=SMALL)
    d += elm.ResistorIEC().at((node, 0)).to((node + 2.4, 0)).label(_value(r6), fontsize=SMALL)
    d += elm.Dot(open=True).at((node + 2.4, 0)).label("GPIO", loc="right", fontsize=SMALL)
    d += elm.Line().at((ground_from, -3)).to((node, -3))
    d += elm.Dot().at((x, -3))
    d += elm.Ground().at((node, -3))


def contact_input(hardware: Hardware) -> str:
    """SVG of a contact on an input, with the values of both versions."""
    stage = hardware.stages["a24"]
    with schemdraw.Drawing(show=False) as d:
        d += elm.Switch().at((-3, 0)).to((0, 0)).label("current switch, relay\nor dry contact", fontsize=SMALL)
        d += elm.Line().at((-3, 0)).to((-3, -3))
        d += elm.Line().at((-3, -3)).to((0, -3))
        d += elm.Dot(open=True).at((0, 0)).label("Xn.1", loc="top", fontsize=SMALL)
        d += elm.Dot(open=True).at((0, -3)).label("Xn.2", loc="top", fontsize=SMALL)
        d += elm.Line().at((0, 0)).to((1.2, 0))
        _input(d, stage, 1.2, 0.0)
        note = "Relay, dry contact, tray switch: R5 2.2 k, C2 33 µF, so that the contact carries 1.4 mA"
        d += elm.Label().theta(0).at((-3, -4.6)).label(note, fontsize=SMALL, halign="left")
        _margin(d, -3.2, -5.0, 12.0, 3.4)
        return _svg(d)


def analog_inputs(hardware: Hardware) -> str:
    """SVG of the air pressure, 5 V monitor and level inputs."""
    board = hardware.sensor_board
    with schemdraw.Drawing(show=False) as d:
        for x, name, top, bottom, cap, pin in (
            (0.0, "X5.2 signal", "R20", "R21", "C20", "adc_air"),
            (8.0, "5 V", "R22", "R23", "C21", "adc_5v"),
        ):
            d += elm.Dot(open=True).at((x, 0)).label(name, loc="left", fontsize=SMALL)
            d += elm.ResistorIEC().at((x, 0)).to((x + 2.4, 0)).label(f"{top}\n12 k 0.1 %", fontsize=SMALL)
            d += elm.Dot().at((x + 2.4, 0))
            d += (
                elm.ResistorIEC()
                .at((x + 2.4, 0))
                .to((x + 2.4, -3))
                .label(f"{bottom}\n10 k\n0.1 %", loc="top", fontsize=SMALL)
            )
            d += elm.Ground().at((x + 2.4, -3))
            d += elm.Line().at((x + 2.4, 0)).to((x + 4, 0))
            d += elm.Dot().at((x + 4, 0))
            d += (
                elm.Capacitor()
                .at((x + 4, 0))
                .to((x + 4, -3))
                .label(_value(board.part(cap)), loc="bottom", fontsize=SMALL)
            )
            d += elm.Ground().at((x + 4, -3))
            d += elm.Line().at((x + 4, 0)).to((x + 5, 0))
            d += elm.Dot(open=True).at((x + 5, 0)).label(pin, loc="top", fontsize=SMALL)
        _level(d, -6.0)
        _margin(d, -2.6, -10.2, 14.5, 1.2)
        return _svg(d)


def _level(d: schemdraw.Drawing, y: float) -> None:
    d += elm.Dot(open=True).at((0, y)).label("X6.1 loop in", loc="left", fontsize=SMALL)
    d += elm.Fuse().at((0, y)).to((2.4, y)).label("F10 resettable\n50 mA", fontsize=SMALL)
    for x, ref in ((2.4, "R24"), (4.4, "R25")):
        d += elm.Dot().at((x, y))
        d += elm.ResistorIEC().at((x, y)).to((x, y - 3)).label(f"{ref}\n200\n0.1 %", loc="bottom", fontsize=SMALL)
        d += elm.Ground().at((x, y - 3))
    d += elm.Line().at((2.4, y)).to((5.6, y))
    d += elm.ResistorIEC().at((5.6, y)).to((8, y)).label("R26\n1 k 0.6 W", fontsize=SMALL)
    d += elm.Dot().at((8, y))
    d += elm.Schottky().at((8, y)).to((8, y + 2.2)).label("D12", loc="bottom", fontsize=SMALL)
    d += elm.Vdd().at((8, y + 2.2)).label("3.3 V", fontsize=SMALL)
    d += elm.Line().at((8, y)).to((10, y))
    d += elm.Dot().at((10, y))
    d += elm.Capacitor().at((10, y)).to((10, y - 3)).label("C22\n1 µF", loc="bottom", fontsize=SMALL)
    d += elm.Ground().at((10, y - 3))
    d += elm.Line().at((10, y)).to((11, y))
    d += elm.Dot(open=True).at((11, y)).label("adc_level", loc="top", fontsize=SMALL)


def probe_inputs() -> str:
    """SVG of the thermocouple filter, the Pt1000 and the 1-Wire line."""
    with schemdraw.Drawing(show=False) as d:
        _thermocouple(d)
        _pt1000(d, 15.0, 0.0)
        _onewire(d, 15.0, -5.6)
        _margin(d, -2.6, -9.6, 27.0, 3.0)
        return _svg(d)


def _thermocouple(d: schemdraw.Drawing) -> None:
    for y, terminal, ref in ((0.0, "X2.1 +", "R12"), (-3.0, "X2.2 −", "R13")):
        d += elm.Dot(open=True).at((0, y)).label(terminal, loc="left", fontsize=SMALL)
        d += elm.ResistorIEC().at((0, y)).to((2.4, y)).label(f"{ref} 100", fontsize=SMALL)
        d += elm.Line().at((2.4, y)).to((7, y))
        d += elm.Dot().at((2.8, y))
        d += elm.Dot().at((4.6, y))
    d += elm.Capacitor().at((2.8, 0)).to((2.8, -3)).label("C13\n100 nF", loc="bottom", fontsize=SMALL)
    d += elm.Capacitor().at((4.6, 0)).to((4.6, 2)).label("C11 10 nF", loc="bottom", fontsize=SMALL)
    d += elm.Ground().at((4.6, 2)).flip()
    d += elm.Capacitor().at((4.6, -3)).to((4.6, -5)).label("C12 10 nF", loc="bottom", fontsize=SMALL)
    d += elm.Ground().at((4.6, -5))
    _box(d, 7.0, 0.6, 3.6, 4.2, "U2 thermocouple\nconverter\nCS cs_stack")
    d += elm.Dot(open=True).at((0, -4.6)).label("X2.3 shield", loc="left", fontsize=SMALL)
    d += elm.Line().at((0, -4.6)).to((1.5, -4.6))
    d += elm.Ground().at((1.5, -4.6))


def _pt1000(d: schemdraw.Drawing, x: float, y: float) -> None:
    for row, terminal in ((0.0, "X3.1"), (-1.5, "X3.2")):
        d += elm.Dot(open=True).at((x, y + row)).label(terminal, loc="left", fontsize=SMALL)
        d += elm.Line().at((x, y + row)).to((x + 7, y + row))
    d += _label(x + 0.3, y - 0.9, "Pt1000; links on U3 set for two wires", "left")
    _box(d, x + 7.0, y + 0.6, 4.0, 2.7, "U3 RTD converter\nRref 4.3 k 0.1 %\nCS cs_nozzle")


def _onewire(d: schemdraw.Drawing, x: float, y: float) -> None:
    d += elm.Dot(open=True).at((x, y)).label("X4.2 data", loc="left", fontsize=SMALL)
    d += elm.Line().at((x, y)).to((x + 4.4, y))
    d += elm.Dot().at((x + 1.2, y))
    d += elm.Zener().at((x + 1.2, y - 2.4)).to((x + 1.2, y)).label("D10 TVS 5 V", loc="bottom", fontsize=SMALL)
    d += elm.Ground().at((x + 1.2, y - 2.4))
    d += elm.Dot().at((x + 3.6, y))
    d += elm.ResistorIEC().at((x + 3.6, y)).to((x + 3.6, y + 2.0)).label("R14 4.7 k", loc="bottom", fontsize=SMALL)
    d += elm.Vdd().at((x + 3.6, y + 2.0)).label("3.3 V", fontsize=SMALL)
    d += elm.ResistorIEC().at((x + 4.4, y)).to((x + 6.8, y)).label("R15 100", fontsize=SMALL)
    d += elm.Dot(open=True).at((x + 6.8, y)).label("onewire", loc="right", fontsize=SMALL)
    d += _label(x, y - 3.6, "X4.1 3.3 V and X4.3 GND: three wires, no parasite power", "left")


def _box(d: schemdraw.Drawing, x: float, y: float, w: float, h: float, text: str) -> None:
    d += elm.Rect(corner1=(x, y), corner2=(x + w, y - h)).theta(0).at((0, 0))
    d += elm.Label().theta(0).at((x + w / 2, y - h / 2)).label(text, fontsize=SMALL, halign="center", valign="center")


def pin_plan(hardware: Hardware, board: str) -> str:
    """SVG of the controller board as a box with its used pins: inputs left, everything else right."""
    inputs = [s for s in hardware.signals if s.role in ("di", "adc")]
    others = [s for s in hardware.signals if s.role not in ("di", "adc")]
    height = max(len(inputs), len(others)) + 0.6
    with schemdraw.Drawing(show=False) as d:
        d += elm.Rect(corner1=(0, 0), corner2=(5, -height)).theta(0).at((0, 0))
        d += elm.Label().theta(0).at((2.5, 0.5)).label(hardware.boards[board]["title"], fontsize=11, halign="center")
        _pin_rows(d, inputs, board, 0.0, -1.0, "right", "left")
        _pin_rows(d, others, board, 5.0, 1.0, "left", "right")
        _margin(d, -7.5, -height - 0.3, 12.5, 1.2)
        return _svg(d)


def _pin_rows(
    d: schemdraw.Drawing, signals: list[Signal], board: str, edge: float, out: float, align: Align, inner: Align
) -> None:
    for row, signal in enumerate(signals):
        y = -row - 0.8
        d += elm.Line().at((edge, y)).to((edge + 0.8 * out, y))
        d += _label(edge - 0.2 * out, y - 0.18, f"GPIO{signal.pins[board]}", inner)
        d += _label(edge + out, y - 0.18, _pin_text(signal), align)


def _label(x: float, y: float, text: str, align: Align) -> elm.Element:
    label: elm.Element = elm.Label().theta(0).at((x, y)).label(text, fontsize=SMALL, halign=align, valign="center")
    return label


def _pin_text(signal: Signal) -> str:
    channels = ", ".join(signal.channels[:2]) + (", ..." if len(signal.channels) > 2 else "")
    return " · ".join(text for text in (signal.id, channels, signal.terminal or "") if text)
