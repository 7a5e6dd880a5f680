"""What a person can do at the furnace, by name."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from sootline.sim.oil import Oil, blend
from sootline.sim.plant import tank_volume_l
from sootline.sim.surroundings import CLEANED_SHARE

if TYPE_CHECKING:
    from sootline.sim.furnace import Furnace


def _refill_reset(f: Furnace) -> None:
    f.gear.limiter.reset()


def _primary_reset(f: Furnace) -> None:
    f.gear.primary.reset()


def _service_switch(f: Furnace, on: bool) -> None:
    f.gear.switch_on = on


def _clean(f: Furnace, share: float = CLEANED_SHARE) -> None:
    f.around.clean(share)


def _change_filter(f: Furnace) -> None:
    f.repair("filter-plugging")
    f.around.filter_resistance = 1.0


def _change_electrodes(f: Furnace) -> None:
    f.repair("electrodes-worn")
    f.repair("no-ignition")


def _change_nozzle(f: Furnace, flow: float = 1.0) -> None:
    """`flow`: oil it passes against the nozzle the furnace was set up with."""
    f.repair("wrong-nozzle")
    f.around.nozzle_flow = flow


def _reset_cut_out(f: Furnace, heater: str) -> None:
    f.repair("cut-out-tripped", heater)
    f.gear.tripped[heater].closed = False


def _fill_supply(f: Furnace, litres: float, oil: Oil | None = None) -> None:
    poured = f.spec.first_oil if oil is None else oil
    f.state = f.state._replace(supply_l=f.around.fill(f.state.supply_l, litres, poured))


def _top_up(f: Furnace) -> None:
    """Fill the day tank by hand to the float's upper level, with oil as cold as the supply tank's."""
    supply = f.around.supply_oil
    assert supply is not None
    s = f.state
    litres = max(0.0, f.spec.tank_volume_l - tank_volume_l(s))
    poured_kg = litres * supply.density_kg_l(f.around.supply_C)
    kg = s.tank_kg + poured_kg
    oil = blend(s.oil, supply, poured_kg / kg)
    heat_J = s.tank_kg * s.oil.enthalpy_J_kg(s.tank_C) + poured_kg * supply.enthalpy_J_kg(f.around.supply_C)
    f.state = s._replace(oil=oil, tank_kg=kg, tank_C=oil.temperature_C(heat_J / kg), supply_l=s.supply_l - litres)


def _empty_tray(f: Furnace) -> None:
    f.state = f.state._replace(tray_l=0.0)


def _skim_tank(f: Furnace) -> None:
    """Draw an overfull day tank down to the float's upper level."""
    f.set_tank_l(min(f.spec.tank_volume_l, tank_volume_l(f.state)))


def _set_point(f: Furnace, heater: str, value_C: float) -> None:
    f.gear.setpoint_C[heater] = value_C


def _repair(f: Furnace, fault: str, channel: str = "") -> None:
    f.repair(fault, channel)


ACTIONS: dict[str, Callable[..., None]] = {
    "refill-reset": _refill_reset,
    "primary-reset": _primary_reset,
    "service-switch": _service_switch,
    "clean": _clean,
    "change-filter": _change_filter,
    "change-electrodes": _change_electrodes,
    "change-nozzle": _change_nozzle,
    "reset-cut-out": _reset_cut_out,
    "fill-supply": _fill_supply,
    "top-up": _top_up,
    "empty-tray": _empty_tray,
    "skim-tank": _skim_tank,
    "set-point": _set_point,
    "repair": _repair,
}
