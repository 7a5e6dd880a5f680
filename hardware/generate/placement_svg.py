"""Drawings of where things go: the whole system, each probe, the boxes. Distances come from the data."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

import schemdraw
import schemdraw.elements as elm

from hardware.generate.load import Hardware, Table

schemdraw.use("svg")
TEXT = 9
Point = tuple[float, float]
Style = Literal["-", "--"]
Align = Literal["left", "center", "right"]


class Sketch:
    """A sheet with rectangles, lines and text in drawing units; y grows upwards."""

    def __init__(self, width: float, height: float) -> None:
        self.drawing = schemdraw.Drawing(show=False)
        self.drawing.config(fontsize=TEXT, lw=1.3)
        for corner in ((0.0, 0.0), (width, height)):
            self.line([corner, (corner[0] + 0.01, corner[1])], color="white")

    def rect(
        self, x: float, y: float, w: float, h: float, text: str = "", color: str = "black", style: Style = "-"
    ) -> None:
        box = elm.Rect(corner1=(x, y), corner2=(x + w, y + h)).theta(0).at((0, 0)).color(color).linestyle(style)
        self.drawing.add(box)
        if text:
            self.text(x + w / 2, y + h / 2, text, "center", color)

    def line(self, points: list[Point], color: str = "black", style: Style = "-", arrow: str | None = None) -> None:
        for start, end in pairwise(points):
            segment = elm.Line(arrow=arrow) if arrow else elm.Line()
            self.drawing.add(segment.at(start).to(end).color(color).linestyle(style))

    def text(self, x: float, y: float, text: str, align: Align = "left", color: str = "black") -> None:
        label = elm.Label().theta(0).at((x - 0.1, y - 0.15))  # schemdraw sets text 0.1 up and right
        self.drawing.add(label.label(text, fontsize=TEXT, halign=align, valign="center", color=color))

    def note(self, at: Point, target: Point, text: str, align: Align = "left") -> None:
        self.line([at, target], color="gray")
        self.text(at[0] + (0.15 if align == "left" else -0.15), at[1], text, align)

    def dimension(self, start: Point, end: Point, text: str, shift: Point = (0, 0.3)) -> None:
        self.line([start, end], color="navy", arrow="<->")
        middle = ((start[0] + end[0]) / 2 + shift[0], (start[1] + end[1]) / 2 + shift[1])
        self.text(*middle, text, "center", "navy")

    def svg(self) -> str:
        return str(self.drawing.get_imagedata("svg").decode())


def drawings(hardware: Hardware) -> dict[str, str]:
    """File stem to SVG text."""
    probes = {probe["id"]: probe for probe in hardware.probes}
    return {
        "block": block(hardware),
        "place-stack": stack(probes["stack"]),
        "place-tank": tank(probes["tank"]),
        "place-nozzle": nozzle(probes["nozzle"]),
        "place-return-air": return_air(probes["return air"]),
        "place-boxes": boxes(),
    }


def block(hardware: Hardware) -> str:
    """Two boxes: mains stays in the electrician's."""
    s = Sketch(21, 13)
    s.rect(0.3, 1.0, 5.2, 11.2, style="--")
    s.text(2.9, 12.5, "furnace and tanks", "center")
    s.rect(6.6, 5.2, 4.6, 7.0, color="firebrick")
    s.text(8.9, 12.5, "electrician's box: mains, listed devices", "center", "firebrick")
    s.rect(12.6, 1.0, 4.6, 11.2, color="navy")
    s.text(14.9, 12.5, "sensor box: extra-low voltage only", "center", "navy")
    mains = [sense for sense in hardware.senses if sense["domain_in"] == "mains"]
    for row, sense in enumerate(mains):
        y = 11.2 - row * 1.3
        s.rect(0.6, y - 0.45, 4.6, 0.9, sense["id"])
        s.rect(6.9, y - 0.45, 4.0, 0.9, sense["variant"].replace("_", " "), "firebrick")
        s.line([(5.2, y), (6.9, y)], "firebrick")
        s.line([(10.9, y), (12.6, y)], "navy")
        s.text(12.8, y, _terminal(hardware, sense["pinmap_id"]), color="navy")
    others = [sense for sense in hardware.senses if sense["domain_in"] != "mains"]
    low = [(sense["id"], _terminal(hardware, sense["pinmap_id"])) for sense in others]
    low += [(probe["id"], _terminal(hardware, probe["signal"])) for probe in hardware.probes]
    for row, (name, terminal) in enumerate(low):
        y = 4.75 - row * 0.39
        s.text(0.6, y, name)
        s.line([(3.1, y), (12.6, y)], "navy")
        s.text(12.8, y, terminal, color="navy")
    s.rect(17.9, 6.0, 2.9, 1.6, "host\n(Wi-Fi, MQTT)")
    s.line([(17.2, 6.8), (17.9, 6.8)], style="--")
    s.rect(17.9, 2.6, 2.9, 1.6, "5 V adapter\nClass II", "navy")
    s.line([(17.2, 3.4), (17.9, 3.4)], "navy")
    s.text(0.3, 0.4, "The sensor box only listens: no wire from it can switch anything at the burner.")
    return s.svg()


def _terminal(hardware: Hardware, signal_id: str) -> str:
    signal = hardware.signal(signal_id)
    return f"{signal.terminal}  {signal.id}"


def stack(probe: Table) -> str:
    """Probe in the straight run before the barometric damper."""
    s = Sketch(17, 9.6)
    s.rect(0.4, 0.8, 3.4, 6.4, "furnace\noutlet\n(breech)")
    for y in (3.2, 5.6):
        s.line([(3.8, y), (12.2, y)])
    s.line([(12.2, 5.6), (12.2, 9.0)])
    s.line([(14.6, 3.2), (14.6, 9.0)])
    s.line([(12.2, 3.2), (14.6, 3.2)])
    s.line([(4.2, 4.4), (6.6, 4.4)], color="darkorange", arrow="->")
    s.text(4.3, 4.8, "flue gas", color="darkorange")
    s.line([(10.4, 5.6), (10.4, 6.3), (11.4, 6.3), (11.4, 5.6)])
    s.text(10.6, 6.6, "barometric damper", "center")
    s.line([(7.4, 7.4), (7.4, 4.3)], color="firebrick")
    s.rect(7.2, 5.6, 0.4, 0.6, color="firebrick")
    s.note(
        (5.6, 8.2),
        (7.4, 7.2),
        f"probe {probe['diameter_mm']:g} mm, insulated junction,\ncollar locked, depth written down",
        "right",
    )
    s.dimension((8.2, 5.6), (8.2, 4.3), "", (0, 0))
    s.text(8.4, 4.9, f"{probe['immersion_min_mm']} mm or more;\ntip in the middle third")
    s.dimension((3.8, 2.6), (7.4, 2.6), f"about {probe['from_breech_mm']} mm", (0, -0.35))
    s.dimension((7.4, 2.6), (10.4, 2.6), f"{probe['before_damper_mm']} mm or more", (0, -0.35))
    s.note((5.6, 6.6), (5.6, 5.65), "", "right")
    s.text(5.5, 6.8, "test hole: leave free", "center")
    s.text(4.2, 1.0, "Not in the elbow, not after the damper: there the gas is unmixed or thinned with room air.")
    s.text(4.2, 0.4, "Hot: wait until the flue is cold before drilling or touching.")
    return s.svg()


def tank(probe: Table) -> str:
    """Closed well from the top of the day tank."""
    s = Sketch(17, 9.4)
    s.rect(3.0, 0.8, 8.0, 6.6)
    for y, name in ((5.6, "float HIGH: pump stops"), (4.2, "float LOW: pump starts")):
        s.line([(3.0, y), (11.0, y)], color="steelblue", style="--")
        s.text(11.3, y, name, color="steelblue")
    s.rect(4.9, 1.6, 0.5, 6.6, color="firebrick")
    s.note((2.4, 8.6), (5.1, 8.2), "closed thermowell,\ntop fitting", "right")
    s.rect(7.0, 1.5, 3.2, 0.4, color="darkorange")
    s.text(8.6, 2.3, "heater sheath", "center", "darkorange")
    s.dimension((5.4, 1.7), (7.0, 1.7), "50 mm", (0, -0.35))
    s.dimension((4.4, 4.2), (4.4, 1.6), "", (0, 0))
    s.text(4.2, 3.2, f"{probe['immersion_min_mm']} mm\nor more", "right", "navy")
    s.line([(9.6, 8.6), (9.6, 3.2)])
    s.note((11.3, 8.2), (9.6, 7.9), "pick-up to the burner:\nprobe tip near its height")
    s.text(
        0.4,
        0.3,
        "Beside the heater, never above it; below LOW, never in the vapour. No hole in the tank below the oil.",
    )
    return s.svg()


def nozzle(probe: Table) -> str:
    """Well in the nozzle block, away from the cartridge heater."""
    s = Sketch(17, 8.2)
    s.rect(3.2, 1.4, 8.6, 5.0)
    s.text(7.5, 6.8, "nozzle block, seen from the end", "center")
    for x, y, r, text, color in (
        (5.4, 3.0, 0.6, "oil way", "steelblue"),
        (10.4, 5.0, 0.7, "cartridge\nheater", "darkorange"),
    ):
        s.rect(x - r, y - r, 2 * r, 2 * r, text, color)
    s.rect(4.9, 4.55, 0.9, 0.9, color="firebrick")
    s.note((2.8, 6.9), (5.0, 5.4), "Pt1000 in a\nblind dry well,\nwith paste", "right")
    s.dimension((5.35, 4.55), (5.35, 3.6), "", (0, 0))
    s.text(6.0, 4.1, "15 mm or less", "left", "navy")
    s.dimension((5.8, 5.0), (9.7, 5.0), "as far as the block allows", (0, 0.35))
    s.rect(8.0, 2.0, 0.9, 0.9, "limit")
    s.note((12.2, 2.4), (8.9, 2.4), "well of the thermostat or limit:\nnot yours, leave it alone")
    depth, lead = probe["immersion_min_mm"], probe["lead_max_C"]
    s.text(0.4, 0.8, f"{depth} mm or more in the metal; lead for {lead} °C; strain relief on the block.")
    s.text(0.4, 0.3, "Never drill into the oil way or the air way. No room for a well: a clamp pad on a flat face.")
    return s.svg()


def return_air(probe: Table) -> str:
    """Ahead of filter and blower."""
    s = Sketch(17, 7.2)
    for y in (2.0, 5.0):
        s.line([(0.8, y), (15.6, y)])
    s.rect(7.6, 2.0, 0.7, 3.0, color="gray")
    s.text(7.95, 5.4, "filter", "center")
    s.rect(9.8, 2.4, 2.0, 2.2, "blower")
    s.rect(13.2, 2.2, 2.2, 2.6, "heat\nexchanger", "darkorange")
    s.line([(1.2, 3.5), (2.8, 3.5)], color="steelblue", arrow="->")
    s.text(1.2, 3.9, "return air", color="steelblue")
    s.line([(4.8, 5.6), (4.8, 3.4)], color="firebrick")
    s.dimension((5.2, 5.0), (5.2, 3.4), "", (0, 0))
    s.text(5.4, 4.2, f"{probe['immersion_min_mm']} mm\nor more", "left", "navy")
    s.note((3.9, 6.4), (4.8, 5.6), "1-Wire probe on a bracket", "right")
    s.text(0.8, 1.2, "Ahead of filter and blower, and where it cannot see the exchanger: radiation reads as warm air.")
    s.text(0.8, 0.6, "Net stack temperature = stack - return air: an error here moves every cleaning verdict.")
    return s.svg()


def boxes() -> str:
    """Sensor box on the wall, glands and distances."""
    s = Sketch(17, 9.6)
    s.rect(1.2, 2.6, 8.4, 5.6, color="navy")
    s.text(5.4, 8.6, "sensor box, polycarbonate, IP54, 160 x 110 x 65 mm or more", "center", "navy")
    s.rect(1.8, 5.6, 2.6, 2.0, "controller")
    s.text(2.0, 7.9, "antenna edge: 15 mm of air", color="navy")
    s.rect(5.0, 5.6, 1.9, 2.0, "thermo-\ncouple")
    s.rect(7.2, 5.6, 1.9, 2.0, "Pt1000")
    s.rect(1.8, 3.4, 7.3, 1.0, "terminals X2 ... X15, in the order of the label sheet")
    for x, text in ((2.4, "24 V AC\n(X9)"), (4.4, "contacts\nX7, X8, X10-15"), (6.6, "probes\nX3-X6"), (8.6, "KX\nX2")):
        s.rect(x - 0.3, 2.1, 0.6, 0.5)
        s.line([(x, 2.1), (x, 1.5), (x + 0.4, 1.2)])
        s.text(x, 0.7, text, "center")
    s.text(10.2, 7.6, "on a wall, 1 m or more from the flue,\nnot above the plenum, 40 °C at most")
    s.text(10.2, 6.2, "each cable: clip ferrite at the gland, 2-3 turns,\nstrain relief, drip loop, label at both ends")
    s.text(10.2, 4.8, "24 V AC through its own gland;\nno mains cable enters this box, ever")
    s.text(10.2, 3.4, "ignition lead: 300 mm away or more,\ncross it at a right angle")
    s.text(10.2, 2.0, "shield on GND at this end only\n(insulated junction)")
    return s.svg()
