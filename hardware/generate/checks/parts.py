"""Does the parts list hold what the circuits, senses and probes use, in number and in rating?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from hardware.generate.checks.problem import Problem
from hardware.generate.load import CONSUMABLE, OPTIONAL, REFERENCE, STANDARD, BomRow, Hardware, Part, bom_uses

REFERENCE_STAGES = ("b120", "c230")
AT_LEAST = {
    "w": "w",
    "v": "v",
    "viso_v": "viso_v",
    "creepage_mm": "creepage_mm",
    "ctr_min": "ctr",
    "if_max_ma": "if_max_ma",
}


def problems(hardware: Hardware) -> Iterator[Problem]:
    placed = [*hardware.sensor_board.parts]
    for name in REFERENCE_STAGES:
        placed += [part for part in hardware.stages[name].parts if not part.ref.startswith("IN_")]
    for part in placed:
        yield from _covered(hardware, part)
    uses = Counter(bom_uses(hardware))
    reference = Counter(part.bom for part in placed[len(hardware.sensor_board.parts) :] if part.bom)
    for row in hardware.bom.values():
        yield from _row(row, uses, reference)
    for bom_id in uses:
        if bom_id not in hardware.bom:
            yield Problem("bom-missing", f"bom {bom_id}", "is used but not in the parts list")
    for sense in hardware.senses:
        for bom_id in sense["bom"] if sense["domain_in"] == "mains" else ():
            if bom_id in hardware.bom and not hardware.bom[bom_id].safety_listed:
                yield Problem("bom-listed", f"bom {bom_id}", "works on mains and must be a listed device")


def _covered(hardware: Hardware, part: Part) -> Iterator[Problem]:
    row = hardware.bom.get(part.bom)
    if not part.bom:
        yield Problem("bom-missing", part.ref, "names no row of the parts list")
    if row is None:
        if part.bom:
            yield Problem("bom-missing", part.ref, f"{part.bom} is not in the parts list")
        return
    have = {"w": part.w, "v": part.v, **{k: v for k, v in part.fields.items() if isinstance(v, int | float)}}
    for key, spec in AT_LEAST.items():
        needed = have.get(key, 0)
        if needed and row.min_spec.get(spec, 0) < needed:
            yield Problem(
                "bom-spec",
                f"bom {row.id}",
                f"{part.ref} needs {spec} {needed:g}, the row says {row.min_spec.get(spec)}",
            )
    if part.tol and row.min_spec.get("tol", 1.0) > part.tol:
        yield Problem(
            "bom-spec", f"bom {row.id}", f"{part.ref} needs tol {part.tol:g}, the row says {row.min_spec.get('tol')}"
        )


def _row(row: BomRow, uses: Counter[str], reference: Counter[str]) -> Iterator[Problem]:
    where = f"bom {row.id}"
    if row.build not in (STANDARD, OPTIONAL, REFERENCE, CONSUMABLE):
        yield Problem("bom-build", where, f"build {row.build!r}")
    if row.usd_low > row.usd_high:
        yield Problem("bom-price", where, "low price above high")
    if row.build == CONSUMABLE:
        return
    count = reference[row.id] if row.build == REFERENCE else uses[row.id]
    if row.qty != count:
        yield Problem("bom-qty", where, f"quantity {row.qty}, the data use {count}")
