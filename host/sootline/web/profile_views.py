"""The values of a profile as people read and change them: words, units, bounds, and where each number comes from."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

from sootline import profile as profiles
from sootline.analysis.detect.stack_rising import AT_RISE_K
from sootline.analysis.settings import Settings, table
from sootline.now import Readiness
from sootline.profile import Profile
from sootline.units import GALLON_L, System, unit_of
from sootline.web.forms import FormError
from sootline.wording import alarm_title

Value = float | str | date | None


@dataclass(frozen=True, slots=True)
class Field:
    """A value of a profile. per: contract units of `quantity` in one unit of the file."""

    key: str
    label: str
    quantity: str = ""
    per: float = 1.0
    default: str = ""


FIELDS: tuple[Field, ...] = (
    Field("furnace.rated_input_kW", "Rated input", "heat input"),
    Field("furnace.heating", "When the oil is heated"),
    Field("furnace.clean_on", "Heat exchanger known clean on"),
    Field("refill.limit_s", "Run time of the refill limiter", "seconds", default="limit_s"),
    Field("refill.differential_l", "Oil between the float's two levels", "small volume"),
    Field("tank.setpoint_C", "Day tank set point", "temperature"),
    Field("tank.limit_C", "Day tank limit", "temperature", default="tank_limit_C"),
    Field("tank.heater_W", "Day tank heater", "power"),
    Field("tank.volume_l", "Day tank volume", "small volume"),
    Field("nozzle.setpoint_C", "Nozzle set point", "temperature"),
    Field("nozzle.limit_C", "Nozzle limit", "temperature", default="nozzle_limit_C"),
    Field("nozzle.heater_W", "Nozzle heater", "power"),
    Field("stack.limit_C", "Stack limit", "temperature", default="stack_limit_C"),
    Field("air.setpoint_kPa", "Atomising air set point", "pressure", per=1000.0),
    Field("air.band_kPa", "Atomising air band, either way", "pressure", per=1000.0),
    Field("supply.volume_l", "Supply tank volume", "volume"),
    Field("supply.notice_days", "Notice before the supply runs out", "days", default="supply_notice_days"),
    Field("room.freeze_C", "Room must not fall below", "air temperature"),
    Field("cleaning.at_rise_K", "Clean at this rise above the clean stack", "difference"),
    Field("cleaning.cost", "Cost of one cleaning, in your currency", "money"),
    Field("cleaning.oil_value_per_l", "Worth of oil not wasted, in your currency", "money per volume"),
    Field("servicing.every_h", "Service after so many hours of fire", "hours"),
    Field("servicing.every_l", "Service after so much oil", "volume"),
)
HEATING = {"on-call": "only during a call", "keep-warm": "always"}
_PLAIN = {"days": "days", "hours": "h", "money": ""}
_DEFAULTS = {setting.name: (getattr(Settings(), setting.name), setting.metadata["reason"]) for setting in table()}


@dataclass(frozen=True, slots=True)
class ValueView:
    """One value. text: as a form shows it; shown: with its unit; source: where it comes from; line: of the file."""

    key: str
    label: str
    kind: str
    unit: str
    text: str
    shown: str
    source: str
    line: int | None
    low: str
    high: str


def value_views(
    profile: Profile,
    lines: Mapping[str, int],
    learned: Mapping[str, float],
    readiness: tuple[Readiness, ...],
    system: System,
) -> tuple[ValueView, ...]:
    """Every value, in the order of FIELDS."""
    return tuple(_view(field, profile, lines, learned, readiness, system) for field in FIELDS)


def _view(
    field: Field,
    profile: Profile,
    lines: Mapping[str, int],
    learned: Mapping[str, float],
    readiness: tuple[Readiness, ...],
    system: System,
) -> ValueView:
    given = value_of(profile, field.key)
    low, high = bounds(field)
    in_force, source = _in_force(field, given, learned, readiness)
    unit = unit_words(field, system)
    shown = text_of(field, in_force, system)
    if field.key == "furnace.heating":
        shown = HEATING.get(shown, shown)
    return ValueView(
        key=field.key,
        label=field.label,
        kind={"furnace.heating": "choice", "furnace.clean_on": "date"}.get(field.key, "number"),
        unit=unit,
        text=text_of(field, given, system),
        shown=f"{shown} {unit}".strip() if shown else "",
        source=source,
        line=lines.get(field.key),
        low=_bound(field, low, system),
        high=_bound(field, high, system),
    )


def _in_force(
    field: Field, given: Value, learned: Mapping[str, float], readiness: tuple[Readiness, ...]
) -> tuple[Value, str]:
    """What the analysis works with, and where that comes from."""
    if given is not None:
        return given, "profile"
    if field.key in learned:
        return learned[field.key], "learned from what it did"
    if field.default:
        value, reason = _DEFAULTS[field.default]
        return value, f"default: {reason}"
    if field.key == "cleaning.at_rise_K":
        return AT_RISE_K, "default: 75 °F over clean, boiler makers' practice"
    blind = [alarm_title(item.alarm).lower() for item in readiness if item.needs == field.key]
    return None, f"missing; without it blind to: {', '.join(blind)}" if blind else "not given"


def value_of(profile: Profile, key: str) -> Value:
    section, _, name = key.partition(".")
    value: Value = getattr(getattr(profile, section), name)
    return value


def bounds(field: Field) -> tuple[float | None, float | None]:
    """The least and greatest value a profile may hold [unit of the file]."""
    metadata = _metadata(field.key)
    return metadata.get("low"), metadata.get("high")


def _metadata(key: str) -> Mapping[str, Any]:
    section, _, name = key.partition(".")
    kind = type(getattr(Profile(profiles.Furnace("any")), section))
    return next(f.metadata for f in fields(kind) if f.name == name)


def unit_words(field: Field, system: System) -> str:
    if field.quantity == "money per volume":
        return f"per {'gal' if system == 'us' else 'L'}"
    if field.quantity in _PLAIN:
        return _PLAIN[field.quantity]
    return unit_of(field.quantity, system).label if field.quantity else ""


def _scale(field: Field, system: System) -> tuple[float, float]:
    """shown = value in the file * scale + offset"""
    if field.quantity == "money per volume":
        return (GALLON_L if system == "us" else 1.0), 0.0
    if field.quantity in _PLAIN:
        return 1.0, 0.0
    unit = unit_of(field.quantity, system)
    return unit.scale * field.per, unit.offset


def text_of(field: Field, value: Value, system: System) -> str:
    """A value as it is written into a form, in the units chosen."""
    if value is None:
        return ""
    if not isinstance(value, int | float):
        return str(value)
    scale, offset = _scale(field, system)
    number = value * scale + offset
    return f"{number:.0f}" if abs(number) >= 1e4 else f"{number:.5g}"


def _bound(field: Field, value: float | None, system: System) -> str:
    """An end of the range, as exact as anybody needs it."""
    if value is None:
        return ""
    scale, offset = _scale(field, system)
    number = value * scale + offset
    return f"{number:,.0f}" if abs(number) >= 100 else f"{number:.3g}"


def changes(form: Mapping[str, str], profile: Profile, system: System) -> dict[str, Value]:
    """What a sent form changes, by key [units of the file]. Raises FormError.

    A value whose text is as it was shown stays as it is in the file, to the last digit.
    """
    found: dict[str, Value] = {}
    for field in FIELDS:
        if field.key in form and (sent := form[field.key].strip()) != text_of(
            field, value_of(profile, field.key), system
        ):
            found[field.key] = _parse(field, sent, system)
    _refuse_nonsense({**{f.key: value_of(profile, f.key) for f in FIELDS}, **found})
    return found


def _parse(field: Field, text: str, system: System) -> Value:
    if not text:
        return None
    if field.key == "furnace.heating":
        if text not in HEATING:
            raise FormError(f"{field.label}: choose one of {', '.join(HEATING)}.")
        return text
    if field.key == "furnace.clean_on":
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise FormError(f"{field.label}: give a date.") from None
    scale, offset = _scale(field, system)
    try:
        value = (float(text.replace(",", ".").replace("−", "-")) - offset) / scale
    except ValueError:
        raise FormError(f"{field.label}: give a number.") from None
    low, high = bounds(field)
    assert low is not None and high is not None
    if not low * (1 - 1e-9) - 1e-9 <= value <= high * (1 + 1e-9) + 1e-9:
        ends = f"{_bound(field, low, system)} and {_bound(field, high, system)} {unit_words(field, system)}".strip()
        raise FormError(f"{field.label}: it must lie between {ends}.")
    return min(max(float(f"{value:.6g}"), low), high)


def _refuse_nonsense(values: Mapping[str, Value]) -> None:
    """A limit at or below its set point would stand as an alarm for ever."""
    for part, words in (("tank", "day tank"), ("nozzle", "nozzle")):
        setpoint_C, limit_C = values[f"{part}.setpoint_C"], values[f"{part}.limit_C"]
        if isinstance(setpoint_C, float) and isinstance(limit_C, float) and limit_C <= setpoint_C:
            raise FormError(f"The limit of the {words} must lie above its set point.")
