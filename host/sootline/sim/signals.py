"""The process values behind every channel, as a perfect converter at each probe would read them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from sootline.channels import CHANNELS, STATES
from sootline.sim.plant import tank_volume_l
from sootline.sim.suction import AIR_LEAK_VACUUM_PA

if TYPE_CHECKING:
    from sootline.sim.furnace import Furnace

CHIMNEY_M = 6.0
DAMPER_OPENS_PA, DAMPER_LEFT = 12.0, 0.15  # the draft regulator takes off most of the draft beyond its setting
EXCHANGER_DROP_PA = 7.0  # clean, at design air
ASH_DROP = 6.0  # growth of that drop with fouling, relative to the clean gas side


def natural_draft_Pa(flue_C: float, outdoor_C: float) -> float:
    """Draft of the chimney: its height times the difference in density of air at both temperatures (ideal gas)."""
    return 353.0 * 9.81 * CHIMNEY_M * (1.0 / (outdoor_C + 273.15) - 1.0 / (flue_C + 273.15))


def _draft_breech(f: Furnace) -> float:
    # Gas cools on its way up: the chimney's mean is taken as two thirds of the breech's excess over outdoors.
    mean_C = f.around.outdoor_C + (f.state.breech_C - f.around.outdoor_C) * 2.0 / 3.0
    draft = natural_draft_Pa(mean_C, f.around.outdoor_C)
    return -min(draft, DAMPER_OPENS_PA + DAMPER_LEFT * max(0.0, draft - DAMPER_OPENS_PA))


def _draft_fire(f: Furnace) -> float:
    flow = f.drive.gas_W_K / f.exchanger.gas_W_K
    ash = 1.0 + ASH_DROP * f.around.fouling_K_W * f.exchanger.gas_side_W_K
    return _draft_breech(f) + EXCHANGER_DROP_PA * flow * flow * ash


def _suction(f: Furnace) -> float:
    if not f.gear.outputs["pump"] or f.faults.on("pump-motor-dead"):
        return 0.0
    if f.faults.on("air-leak"):
        return -AIR_LEAK_VACUUM_PA
    return f.suction.gauge_Pa(f.pumping_l_s)


_ANALOG: dict[str, Callable[[Furnace], float]] = {
    "tank": lambda f: f.state.tank_probe_C,
    "nozzle": lambda f: f.state.nozzle_probe_C,
    "stack": lambda f: f.state.stack_probe_C,
    "return_air": lambda f: f.state.air_C,
    "supply_air": lambda f: f.state.supply_air_probe_C,
    "room": lambda f: f.state.air_C,
    "outdoor": lambda f: f.around.outdoor_C,
    "combustion_air": lambda f: f.state.air_C,
    "supply": lambda f: f.around.supply_C,
    # The air valve opens with the burner: the nozzle sees no pressure before.
    "air_pressure": lambda f: f.air_pressure_Pa if f.gear.primary.motor else 0.0,
    "suction": _suction,
    "draft_fire": _draft_fire,
    "draft_breech": _draft_breech,
    "supply_level": lambda f: f.state.supply_l / f.spec.supply_volume_l,
    "tank_level": lambda f: tank_volume_l(f.state) / f.spec.tank_volume_l,
    "tank_heater_current": lambda f: f.drive.tank_heater_W / f.spec.mains_V,
    "nozzle_heater_current": lambda f: f.drive.nozzle_heater_W / f.spec.mains_V,
}
assert set(_ANALOG) | set(STATES) == set(CHANNELS)


def process_values(f: Furnace, names: Sequence[str]) -> dict[str, float | bool]:
    """Channel -> true value, in the order of `names`."""
    outputs = f.gear.outputs
    return {name: outputs[name] if name in outputs else _ANALOG[name](f) for name in names}
