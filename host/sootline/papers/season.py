"""The season report: what one furnace burned, what was done, what went wrong, and what is open at the end."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

import numpy as np

from sootline.advice import limits
from sootline.advice.burned import DAY_MS, burned, oil_named
from sootline.advice.figure import value_and_unit
from sootline.advice.stock import Given, stock
from sootline.alarms import Alarm
from sootline.commissioning.steps import BY_KEY
from sootline.errors import OutOfRange
from sootline.events import Event
from sootline.files import commissioning
from sootline.heat.elementwise import FloatArray
from sootline.papers.cleaning import CleaningView
from sootline.profile import Profile
from sootline.report.plots import Flag, Panel, Series, plot
from sootline.report.season import Calls, Season, season
from sootline.store import Store
from sootline.units import System, convert, day, duration, show, shown, unit_of
from sootline.walkthrough import due_lines, result_words, value_words
from sootline.wording import LOG_WORDS, PRIORITY_WORDS, alarm_title, furnace_name

WEEK_MS, YEAR_MS = 7 * DAY_MS, 365 * DAY_MS
KINDS = ("firing", "refill", "steady")


@dataclass(frozen=True, slots=True)
class Fact:
    """A named value; why: how it is known."""

    name: str
    value: str
    why: str


@dataclass(frozen=True, slots=True)
class Done:
    when: str
    what: str
    note: str


@dataclass(frozen=True, slots=True)
class SeasonView:
    furnace: str
    name: str
    span: str
    facts: tuple[Fact, ...]
    batches: tuple[tuple[str, str, int], ...]
    plot: str
    cleaning: CleaningView | None
    alarms: tuple[Fact, ...]
    most: tuple[tuple[str, int], ...]
    done: tuple[Done, ...]
    measured: tuple[Fact, ...]
    open: tuple[str, ...]


def numbers(store: Store, profile: Profile, start_ms: int, end_ms: int, zone: tzinfo | None = None) -> Season:
    """The numbers of a furnace in [start_ms, end_ms), with its alarms. Raises: OutOfRange"""
    name = profile.furnace.id
    oil, _ = oil_named(None, store.folder)
    events = sorted(
        (event for kind in KINDS for event in store.events(name, kind, start_ms, end_ms)), key=lambda e: e.start_ms
    )
    here = zone or datetime.now().astimezone().tzinfo
    assert here is not None
    return season(profile, events, store.alarms(name), oil, start_ms, end_ms, here)


def season_view(
    store: Store, profile: Profile, start_ms: int, end_ms: int, cleaning: CleaningView | None, system: System,
    zone: tzinfo | None = None,
) -> SeasonView:  # fmt: skip
    """Everything that the season report says. Raises: OutOfRange"""
    told = numbers(store, profile, start_ms, end_ms, zone)
    name = profile.furnace.id
    today = datetime.fromtimestamp(end_ms / 1000, zone).date()
    return SeasonView(
        furnace=name,
        name=furnace_name(name),
        span=f"{day(start_ms, zone)} to {day(end_ms, zone)}",
        facts=tuple(_facts(store, profile, told, system)),
        batches=tuple(
            (b.name, f"{_litres(b.burned.litres, system)} ± {show(b.burned.standard_error_l, 'volume', system)}",
             b.burned.refills)
            for b in told.batches
        ),
        plot=_plot(store, profile, told, system, zone),
        cleaning=cleaning,
        alarms=tuple(alarm_facts(told.calls)),
        most=tuple((alarm_title(alarm), n) for alarm, n in told.calls.most),
        done=done(told, zone),
        measured=tuple(_measured(store, name, system)),
        open=tuple(_open(store, name, told.calls.standing, cleaning, today)),
    )  # fmt: skip


def _litres(litres: float, system: System) -> str:
    return shown(litres, "volume", system).text


def _facts(store: Store, profile: Profile, told: Season, system: System) -> Iterator[Fact]:
    yield Fact("Days with fire", str(told.days), "days on which it was lit")
    yield Fact("Burning hours", f"{told.hours:.0f} h", "length of all firings")
    yield Fact("Starts", str(told.starts), "firings that began")
    if told.oil is None:
        yield Fact("Oil burned", "not known", "set refill.differential_l in the profile")
    else:
        error = show(told.oil.standard_error_l, "volume", system)
        why = f"{told.refills} refills at their volume, at 15 °C" if system == "si" else f"{told.refills} refills"
        yield Fact("Oil burned", f"{_litres(told.oil.litres, system)} ± {error}", why)
        if told.heat_GJ is not None:
            yield from _heat(store, profile, told, told.heat_GJ, system)
        value = profile.cleaning.oil_value_per_l
        if value:
            yield Fact("Worth of that oil", f"{told.oil.litres * value:.0f}", "in the money of the profile")
    if told.rise_K is not None:
        rise, sd = (shown(v, "difference", system) for v in told.rise_K)
        yield Fact(
            "Stack over its clean level at the end", f"{rise.text} ± {sd}", "last ten firings, weather taken out"
        )
    yield from _against_weather(store, profile, told, system)
    yield from _year_before(store, profile, told, system)
    yield Fact("Hours with readings", f"{_seen(store, told):.1%}", "of all hours of the span; the rest nobody saw")


def _against_weather(store: Store, profile: Profile, told: Season, system: System) -> Iterator[Fact]:
    """Oil per degree day, from the days with outdoor readings."""
    if told.oil is None:
        return
    days = min(1000, max(1, round((told.end_ms - told.start_ms) / DAY_MS)))
    try:
        known = {f.key: f for f in stock(store, profile, told.end_ms - 1, days, Given()).figures}
    except OutOfRange:
        return
    if "per_degree_day" in known and "base" in known:
        per_day, base = (value_and_unit(known[key], system == "us") for key in ("per_degree_day", "base"))
        why = f"below {base[0]} {base[1]}, {known['base'].note}, {known['per_degree_day'].note}"
        yield Fact("Oil per degree day", " ".join(per_day), why)


def _year_before(store: Store, profile: Profile, told: Season, system: System) -> Iterator[Fact]:
    """The same days a year earlier, where most of them are stored."""
    extent = store.extent(told.furnace)
    if extent is None or extent[0] > told.start_ms - YEAR_MS + (told.end_ms - told.start_ms) // 10:
        return
    before = numbers(store, profile, told.start_ms - YEAR_MS, told.end_ms - YEAR_MS)
    oil = "" if before.oil is None else f", {show(before.oil.litres, 'volume', system)} of oil"
    calls = f"{before.calls.total} alarms that called"
    yield Fact("The same days a year before", f"{before.hours:.0f} h of fire, {before.starts} starts{oil}", calls)


def _heat(store: Store, profile: Profile, told: Season, heat_GJ: float, system: System) -> Iterator[Fact]:
    yield Fact("Heat in it, gross", _energy(heat_GJ, system), "from the kind of oil")
    try:
        burner = limits.flue(burned(store, profile, told.end_ms))
    except OutOfRange:
        return
    kept = burner.efficiency_percent / 100.0
    why = f"estimate at {kept:.0%} of the net heat: {'; '.join(burner.estimate_because)}"
    oil, _ = oil_named(None, store.folder)
    yield Fact("Heat delivered, about", _energy(heat_GJ * oil.net_MJ_kg / oil.gross_MJ_kg * kept, system), why)


def _energy(heat_GJ: float, system: System) -> str:
    return f"{heat_GJ / 1.05505585262:.0f} million Btu" if system == "us" else f"{heat_GJ:.0f} GJ"


def _seen(store: Store, told: Season) -> float:
    """Share of the span's hours in which the day tank was read."""
    hours = (told.end_ms - told.start_ms) / 3_600_000
    read = store.overview(told.furnace, "tank", told.start_ms, told.end_ms, max(1, round(hours)))[0]
    return min(1.0, read.size / max(1.0, round(hours)))


def alarm_facts(calls: Calls) -> Iterator[Fact]:
    """How often somebody was called, when, and how soon somebody had it."""
    yield Fact("Alarms that called", str(calls.total), "without what stood under its cause")
    for priority, n in calls.by_priority.items():
        if n:
            yield Fact(PRIORITY_WORDS[priority].word, str(n), f"priority {priority}")
    yield Fact("At night", str(calls.at_night), "critical or high, 22:00 to 06:30")
    answered = "–" if calls.answered_s is None else duration(calls.answered_s)
    yield Fact("Until somebody had it", answered, f"middle of {calls.answered} that were answered")
    yield Fact("Kept quiet as a consequence", str(calls.consequences), "stood under their cause")


def done(told: Season, zone: tzinfo | None) -> tuple[Done, ...]:
    """What people noted in the log, in order."""
    return tuple(Done(day(e.at_ms, zone), LOG_WORDS[e.kind], e.note or "") for e in told.log)


def _measured(store: Store, furnace: str, system: System) -> Iterator[Fact]:
    """The technician's combustion readings, the newest."""
    record = commissioning.load(store.folder, furnace)
    entry = record.latest("combustion") if record else None
    if entry is None:
        return
    why = f"{entry.on.isoformat()}, {entry.by}"
    for field in BY_KEY["combustion"].fields:
        yield Fact(field.ask[:1].upper() + field.ask[1:], value_words(field, entry.values[field.name], system), why)
    for line in result_words(entry.result, system):
        yield Fact(line[:1].upper() + line[1:], "", why)


def _open(
    store: Store, furnace: str, standing: Sequence[Alarm], cleaning: CleaningView | None, today: date
) -> Iterator[str]:
    for title in dict.fromkeys(alarm_title(alarm.alarm) for alarm in standing):
        yield f"Still standing: {title}."
    if cleaning is not None:
        yield f"Clean the heat exchanger: {cleaning.headline[:1].lower()}{cleaning.headline[1:]}."
    record = commissioning.load(store.folder, furnace)
    yield from (due_lines(record, today) if record else ["Commissioning has not been noted."])


def _plot(store: Store, profile: Profile, told: Season, system: System, zone: tzinfo | None) -> str:
    """Oil, burning hours and alarms week by week."""
    if told.end_ms - told.start_ms < 2 * DAY_MS:
        return ""
    span = WEEK_MS if told.end_ms - told.start_ms > 42 * DAY_MS else DAY_MS
    edges = np.arange(told.start_ms - told.start_ms % DAY_MS, told.end_ms, span, dtype=np.float64)
    word = "week" if span == WEEK_MS else "day"
    firings, refills = (
        _within(store.events(told.furnace, kind, told.start_ms, told.end_ms), kind) for kind in ("firing", "refill")
    )
    hours = _sums(edges, span, [(e.start_ms, (e.number("burned_s") or 0.0) / 3600.0) for e in firings])
    panels = [Panel(f"Burning hours a {word}", (_bars("burning hours", edges, hours, span),), 90, True)]
    if told.oil is not None and told.refills:
        each = convert(told.oil.litres / told.refills, "volume", system)
        oil = _sums(edges, span, [(e.start_ms, each) for e in refills])
        unit = unit_of("volume", system).label
        panels.insert(0, Panel(f"Oil burned, {unit} a {word}", (_bars("oil burned", edges, oil, span),), 90, True))
    called = [a for a in store.alarms(told.furnace) if told.start_ms <= a.raised_ms < told.end_ms]
    loud = _sums(edges, span, [(a.raised_ms, 1.0) for a in called if a.state != "suppressed"])
    panels.append(Panel(f"Alarms that called, a {word}", (_bars("alarms", edges, loud, span),), 60, True))
    flags = [Flag(e.at_ms, "cleaned" if e.kind == "cleaning" else "batch") for e in told.log
             if e.kind in ("cleaning", "batch")]  # fmt: skip
    label = f"Oil burned, burning hours and alarms of each {word}"
    return plot(panels, flags, edges[0], edges[-1] + span, zone, 760, label)


def _within(events: Sequence[Event], kind: str) -> list[Event]:
    return [event for event in events if kind != "refill" or event.features.get("stalled") is not True]


def _sums(edges: FloatArray, span: int, amounts: Sequence[tuple[int, float]]) -> FloatArray:
    sums = np.zeros(edges.size)
    for t_ms, amount in amounts:
        i = int((t_ms - edges[0]) // span)
        if 0 <= i < edges.size:
            sums[i] += amount
    return sums


def _bars(name: str, edges: FloatArray, sums: FloatArray, span: int) -> Series:
    return Series(name, "bars", edges, sums, width_ms=float(span))
