"""The batches of used oil beside the published limits, and how long their papers are kept."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

from sootline.files import profiles
from sootline.heat.used_oil import (
    Finding,
    OilBatch,
    keep_until,
    on_specification,
    space_heater_conditions,
    specification,
)

Vent = Literal["outdoors", "indoors"]
SPECIFICATION = {
    True: "within every limit of 40 CFR 279.11",
    False: "outside a limit of 40 CFR 279.11",
    None: "not known: not all of 40 CFR 279.11 was tested",
}


def told(number: int, batch: OilBatch, folder: Path, vent: Vent | None) -> dict[str, Any]:
    """One batch in JSON form: what it is, its tests, the conditions for a space heater, how long its papers are kept.

    folder: of the profiles' parent, for the ratings; vent: where the combustion gases go, None where nobody said
    Raises: OutOfRange
    """
    made: dict[str, Any] = {
        "number": number,
        "received": batch.received.isoformat(),
        "source": batch.source,
        "kind": batch.kind,
        "litres": batch.volume_l,
        "flash_C": batch.flash_C,
        "analysis": batch.analysis,
        "specification": SPECIFICATION[on_specification(batch)],
        "tests": [_finding(finding) for finding in specification(batch)],
        "space_heater": list(_space_heater(batch, folder, vent)),
        "keep_until": keep_until(batch.received).isoformat(),
    }
    return made


def _finding(finding: Finding) -> dict[str, str]:
    return {"item": finding.item, "result": finding.result, "text": finding.text}


def _space_heater(batch: OilBatch, folder: Path, vent: Vent | None) -> Iterator[dict[str, str]]:
    """The conditions for each furnace whose rating is known; what was not told is not compared."""
    for name, profile in profiles.load_folder(folder / "profiles").items():
        rated_kW = profile.furnace.rated_input_kW
        if rated_kW is None:
            yield {"furnace": name, "item": "rated input", "result": "untested", "text": "rated input not known"}
        for finding in space_heater_conditions(batch.source, 1000.0 * (rated_kW or 0.0), vent == "outdoors"):
            known = (finding.item != "vent" or vent) and (finding.item != "rated input" or rated_kW)
            if known:
                yield {"furnace": name, **_finding(finding)}
        if vent is None:
            yield {"furnace": name, "item": "vent", "result": "untested", "text": "vent not told (--vent)"}
