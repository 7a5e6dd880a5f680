"""Every generated file, as a path from the repository's root and its text."""

from __future__ import annotations

from hardware.generate import circuits_svg, placement_svg, tables
from hardware.generate.load import Hardware
from hardware.generate.pins import pin_module
from hardware.generate.sheet import commissioning_sheet
from hardware.generate.spice import deck, full_wave
from hardware.generate.stage import TYPICAL


def outputs(hardware: Hardware) -> dict[str, str]:
    """All texts; the same data give the same bytes."""
    files = {f"firmware/sootboard/pins_{board}.py": pin_module(hardware, board) for board in hardware.boards}
    for name in ("wiring", "labels", "parts", "senses", "stages", "budgets"):
        files[f"hardware/out/{name}.md"] = getattr(tables, name)(hardware)
    files["hardware/out/commissioning-sheet.md"] = commissioning_sheet()
    for name, svg in _drawings(hardware).items():
        files[f"hardware/out/{name}.svg"] = svg if svg.endswith("\n") else svg + "\n"
    for name, netlist in hardware.stages.items():
        supply = full_wave(netlist.meta["supply_v"]["nom"], 50.0)
        files[f"hardware/out/{name}.cir"] = deck(netlist, TYPICAL, supply)
    return files


def _drawings(hardware: Hardware) -> dict[str, str]:
    drawings = {f"sense-{name}": circuits_svg.presence_stage(netlist) for name, netlist in hardware.stages.items()}
    drawings |= {f"pins-{board}": circuits_svg.pin_plan(hardware, board) for board in hardware.boards}
    drawings["input-contact"] = circuits_svg.contact_input(hardware)
    drawings["input-analog"] = circuits_svg.analog_inputs(hardware)
    drawings["input-probes"] = circuits_svg.probe_inputs()
    return drawings | placement_svg.drawings(hardware)
