"""What the workshop of the demo has on paper: the batches of oil it took in, and what was measured at commissioning.

Days are counted from the Monday on which the story begins. Everything is invented.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from sootline.heat.used_oil import OilBatch
from sootline.sim.workshop import FURNACES

MONDAY = date(2026, 1, 5)


def _batch(day: int, *batch: Any, **tests_ppm: float) -> OilBatch:
    source, kind, litres, flash_C, analysis = batch
    return OilBatch(MONDAY + timedelta(days=day), source, kind, litres, tests_ppm, flash_C, analysis)


BATCHES: tuple[OilBatch, ...] = (
    _batch(-40, "own", "vg-46", 850.0, 205.0, "hydraulic oil of the wheel lathe; sheet 1 of the oil folder"),
    _batch(
        -26, "own", "gear oil with hydraulic oil", 560.0, 190.0, "sheet 2 of the oil folder",
        arsenic=0.3, cadmium=0.1, chromium=0.8, lead=9.0, halogens=120.0,
    ),
    _batch(
        12, "household", "engine-15w-40", 600.0, 172.0, "sheet 3 of the oil folder",
        arsenic=0.6, cadmium=0.5, chromium=2.1, lead=31.0, halogens=340.0,
    ),
    _batch(18, "other", "unknown, from a garage; refused and taken back", 200.0, None, "sheet 4", halogens=1150.0),
    _batch(22, "household", "engine-15w-40", 500.0, 168.0, "sheet 5 of the oil folder", halogens=410.0),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Measured:
    """One step of commissioning: which, for which channel, by whom, with what values."""

    step: str
    channel: str
    by: str
    values: Mapping[str, Any]


def commissioned(furnace: str) -> tuple[Measured, ...]:
    """Every step that the furnace's trend verdicts wait for, done the day before the story begins."""
    large = furnace == "engine-shed"
    differential_l, net_K = (0.45, 262.0) if large else (0.30, 238.0)
    tested = "a technician of the county"
    done = [
        Measured("bench", "", "Jory", {"wrong_inputs": 0, "hours": 48, "resets": 0, "faults": 0, "rssi": -61}),
        Measured("refill_delivery", "", "Maud", {
            "volume_l": 3.0, "time_s": 71.0 if large else 95.0, "runs": 6, "oil_C": 20.0, "pump_A": 0.3,
        }),
        Measured("float_travel", "", "Maud", {"volumes_l": [differential_l + x for x in (-0.01, 0.0, 0.01)]}),
        Measured("air_flow", "", tested, {
            "pressures_kPa": [83.0, 97.0, 110.0] if large else [62.0, 76.0, 90.0],
            "flows_l_per_h": [3.8, 4.2, 4.5] if large else [2.3, 2.65, 2.9],
            "nozzle_C": 95.0 if large else 85.0, "oil": "gear oil" if large else "hydraulic oil",
        }),
        Measured("combustion", "", tested, {
            "draft_breech_Pa": -11.0, "oxygen_pct": 6.0, "smoke_spot": 1, "co_ppm": 35, "net_stack_K": net_K,
        }),
        Measured("baseline", "", "Maud", {
            "net_K": [net_K + x for x in (-1.0, 1.0, 0.0, 2.0, -2.0)], "firing_min": [25.0, 24.0, 27.0, 25.0, 26.0],
            "fuel": "gear oil" if large else "hydraulic oil", "outdoor_C": -1.0,
        }),
        Measured("boiling_point", "stack", "Maud", {"ice_C": 0.4, "reading_C": 100.2, "station_hPa": 1013.0}),
        Measured("stack_reference", "stack", tested, {"reading_C": 279.0, "reference_C": 277.0}),
        Measured("swap_test", "return_air", "Maud", {
            "other_channel": "room", "first_C": [16.1, 16.3], "swapped_C": [16.2, 16.2],
        }),
    ]  # fmt: skip
    for channel in ("tank", "nozzle", "stack", "return_air"):
        sensor = "thermocouple" if channel == "stack" else "1-wire"
        where = {"insertion_mm": 90.0, "distances": "300 mm to the breech, 450 mm to the damper", "serial": channel,
                 "photo": "in the oil folder"}  # fmt: skip
        done.append(Measured("ice_point", channel, "Maud", {"sensor": sensor, "reading_C": 0.3}))
        done.append(Measured("probe_geometry", channel, "Maud", where))
    sensed = {"on_V": 0.1, "off_V": 3.2, "unplugged_V": 3.2}
    done += [Measured("senses", channel, tested, sensed) for channel in ("pump", "call")]
    fitted = FURNACES[furnace].channels
    return tuple(step for step in done if not step.channel or step.channel in fitted)
