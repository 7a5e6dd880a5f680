"""What a record says, in the types the sums use: corrections, deliveries, differential, baseline."""

from typing import Any, cast

from sootline.commissioning.air_flow import AirFlow
from sootline.commissioning.baseline import Baseline
from sootline.commissioning.fixed_points import Correction
from sootline.commissioning.record import Record
from sootline.commissioning.refill import Delivery, RunTime, delivery_at, run_time


def correction(record: Record, channel: str) -> Correction | None:
    """Correction of a temperature channel: offset and slope when it was boiled, else the offset in ice, else None."""
    if entry := record.latest("boiling_point", channel):
        result = _numbers(entry.result)
        return Correction(result["offset_K"], result["slope"])
    if entry := record.latest("ice_point", channel):
        return Correction(_numbers(entry.result)["offset_K"])
    return None


def deliveries(record: Record) -> list[Delivery]:
    """The measured deliveries of the refill pump, the newest of each whole degree of oil temperature."""
    newest: dict[int, Delivery] = {}
    for entry in sorted(record.entries, key=lambda entry: entry.on):
        if entry.step == "refill_delivery":
            found = Delivery(**_numbers(entry.result))
            newest[round(found.oil_C)] = found
    return list(newest.values())


def differential_l(record: Record) -> float | None:
    """Oil between the float's levels [l]."""
    entry = record.latest("float_travel")
    return None if entry is None else _numbers(entry.result)["volume_l"]


def refill_time(record: Record, oil_C: float, burn_l_per_s: float = 0.0) -> RunTime | None:
    """Run time to expect of a refill, or None until both were measured. Raises UserError when the pump cannot win."""
    volume, measured = differential_l(record), deliveries(record)
    if volume is None or not measured:
        return None
    return run_time(volume, delivery_at(measured, oil_C), burn_l_per_s)


def air_table(record: Record) -> AirFlow | None:
    """The technician's table of air pressure against oil flow."""
    entry = record.latest("air_flow")
    if entry is None:
        return None
    result = cast("dict[str, Any]", entry.result)
    return AirFlow(tuple((pair[0], pair[1]) for pair in result["points"]), result["nozzle_C"])


def clean_baseline(record: Record) -> Baseline | None:
    """The newest clean baseline."""
    entry = record.latest("baseline")
    return None if entry is None else Baseline(**_numbers(entry.result))


def _numbers(result: dict[str, object]) -> dict[str, float]:
    return cast("dict[str, float]", result)
