"""The profile of one furnace: what the owner knows of it, as TOML, checked and frozen.

Every key but `furnace.id` may be missing: then it is learned, or a stated default is used, or the alarm that needs it
says that it is blind.
"""

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from datetime import UTC, date, datetime
from typing import Any, Literal, get_args

from sootline.channels import CHANNELS
from sootline.errors import ProfileError
from sootline.wire.topics import FURNACE_ID

LogKind = Literal[
    "cleaning", "filter", "nozzle", "electrodes", "batch", "setpoint", "shutter", "blower", "repair", "service"
]
LOG_KINDS: tuple[str, ...] = get_args(LogKind)


def _number(low: float, high: float) -> Any:
    """An optional number that must lie in low..high."""
    return field(default=None, metadata={"low": low, "high": high})


@dataclass(frozen=True, slots=True)
class Furnace:
    id: str
    rated_input_kW: float | None = _number(1.0, 1000.0)
    heating: Literal["on-call", "keep-warm"] | None = None
    clean_on: date | None = None


@dataclass(frozen=True, slots=True)
class Refill:
    limit_s: float | None = _number(1.0, 600.0)
    differential_l: float | None = _number(0.01, 100.0)


@dataclass(frozen=True, slots=True)
class Tank:
    setpoint_C: float | None = _number(0.0, 200.0)
    limit_C: float | None = _number(20.0, 250.0)
    heater_W: float | None = _number(1.0, 20e3)
    volume_l: float | None = _number(0.1, 1000.0)


@dataclass(frozen=True, slots=True)
class Nozzle:
    setpoint_C: float | None = _number(0.0, 250.0)
    limit_C: float | None = _number(20.0, 300.0)
    heater_W: float | None = _number(1.0, 5e3)


@dataclass(frozen=True, slots=True)
class Stack:
    limit_C: float | None = _number(50.0, 1000.0)


@dataclass(frozen=True, slots=True)
class Air:
    setpoint_kPa: float | None = _number(1.0, 1500.0)
    band_kPa: float | None = _number(0.1, 500.0)


@dataclass(frozen=True, slots=True)
class Supply:
    volume_l: float | None = _number(1.0, 1e6)
    notice_days: float | None = _number(0.0, 365.0)


@dataclass(frozen=True, slots=True)
class Room:
    freeze_C: float | None = _number(-40.0, 30.0)


@dataclass(frozen=True, slots=True)
class Cleaning:
    at_rise_K: float | None = _number(1.0, 500.0)
    cost: float | None = _number(0.0, 1e6)
    oil_value_per_l: float | None = _number(0.0, 1e4)


@dataclass(frozen=True, slots=True)
class Servicing:
    """Between two services, as the owner wants them: hours of fire, litres of oil; whichever comes first."""

    every_h: float | None = _number(1.0, 10_000.0)
    every_l: float | None = _number(1.0, 100_000.0)


@dataclass(frozen=True, slots=True)
class LogEntry:
    """Something the owner did. It acts from its own time on, never before."""

    at_ms: int
    kind: LogKind
    channel: str | None = None
    value_C: float | None = _number(-40.0, 400.0)
    note: str | None = None


def event_of(entry: LogEntry) -> str:
    """The kind of the event that tells what an entry did: `entry-cleaning`, `entry-setpoint-tank`."""
    return f"entry-{entry.kind}" + (f"-{entry.channel}" if entry.channel else "")


@dataclass(frozen=True, slots=True)
class ServiceMode:
    """From at_ms on `by` works on the furnace, until until_ms at the latest; one that ends where it begins ends it."""

    at_ms: int
    until_ms: int
    by: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Profile:
    furnace: Furnace
    refill: Refill = Refill()
    tank: Tank = Tank()
    nozzle: Nozzle = Nozzle()
    stack: Stack = Stack()
    air: Air = Air()
    supply: Supply = Supply()
    room: Room = Room()
    cleaning: Cleaning = Cleaning()
    servicing: Servicing = Servicing()
    log: tuple[LogEntry, ...] = ()
    service: tuple[ServiceMode, ...] = ()


_SECTIONS: dict[str, type[Any]] = {
    "furnace": Furnace,
    "refill": Refill,
    "tank": Tank,
    "nozzle": Nozzle,
    "stack": Stack,
    "air": Air,
    "supply": Supply,
    "room": Room,
    "cleaning": Cleaning,
    "servicing": Servicing,
}


def parse(text: str, name: str = "profile") -> Profile:
    """The profile in `text`. Raises ProfileError with one line that says what to change; `name` stands before it."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ProfileError(f"{name}: not TOML: {error}") from None
    _refuse_unknown(document, [*_SECTIONS, "log", "service"], name, "")
    sections = {}
    for section, kind in _SECTIONS.items():
        table = document.get(section, {})
        if not isinstance(table, Mapping):
            raise ProfileError(f"{name}: [{section}] must be a table")
        sections[section] = _build(kind, table, name, section)
    log = [_log_entry(entry, name, f"log {i + 1}") for i, entry in enumerate(_tables(document, "log", name))]
    service = [_service(entry, name, f"service {i + 1}") for i, entry in enumerate(_tables(document, "service", name))]
    return Profile(
        **sections,
        log=tuple(sorted(log, key=lambda entry: entry.at_ms)),
        service=tuple(sorted(service, key=lambda mode: mode.at_ms)),
    )


def _tables(document: Mapping[str, Any], key: str, name: str) -> list[Mapping[str, Any]]:
    entries = document.get(key, [])
    if not isinstance(entries, list) or not all(isinstance(entry, Mapping) for entry in entries):
        raise ProfileError(f"{name}: {key} must be written as [[{key}]] tables")
    return entries


def _refuse_unknown(table: Mapping[str, Any], known: list[str], name: str, where: str) -> None:
    for key in table:
        if key not in known:
            near = difflib.get_close_matches(key, known, 1, 0.0)[0]
            prefix = f"{where}." if where else ""
            raise ProfileError(f"{name}: unknown key '{prefix}{key}'; the nearest known one is '{prefix}{near}'")


def _build(kind: type[Any], table: Mapping[str, Any], name: str, where: str) -> Any:
    known = {f.name: f for f in fields(kind)}
    _refuse_unknown(table, list(known), name, where)
    values = {}
    for key, f in known.items():
        if key not in table:
            if f.default is MISSING:
                raise ProfileError(f"{name}: '{where}.{key}' is missing; add it")
            continue
        values[key] = _value(table[key], f.metadata, f"{where}.{key}", name)
    return kind(**values)


def _value(value: Any, metadata: Mapping[str, float], key: str, name: str) -> Any:
    if "low" in metadata:
        low, high = metadata["low"], metadata["high"]
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ProfileError(f"{name}: '{key}' must be a number, not {value!r}")
        if not low <= value <= high:
            raise ProfileError(f"{name}: '{key}' is {value:g}; it must lie between {low:g} and {high:g}")
        return float(value)
    if key == "furnace.id":
        if not isinstance(value, str) or not FURNACE_ID.fullmatch(value):
            raise ProfileError(f"{name}: 'furnace.id' must be 1 to 32 of a-z, 0-9 and '-', not {value!r}")
    elif key == "furnace.heating":
        if value not in ("on-call", "keep-warm"):
            raise ProfileError(f'{name}: \'furnace.heating\' must be "on-call" or "keep-warm", not {value!r}')
    elif key == "furnace.clean_on":
        if isinstance(value, datetime):
            return value.date()
        if not isinstance(value, date):
            raise ProfileError(f"{name}: 'furnace.clean_on' must be a date such as 2026-01-04, not {value!r}")
    return value


def _log_entry(table: Mapping[str, Any], name: str, where: str) -> LogEntry:
    _refuse_unknown(table, ["at", "kind", "channel", "value_C", "note"], name, where)
    at_ms = _moment_ms(table, "at", name, where)
    kind = table.get("kind")
    if kind not in LOG_KINDS:
        raise ProfileError(f"{name}: '{where}.kind' must be one of {', '.join(LOG_KINDS)}, not {kind!r}")
    channel = table.get("channel")
    if channel is not None and channel not in CHANNELS:
        near = difflib.get_close_matches(str(channel), CHANNELS, 1, 0.0)[0]
        raise ProfileError(f"{name}: '{where}.channel' is no channel: {channel!r}; the nearest is '{near}'")
    value = table.get("value_C")
    if value is not None:
        value = _value(value, {"low": -40.0, "high": 400.0}, f"{where}.value_C", name)
    note = table.get("note")
    return LogEntry(at_ms, kind, channel, value, None if note is None else str(note))


def _service(table: Mapping[str, Any], name: str, where: str) -> ServiceMode:
    _refuse_unknown(table, ["at", "until", "by", "reason"], name, where)
    at_ms, until_ms = _moment_ms(table, "at", name, where), _moment_ms(table, "until", name, where)
    if until_ms < at_ms:
        raise ProfileError(f"{name}: '{where}.until' lies before its 'at'")
    return ServiceMode(at_ms, until_ms, str(table.get("by", "")), str(table.get("reason", "")))


def _moment_ms(table: Mapping[str, Any], key: str, name: str, where: str) -> int:
    """A date or time [ms]; without a zone it is UTC."""
    at = table.get(key)
    if isinstance(at, date) and not isinstance(at, datetime):
        at = datetime(at.year, at.month, at.day, tzinfo=UTC)
    if not isinstance(at, datetime):
        raise ProfileError(f"{name}: '{where}.{key}' must be a time such as 2026-02-01T10:00:00Z, not {at!r}")
    return round((at if at.tzinfo is not None else at.replace(tzinfo=UTC)).timestamp() * 1000)
