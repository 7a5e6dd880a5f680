"""The inspector's pack: oil by source with its tests, cleanings and work, safety and alarm tests, and the digests."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, tzinfo

from sootline.advice import ledger, oil_log, proof
from sootline.commissioning.record import Record
from sootline.commissioning.steps import BY_KEY
from sootline.files import commissioning
from sootline.papers.cleaning import CleaningRow, cleaning_rows
from sootline.papers.oil import SOURCES, BatchView, batch_views
from sootline.papers.season import Done, Fact, alarm_facts, done, numbers
from sootline.profile import Profile
from sootline.store import Store
from sootline.units import System, clock, day, duration, show
from sootline.walkthrough import due_lines, result_words, value_words
from sootline.wording import PRIORITY_WORDS, alarm_title, channel_label, furnace_name


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the commissioning record."""

    on: str
    title: str
    by: str
    values: tuple[str, ...]
    results: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Serious:
    """A critical or high alarm: when, what, how long, who had it and how soon."""

    when: str
    priority: str
    what: str
    lasted: str
    answered: str


@dataclass(frozen=True, slots=True)
class PathTest:
    """A weekly note or test message: whether it went out, and who confirmed that it came."""

    when: str
    contact: str
    state: str
    confirmed: str


@dataclass(frozen=True, slots=True)
class InspectionView:
    furnace: str
    name: str
    span: str
    facts: tuple[Fact, ...]
    sources: tuple[tuple[str, str, int], ...]
    batches: tuple[BatchView, ...]
    burned: tuple[tuple[str, str, int], ...]
    cleanings: tuple[CleaningRow, ...]
    done: tuple[Done, ...]
    alarms: tuple[Fact, ...]
    serious: tuple[Serious, ...]
    path_tests: tuple[PathTest, ...]
    steps: tuple[Step, ...]
    due: tuple[str, ...]


def inspection_view(
    store: Store, profile: Profile, start_ms: int, end_ms: int, system: System, zone: tzinfo | None = None
) -> InspectionView:
    """Everything that the pack says. Raises: OutOfRange, UserError"""
    name = profile.furnace.id
    told = numbers(store, profile, start_ms, end_ms, zone)
    first, last = (datetime.fromtimestamp(t_ms / 1000, zone).date() for t_ms in (start_ms, end_ms))
    logged = oil_log.load(oil_log.path_of(store.folder))
    within = [(i, batch) for i, batch in enumerate(logged, 1) if first <= batch.received <= last]
    kept = ledger.load(ledger.path_of(store.folder, name))
    record = commissioning.load(store.folder, name)
    volumes = {source: [b.volume_l for _, b in within if b.source == source] for source in SOURCES}
    return InspectionView(
        furnace=name,
        name=furnace_name(name),
        span=f"{day(start_ms, zone)} to {day(end_ms, zone)}",
        facts=tuple(_facts(profile, told.hours, told.days, system)),
        sources=tuple(
            (words, show(sum(volumes[source]), "volume", system), len(volumes[source]))
            for source, words in SOURCES.items() if volumes[source]
        ),
        batches=batch_views(within, store.folder, system),
        burned=tuple((b.name, show(b.burned.litres, "volume", system), b.burned.refills) for b in told.batches),
        cleanings=cleaning_rows(
            [c for c in proof.cleanings(store, profile, end_ms, kept) if c.at_ms >= start_ms], system, zone
        ),
        done=done(told, zone),
        alarms=tuple(alarm_facts(told.calls)),
        serious=tuple(_serious(store, name, start_ms, end_ms, zone)),
        path_tests=tuple(_path_tests(store, start_ms, end_ms, zone)),
        steps=tuple(_steps(record, system)),
        due=tuple(due_lines(record, last)) if record else ("Commissioning has not been noted.",),
    )  # fmt: skip


def _facts(profile: Profile, hours: float, days: int, system: System) -> Iterator[Fact]:
    furnace, stack, refill = profile.furnace, profile.stack, profile.refill
    rated = furnace.rated_input_kW
    yield Fact("Rated input", "not told" if rated is None else show(rated, "heat input", system), "profile")
    limit = stack.limit_C
    yield Fact("Highest stack allowed", "not told" if limit is None else show(limit, "temperature", system), "profile")
    seconds = refill.limit_s
    yield Fact("Refill limiter", "not told" if seconds is None else show(seconds, "seconds", system), "profile")
    yield Fact("Days with fire", str(days), "counted")
    yield Fact("Burning hours", f"{hours:.0f} h", "counted")


def _serious(store: Store, furnace: str, start_ms: int, end_ms: int, zone: tzinfo | None) -> Iterator[Serious]:
    for alarm in store.alarms(furnace):
        if alarm.priority not in ("critical", "high") or alarm.state == "suppressed":
            continue
        if not start_ms <= alarm.raised_ms < end_ms:
            continue
        what = alarm_title(alarm.alarm) + (f" ({channel_label(alarm.channel).lower()})" if alarm.channel else "")
        lasted = "still stands"
        if alarm.cleared_ms is not None:
            lasted = duration((alarm.cleared_ms - alarm.raised_ms) / 1000)
        taken = alarm.acknowledged
        answered = "nobody noted it"
        if taken is not None:
            answered = f"{taken.by}, after {duration((taken.at_ms - alarm.raised_ms) / 1000)}"
        when = f"{day(alarm.raised_ms, zone)} {clock(alarm.raised_ms, alarm.raised_ms, zone)}"
        yield Serious(when, PRIORITY_WORDS[alarm.priority].word, what, lasted, answered)


def _path_tests(store: Store, start_ms: int, end_ms: int, zone: tzinfo | None) -> Iterator[PathTest]:
    """Newest last; a test that was sent by several ways stands once for each."""
    for message in reversed(store.messages(start_ms, end_ms)):
        if message.what not in ("weekly", "test") or message.code is None:
            continue
        confirmed = "not confirmed"
        if message.confirmed_by is not None and message.confirmed_ms is not None:
            confirmed = f"{message.confirmed_by}, {day(message.confirmed_ms, zone)}"
        yield PathTest(day(message.made_ms, zone), message.contact, message.state, confirmed)


def _steps(record: Record | None, system: System) -> Iterator[Step]:
    for entry in record.entries if record else ():
        step = BY_KEY[entry.step]
        title = f"{step.title} ({channel_label(entry.channel).lower()})" if entry.channel else step.title
        values = tuple(f"{f.ask}: {value_words(f, entry.values[f.name], system)}" for f in step.fields)
        yield Step(entry.on.isoformat(), title, entry.by, values, tuple(result_words(entry.result, system)))
