"""The channel dictionary: everything a board may report, with unit, plausible range and meaning.

A reading outside the plausible range cannot be this quantity at a furnace; it is set aside as a range fault.
"""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["analog", "state"]


@dataclass(frozen=True, slots=True)
class Channel:
    """One quantity. `unit` is the SenML unit ("" for on/off states); `low`/`high` bound what is plausible [unit]."""

    name: str
    kind: Kind
    unit: str
    low: float
    high: float
    meaning: str


def _temperature(name: str, high: float, meaning: str) -> Channel:
    return Channel(name, "analog", "Cel", -60.0, high, meaning)


def _state(name: str, meaning: str) -> Channel:
    return Channel(name, "state", "", 0.0, 1.0, meaning)


_ALL = (
    _temperature("tank", 300.0, "oil in the day tank"),
    _temperature("nozzle", 400.0, "oil at the nozzle block"),
    _temperature("stack", 1372.0, "flue gas at the breech, before the draft regulator"),
    _temperature("return_air", 150.0, "air entering the furnace"),
    _temperature("supply_air", 250.0, "air leaving the furnace"),
    _temperature("room", 80.0, "the heated space"),
    _temperature("outdoor", 70.0, "outdoors"),
    _temperature("combustion_air", 150.0, "air entering the burner"),
    _temperature("supply", 150.0, "oil at the refill pump suction"),
    Channel("air_pressure", "analog", "Pa", -20e3, 1.5e6, "atomising air at the nozzle, gauge"),
    Channel("suction", "analog", "Pa", -102e3, 500e3, "refill pump suction, gauge (vacuum is negative)"),
    Channel("draft_fire", "analog", "Pa", -1000.0, 1000.0, "over the fire, gauge (draft is negative)"),
    Channel("draft_breech", "analog", "Pa", -1000.0, 1000.0, "at the breech, gauge (draft is negative)"),
    Channel("supply_level", "analog", "/", -0.05, 1.1, "supply tank contents as a ratio"),
    Channel("tank_level", "analog", "/", -0.05, 1.5, "day tank contents as a ratio"),
    Channel("tank_heater_current", "analog", "A", -0.5, 100.0, "day tank heater, RMS"),
    Channel("nozzle_heater_current", "analog", "A", -0.5, 100.0, "nozzle heater, RMS"),
    _state("pump", "refill pump energised"),
    _state("float", "day-tank float switch calls for oil"),
    _state("refill_lockout", "refill limiter latched out until its refill reset is pushed"),
    _state("call", "thermostat call for heat"),
    _state("burner", "burner motor and oil/air valve energised"),
    _state("flame", "flame detector sees flame"),
    _state("lockout", "primary safety control locked out"),
    _state("limit", "high-limit control open"),
    _state("tank_heater", "day tank heater energised"),
    _state("nozzle_heater", "nozzle heater energised"),
    _state("low_level", "day tank too low, heater inhibited"),
    _state("high_level", "day tank above full"),
    _state("leak", "liquid in the drip tray or containment"),
    _state("circulation", "oil loop pump running"),
    _state("blower", "warm-air fan running"),
    _state("power", "mains present after the service switch"),
)

CHANNELS: dict[str, Channel] = {channel.name: channel for channel in _ALL}
REQUIRED: tuple[str, ...] = ("tank", "nozzle", "stack", "pump")
STATES: tuple[str, ...] = tuple(c.name for c in _ALL if c.kind == "state")
ANALOG: tuple[str, ...] = tuple(c.name for c in _ALL if c.kind == "analog")
FAULTS: tuple[str, ...] = ("open", "short", "range", "crc", "absent")
