"""Units people read: °C, L and kPa, or °F, gal and psi. Inside sootline every quantity is in contract units.

Factors are exact by definition (inch 25.4 mm, pound 0.45359237 kg, standard gravity 9.80665 m/s², US gallon 231 in³,
Btu (IT) 1055.05585262 J) or conventional (inch of water: 1000 kg/m³; inch of mercury: 13 595.1 kg/m³).
Source: NIST Special Publication 811 (2008), appendix B.
"""

import math
import re
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Literal, get_args

from sootline.channels import CHANNELS

System = Literal["si", "us"]
SYSTEMS: tuple[System, ...] = get_args(System)

INCH_M = 0.0254
POUND_KG = 0.45359237
GRAVITY = 9.80665
GALLON_L = 231 * INCH_M**3 * 1000
PSI_PA = POUND_KG * GRAVITY / INCH_M**2
INCH_WATER_PA = 1000.0 * GRAVITY * INCH_M
INCH_MERCURY_PA = 13595.1 * GRAVITY * INCH_M
BTU_J = 1055.05585262
MINUS = "−"
NO_READING = "–"


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit to show: shown = value * scale + offset, with `digits` decimals."""

    label: str
    scale: float = 1.0
    offset: float = 0.0
    digits: int = 0


@dataclass(frozen=True, slots=True)
class Shown:
    """A number ready to read. `text` carries a true minus sign; `unit` may be empty."""

    text: str
    unit: str

    def __str__(self) -> str:
        if not self.unit:
            return self.text
        return f"{self.text} {self.unit}"


# quantity -> (metric, US customary); the value given is in the unit named on the right
_QUANTITIES: dict[str, tuple[Unit, Unit]] = {
    "temperature": (Unit("°C"), Unit("°F", 1.8, 32.0)),  # Cel
    "air temperature": (Unit("°C", digits=1), Unit("°F", 1.8, 32.0)),  # Cel
    "difference": (Unit("°C"), Unit("°F", 1.8)),  # K; people read degrees, not kelvins
    "fine difference": (Unit("°C", digits=1), Unit("°F", 1.8, digits=1)),  # K
    "rate": (Unit("°C/min", digits=1), Unit("°F/min", 1.8, digits=1)),  # K/min
    "pressure": (Unit("kPa", 1e-3, digits=1), Unit("psi", 1 / PSI_PA, digits=1)),  # Pa
    "vacuum": (Unit("kPa", 1e-3, digits=1), Unit("in Hg", 1 / INCH_MERCURY_PA, digits=1)),  # Pa
    "draft": (Unit("Pa", digits=1), Unit("in w.c.", 1 / INCH_WATER_PA, digits=3)),  # Pa
    "volume": (Unit("L"), Unit("gal", 1 / GALLON_L, digits=1)),  # L
    "small volume": (Unit("L", digits=2), Unit("gal", 1 / GALLON_L, digits=2)),  # L
    "flow": (Unit("L/h", digits=1), Unit("gal/h", 1 / GALLON_L, digits=2)),  # L/h
    "ratio": (Unit("%", 100.0), Unit("%", 100.0)),
    "current": (Unit("A", digits=1), Unit("A", digits=1)),  # A
    "power": (Unit("W"), Unit("W")),  # W, electric
    "heat input": (Unit("kW", digits=1), Unit("kBtu/h", 3600 / BTU_J)),  # kW
    "seconds": (Unit("s", digits=1), Unit("s", digits=1)),  # s
    "count": (Unit(""), Unit("")),
    "number": (Unit("", digits=2), Unit("", digits=2)),
}

_AIR = ("return_air", "supply_air", "room", "outdoor", "combustion_air", "supply")


def quantity_of(channel: str) -> str:
    """The quantity an analog channel shows: `temperature` for `tank`, `draft` for `draft_fire`."""
    if channel in _AIR:
        return "air temperature"
    if channel.startswith("draft_"):
        return "draft"
    if channel == "suction":
        return "vacuum"
    by_unit = {"Cel": "temperature", "Pa": "pressure", "/": "ratio", "A": "current", "": "count"}
    return by_unit[CHANNELS[channel].unit]


def unit_of(quantity: str, system: System) -> Unit:
    metric, customary = _QUANTITIES[quantity]
    return customary if system == "us" else metric


def convert(value: float, quantity: str, system: System) -> float:
    """`value` [contract unit of the quantity] in the unit shown."""
    unit = unit_of(quantity, system)
    return value * unit.scale + unit.offset


def shown(value: float | None, quantity: str, system: System = "si") -> Shown:
    """`value` [contract unit of the quantity] as text and unit; a missing or NaN value is a dash."""
    unit = unit_of(quantity, system)
    if value is None or not math.isfinite(value):
        return Shown(NO_READING, unit.label)
    text = f"{value * unit.scale + unit.offset:.{unit.digits}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return Shown(text.replace("-", MINUS), unit.label)


def show(value: float | None, quantity: str, system: System = "si") -> str:
    """`value` as one string: `65 °C`."""
    return str(shown(value, quantity, system))


def channel_value(channel: str, value: float | None, system: System = "si") -> Shown:
    """A reading of `channel` [contract unit]; an on/off channel reads `on` or `off`."""
    if CHANNELS[channel].kind == "state":
        if value is None or math.isnan(value):
            return Shown(NO_READING, "")
        return Shown("on" if value > 0.5 else "off", "")
    return shown(value, quantity_of(channel), system)


def duration(seconds: float) -> str:
    """A length of time in at most two whole units: `4 s`, `3 min`, `2 h 10 min`, `3 days 4 h`."""
    seconds = max(0, int(seconds))
    if seconds < 60:
        return f"{seconds} s"
    minutes = seconds // 60
    if minutes < 60:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 24:
        return f"{hours} h {minutes} min" if minutes and hours < 10 else f"{hours} h"
    days, hours = divmod(hours, 24)
    text = f"{days} day" if days == 1 else f"{days} days"
    return f"{text} {hours} h" if hours and days < 3 else text


def age(seconds: float) -> str:
    """How long ago: `now`, `4 s ago`, `3 days 4 h ago`. A time a little ahead of the clock is `now`."""
    return "now" if seconds < 1 else f"{duration(seconds)} ago"


def clock(t_ms: int, now_ms: int, zone: tzinfo | None = None) -> str:
    """A moment as people say it: `14:06` today, `Fri 06:52` within six days, `5 Jan 06:52`, `5 Jan 2026` long ago.

    Without a zone it is the zone of the machine.
    """
    then = datetime.fromtimestamp(t_ms / 1000, zone)
    today = datetime.fromtimestamp(now_ms / 1000, zone)
    days = (today.date() - then.date()).days
    if days == 0:
        return f"{then:%H:%M}"
    if abs(days) <= 6:
        return f"{then:%a %H:%M}"
    if abs(days) < 180:
        return f"{then.day} {then:%b %H:%M}"
    return f"{then.day} {then:%b %Y}"


def day(t_ms: float, zone: tzinfo | None = None) -> str:
    """A day as people write it: `5 Jan 2026`. Without a zone it is the zone of the machine."""
    then = datetime.fromtimestamp(t_ms / 1000, zone)
    return f"{then.day} {then:%b %Y}"


# what stands behind a number in a text -> its quantity and what one of it is in the contract unit
_SAID = {
    "K per 100 h": ("difference", 1.0), "K/min": ("rate", 1.0), "°C": ("temperature", 1.0), "K": ("difference", 1.0),
    "kPa": ("pressure", 1e3), "Pa": ("draft", 1.0), "L/h": ("flow", 1.0), "L": ("volume", 1.0),
}  # fmt: skip
_NUMBER = r"[-+−]?\d[\d,]*(?:\.\d+)?"
_QUANTITY = re.compile(
    rf"({_NUMBER})(?: ± ({_NUMBER}))? ({'|'.join(re.escape(u) for u in sorted(_SAID, key=len, reverse=True))})(?![\w/])"
)


def said(text: str, system: System) -> str:
    """A sentence of ours whose numbers carry contract units, in the units shown: `oil 8 K too cold` -> `14 °F`.

    A number without a unit behind it stays as it is. A vacuum on the suction side reads in in Hg, not in psi.
    """
    return _QUANTITY.sub(lambda found: _said(found, text, system), text)


def _said(found: re.Match[str], text: str, system: System) -> str:
    number, error, unit = found.groups()
    quantity, factor = _SAID[unit]
    if unit == "kPa" and "suction" in text[: found.start()].rpartition(";")[2]:
        quantity = "vacuum"
    label = unit_of(quantity, system)
    tail = " per 100 h" if unit.endswith("per 100 h") else ""
    if system == "si" and unit not in ("K", "K/min", "K per 100 h"):
        return found[0].replace("-", MINUS)
    value = _rescaled(number, factor, label, label.offset)
    spread = "" if error is None else f" ± {_rescaled(error, factor, label, 0.0)}"
    return f"{value}{spread} {label.label}{tail}"


def _rescaled(number: str, factor: float, unit: Unit, offset: float) -> str:
    plain = number.replace(",", "").replace(MINUS, "-")
    digits = max(len(plain.partition(".")[2]), 0 if unit.scale in (1.0, 1.8) else unit.digits)
    text = f"{float(plain) * factor * unit.scale + offset:{'+' if plain.startswith('+') else ''}.{digits}f}"
    return text.replace("-", MINUS)
