"""The demo's four weeks at the workshop: Monday 5 January to Sunday 1 February 2026, as faults, deeds and log entries.

Everything that goes wrong is a fault of the model with its time, everything put right an action, so that whatever
watches the furnaces sees only readings. Times are UTC.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from sootline.profile import LogEntry, LogKind
from sootline.series import Rows, SensorFault
from sootline.sim.faults import Fault
from sootline.sim.furnace import Furnace
from sootline.sim.run import Action, simulate
from sootline.sim.spec import FurnaceSpec
from sootline.sim.truth import Truth
from sootline.sim.weather import DAY_MS, HOUR_MS, Weather
from sootline.sim.workshop import CARRIAGE_SHOP, DIESEL_DRAIN, ENGINE_SHED, FURNACES, PROFILES

__all__ = [
    "CARRIAGE_SHOP",
    "ENGINE_SHED",
    "FURNACES",
    "PROFILES",
    "Story",
    "live_actions",
    "live_faults",
    "live_model",
    "story",
]

MINUTE_MS = 60_000
MONDAY_MS = 1_767_571_200_000  # 2026-01-05T00:00:00Z
DAYS = 28
COMMISSIONED_C = 8.0

# Dawn and afternoon [°C] from the Sunday before to the Monday after: cold snaps on days 3 to 5 and 22.
_OUTDOOR_C = (
    *((-3, 2), (-4, 1), (-5, 1), (-4, 0), (-10, -3), (-11.5, -4), (-8, -2), (-6, 0)),
    *((-5, 0), (-4, 1), (-6, -1), (-5, 0), (-7, -2), (-4, 1), (-3, 2)),
    *((-5, 0), (-6, -1), (-4, 1), (-7, -2), (-6, 0), (-5, 0), (-8, -3)),
    *((-9, -4), (-18, -12), (-12, -6), (-7, 0), (-4, 2), (-3, 3), (-5, 1), (-4, 2)),
)


def at(day: int, clock: str) -> int:
    """Milliseconds of a time of day ("06:52" or "06:52:30") on a day counted from Monday 5 January."""
    parts = [int(part) for part in clock.split(":")]
    hour, minute, second = (*parts, 0)[:3]
    return MONDAY_MS + day * DAY_MS + hour * HOUR_MS + minute * MINUTE_MS + second * 1000


@dataclass(frozen=True, slots=True)
class Story:
    """What happens to one furnace, and what is told of it.

    log: what the owner writes down; outages: times without network, the board buffering; clock_set_ms: when the board
    first learns the time; service: times in service mode; offset_ms: how far everything has been moved
    """

    spec: FurnaceSpec
    seed: int
    start_ms: int
    end_ms: int
    faults: tuple[Fault, ...]
    actions: tuple[Action, ...]
    log: tuple[LogEntry, ...]
    outages: tuple[tuple[int, int], ...] = ()
    clock_set_ms: int = 0
    service: tuple[tuple[int, int], ...] = ()
    offset_ms: int = 0

    @property
    def weather(self) -> Weather:
        days = {MONDAY_MS // DAY_MS - 1 + i: (float(low), float(high)) for i, (low, high) in enumerate(_OUTDOOR_C)}
        return Weather(self.seed, days=days)

    @property
    def profile_toml(self) -> str:
        """The owner's profile with his log, as TOML."""
        return PROFILES[self.spec.id] + "".join(_log_toml(entry) for entry in self.log)

    def moved(self, offset_ms: int) -> "Story":
        """The same story that much later; `run` gives the same readings with later times."""
        return replace(
            self,
            start_ms=self.start_ms + offset_ms,
            end_ms=self.end_ms + offset_ms,
            log=tuple(replace(entry, at_ms=entry.at_ms + offset_ms) for entry in self.log),
            outages=tuple((start + offset_ms, end + offset_ms) for start, end in self.outages),
            clock_set_ms=self.clock_set_ms + offset_ms,
            service=tuple((start + offset_ms, end + offset_ms) for start, end in self.service),
            offset_ms=self.offset_ms + offset_ms,
        )

    def run(
        self,
        until_ms: int | None = None,
        interval_s: float = 5.0,
        idle_interval_s: float = 60.0,
        channels: Sequence[str] | None = None,
    ) -> tuple[Rows, Truth]:
        """The board's rows at the story's times, up to `until_ms`; the truth is at the original times."""
        end_ms = self.end_ms if until_ms is None else min(until_ms, self.end_ms)
        rows, truth = simulate(
            self.spec,
            self.seed,
            self.start_ms - self.offset_ms,
            end_ms - self.offset_ms,
            self.faults,
            self.actions,
            interval_s,
            idle_interval_s,
            channels,
            self.weather,
            COMMISSIONED_C,
        )
        faults = tuple(SensorFault(f.t_ms + self.offset_ms, f.channel, f.kind) for f in rows.faults)
        return replace(rows, t_ms=rows.t_ms + self.offset_ms, faults=faults), truth


def story(furnace: str) -> Story:
    """The four weeks of "engine-shed" or "carriage-shop". Raises: ValueError for another name."""
    if furnace not in _STORIES:
        raise ValueError(f"no story of {furnace!r}; there are: {', '.join(_STORIES)}")
    return _STORIES[furnace]


def _log_toml(entry: LogEntry) -> str:
    when = f"{_iso(entry.at_ms)}Z"
    lines = ["[[log]]", f"at = {when}", f'kind = "{entry.kind}"']
    if entry.channel is not None:
        lines.append(f'channel = "{entry.channel}"')
    if entry.value_C is not None:
        lines.append(f"value_C = {entry.value_C}")
    if entry.note is not None:
        lines.append(f'note = "{entry.note}"')
    return "\n".join(lines) + "\n"


def _iso(t_ms: int) -> str:
    return datetime.fromtimestamp(t_ms / 1000, UTC).strftime("%Y-%m-%dT%H:%M:%S")


def _log(day: int, clock: str, kind: LogKind, note: str) -> LogEntry:
    return LogEntry(at(day, clock), kind, note=note)


def _do(day: int, clock: str, name: str, **details: Any) -> Action:
    return at(day, clock), name, details


_WIFI_OUT = (at(2, "02:40"), at(2, "04:15"))

_ENGINE_SHED = Story(
    spec=ENGINE_SHED,
    seed=11,
    start_ms=at(0, "09:00"),
    end_ms=at(DAYS, "00:00"),
    clock_set_ms=at(0, "09:12"),
    outages=(_WIFI_OUT,),
    service=((at(26, "10:00"), at(26, "12:00")),),
    faults=(
        Fault("cold-oil", at(2, "20:00"), at(3, "07:00"), size=6.0),
        Fault("air-leak", at(4, "06:48")),
        Fault("filter-plugging", at(7, "00:00"), size=0.46),
        Fault("electrodes-worn", at(8, "05:00"), at(8, "11:00"), size=1.0),
        Fault("electrodes-worn", at(8, "11:00"), at(8, "12:30"), size=2.0),
        Fault("electrodes-worn", at(8, "12:30"), size=4.0),
        Fault("water-slug", at(10, "07:09")),
        Fault("no-ignition", at(10, "07:09")),
        Fault("compressor-sag", at(11, "10:20"), size=0.39),
        Fault("water-slug", at(12, "10:05")),
        Fault("water-slug", at(12, "10:40")),
        Fault("sensor-open", at(13, "03:30"), at(13, "09:30"), channel="stack"),
        Fault("float-stuck-up", at(15, "06:40")),
        Fault("loop-leak", at(15, "12:00"), size=0.40),
        Fault("loop-leak", at(17, "03:02"), size=3.0),
        Fault("belt-slip", at(19, "09:00"), at(19, "13:00"), size=0.25),
        Fault("belt-slip", at(19, "13:00"), size=0.44),
        Fault("pump-relay-welded", at(21, "14:06")),
        Fault("thermostat-shorted", at(25, "19:02")),
    ),
    actions=(
        _do(3, "07:45", "fill-supply", litres=110.0),
        _do(4, "08:10", "repair", fault="air-leak"),
        *(_do(4, f"08:{minute}", "refill-reset") for minute in range(10, 18)),
        _do(7, "08:00", "fill-supply", litres=450.0),
        _do(10, "07:14", "primary-reset"),
        _do(10, "07:18", "primary-reset"),
        _do(10, "08:30", "change-electrodes"),
        _do(10, "08:32", "primary-reset"),
        _do(11, "14:10", "repair", fault="compressor-sag"),
        _do(14, "08:00", "change-filter"),
        _do(14, "08:10", "fill-supply", litres=600.0, oil=DIESEL_DRAIN),
        _do(15, "07:04", "top-up"),
        _do(15, "07:05", "repair", fault="float-stuck-up"),
        _do(17, "08:20", "repair", fault="loop-leak"),
        _do(19, "15:10", "repair", fault="belt-slip"),
        _do(21, "14:07:20", "service-switch", on=False),
        _do(21, "14:50", "repair", fault="pump-relay-welded"),
        _do(21, "14:52", "empty-tray"),
        _do(21, "14:53", "skim-tank"),
        _do(21, "15:00", "service-switch", on=True),
        _do(22, "08:30", "change-nozzle", flow=1.35 / 1.10),
        _do(23, "08:30", "change-nozzle"),
        _do(24, "12:30", "service-switch", on=False),
        _do(24, "13:00", "clean"),
        _do(24, "13:30", "service-switch", on=True),
        _do(24, "14:00", "fill-supply", litres=500.0, oil=DIESEL_DRAIN),
        _do(25, "20:40", "repair", fault="thermostat-shorted"),
    ),
    log=(
        _log(3, "08:00", "batch", "batch 3, gear oil with hydraulic oil"),
        _log(4, "08:10", "repair", "gasket of the filter bowl"),
        _log(10, "08:30", "electrodes", "cleaned and set"),
        _log(11, "14:10", "repair", "compressor belt"),
        _log(14, "08:00", "filter", "filter changed: sludge"),
        _log(14, "08:10", "batch", "batch 4, old diesel engine oil, 1.0 % ash"),
        _log(15, "07:05", "repair", "float freed, day tank topped up by hand"),
        _log(17, "08:20", "repair", "loop fitting tightened"),
        _log(19, "15:10", "blower", "belt changed"),
        _log(21, "14:50", "repair", "pump relay changed"),
        _log(22, "08:30", "nozzle", "1.35 fitted"),
        _log(23, "08:30", "nozzle", "1.10 fitted again"),
        _log(24, "13:00", "cleaning", "4.1 lb of white ash"),
        _log(25, "20:40", "repair", "paint tin off the thermostat wires"),
    ),
)

_CARRIAGE_SHOP = Story(
    spec=CARRIAGE_SHOP,
    seed=12,
    start_ms=at(0, "09:00"),
    end_ms=at(DAYS, "00:00"),
    clock_set_ms=at(0, "09:12"),
    outages=(_WIFI_OUT,),
    faults=(
        Fault("half-element", at(7, "00:00"), channel="tank"),
        Fault("ssr-shorted", at(16, "22:12"), channel="nozzle"),
        Fault("thermostat-draught", at(18, "10:00"), at(18, "12:30"), size=7.0),
        Fault("cut-out-weak", at(19, "00:00"), size=41.0, channel="tank"),
    ),
    actions=(
        _do(9, "05:00", "repair", fault="half-element"),
        _do(16, "22:50", "service-switch", on=False),
        _do(17, "05:40", "repair", fault="ssr-shorted"),
        _do(17, "05:42", "reset-cut-out", heater="nozzle"),
        _do(17, "05:45", "service-switch", on=True),
        _do(19, "10:30", "repair", fault="cut-out-weak"),
        _do(19, "10:31", "reset-cut-out", heater="tank"),
    ),
    log=(
        _log(9, "05:00", "repair", "day tank element"),
        _log(17, "05:40", "repair", "solid-state relay of the nozzle heater"),
        _log(19, "10:30", "repair", "day tank cut-out changed"),
    ),
)

_STORIES = {"engine-shed": _ENGINE_SHED, "carriage-shop": _CARRIAGE_SHOP}

# The live part of the demo.
LIGHTS_AFTER_MS = 60_000  # the boards are up by then: they see the fire begin
STALL_AFTER_MS, REPAIRED_AFTER_STALL_MS = LIGHTS_AFTER_MS + 150_000, 120_000


def live_faults(now_ms: int) -> tuple[Fault, ...]:
    """What goes wrong in the live part that begins at `now_ms`: the engine shed's next refill brings no oil."""
    return (Fault("air-leak", now_ms, now_ms + STALL_AFTER_MS + REPAIRED_AFTER_STALL_MS),)


def live_actions(now_ms: int) -> tuple[Action, ...]:
    """What is done about it: the refill reset, some minutes after the stall, when the leak is gone."""
    reset_ms = now_ms + STALL_AFTER_MS + REPAIRED_AFTER_STALL_MS + 1000
    return ((reset_ms, "refill-reset", {}),)


def live_model(furnace: str, now_ms: int, seed: int = 5, faults: Sequence[Fault] = ()) -> Furnace:
    """A furnace with its oil all but warm at `now_ms`, which lights LIGHTS_AFTER_MS later into a long firing.

    With `faults` its next refill comes STALL_AFTER_MS after `now_ms`, else when a full day tank has been burned.
    Raises: KeyError for a furnace that is not in FURNACES.
    """
    spec = FURNACES[furnace]
    cold = replace(spec, building=replace(spec.building, day_from_h=0.0, day_to_h=24.0))
    trial = Furnace(cold, seed, now_ms, faults, Weather(seed), 11.0)
    while trial.gear.phase() == "preheat":
        trial.advance(trial.t_ms + 1000)
    began_ms = now_ms + LIGHTS_AFTER_MS - (trial.t_ms - now_ms)
    model = Furnace(cold, seed, began_ms, faults, Weather(seed), 11.0)
    model.advance(now_ms)
    to_burn_ms = STALL_AFTER_MS - LIGHTS_AFTER_MS
    contact = model.gear.float
    model.set_tank_l(contact.closes_at + spec.firing_l_h * to_burn_ms / HOUR_MS if faults else contact.opens_at)
    return model
