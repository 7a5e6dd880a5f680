"""The logbook as people read it, and the tiles of its form."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sootline import units, wording
from sootline.events import Event
from sootline.logbook import Logged
from sootline.profile import LogEntry, Profile, ServiceMode, event_of
from sootline.units import System


@dataclass(frozen=True, slots=True)
class EntryView:
    """One line. entered: when the host got it, where that was later; did: what the analysis did with it."""

    id: str
    furnace: str
    name: str
    at_ms: int
    when: str
    what: str
    note: str
    by: str
    entered: str
    acts: str
    did: tuple[str, ...]
    photo: bool
    undone: str
    may_undo: bool
    from_profile: bool = False


# what the analysis does with an entry of each kind, from its time on
ACTS: Mapping[str, str] = {
    "cleaning": "The clean stack is learned anew, and compared with from here on.",
    "filter": "Refill times are learned anew.",
    "nozzle": "Ignition and oil use are learned anew; a step of the stack is taken as the nozzle's, not as ash.",
    "electrodes": "Ignition is learned anew; a step of the stack is not taken as ash.",
    "batch": "Refill times, ignition and oil use are learned anew; a step of the stack is taken as the oil's.",
    "setpoint": "The new set point counts from here on; oil use is learned anew.",
    "shutter": "A step of the stack is taken as the shutter's, not as ash.",
    "blower": "A step of the stack is taken as the blower's, not as ash.",
    "repair": "Ignition and oil use are learned anew; a step of the stack is taken as the repair's.",
    "service": "Ignition is learned anew; a step of the stack is not taken as ash.",
}

# what can be tapped beside an entry of each kind: words that go into its note; one line of tiles each
CHIPS: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "cleaning": (("full", "quick"), ("black, greasy", "grey ash", "white ash", "green ash"), ("nozzle too",)),
    "filter": (("refill filter", "strainer", "nozzle strainer"), ("clean", "sludge", "water", "metal")),
    "nozzle": (("cleaned", "same size", "other size"),),
    "electrodes": (("cleaned", "gapped", "new"),),
    "batch": (
        ("engine oil", "hydraulic", "gear oil", "vegetable"),
        ("settled a week", "water drained", "halogen test good", "not tested"),
    ),
    "setpoint": (),
    "shutter": (("opened", "closed"), ("combustion test done",)),
    "blower": (("belt", "air filters", "motor"),),
    "repair": (("oil supply", "oil heating", "ignition", "probe or wiring"),),
    "service": (("compressor", "draft regulator", "thermostat"),),
}


@dataclass(frozen=True, slots=True)
class KindView:
    """A tile of the form, and what can be tapped once it is chosen."""

    id: str
    words: str
    acts: str
    chips: tuple[tuple[str, ...], ...]


def kind_views() -> tuple[KindView, ...]:
    return tuple(KindView(kind, words, ACTS[kind], CHIPS[kind]) for kind, words in wording.LOG_WORDS.items())


def what_was_done(entry: LogEntry, system: System) -> str:
    """`Changed a set point: day tank 65 °C`."""
    what = wording.LOG_WORDS[entry.kind]
    if entry.channel is not None:
        what += f": {wording.channel_label(entry.channel).lower()}"
    if entry.value_C is not None:
        what += f" {units.show(entry.value_C, 'temperature', system)}"
    return what


def entry_views(
    lines: Iterable[Logged], events: Mapping[tuple[str, str, int], Event], now_ms: int, system: System
) -> tuple[EntryView, ...]:
    """Newest first. events: what the analysis did, by the key of its event."""
    made = [_entry_view(logged, events, now_ms, system) for logged in lines]
    return tuple(sorted(made, key=lambda view: -view.at_ms))


def profile_lines(profiles: Mapping[str, Profile], lines: Iterable[Logged]) -> Iterable[Logged]:
    """What the owners' profiles name besides, as lines of the book; they are changed in the profile only."""
    kept = {(line.furnace, line.entry) for line in lines if not line.undone}
    for furnace, profile in profiles.items():
        for entry in profile.log:
            if (furnace, entry) not in kept:
                yield Logged("", furnace, entry, "", entry.at_ms)


def _entry_view(logged: Logged, events: Mapping[tuple[str, str, int], Event], now_ms: int, system: System) -> EntryView:
    entry = logged.entry
    event = events.get((logged.furnace, event_of(entry), entry.at_ms))
    late = logged.entered_ms - entry.at_ms > 120_000
    undone = ""
    if logged.undone_ms is not None:
        undone = f"Undone {units.clock(logged.undone_ms, now_ms)} by {logged.undone_by}: it acts no more."
    return EntryView(
        id=logged.id,
        furnace=logged.furnace,
        name=wording.furnace_name(logged.furnace),
        at_ms=entry.at_ms,
        when=units.clock(entry.at_ms, now_ms),
        what=what_was_done(entry, system),
        note=entry.note or "",
        by=logged.by,
        entered=units.clock(logged.entered_ms, now_ms) if late else "",
        acts=ACTS[entry.kind],
        did=() if undone else tuple(_did(event)),
        photo=logged.photo,
        undone=undone,
        may_undo=bool(logged.id) and logged.may_undo(now_ms),
        from_profile=not logged.id,
    )


def _did(event: Event | None) -> Iterable[str]:
    """What came of an entry, from the event that the analysis made of it."""
    if event is None:
        yield "It acts with the next readings from the board."
        return
    again = [
        f"{wording.alarm_title(alarm).lower()} ({str(said).removeprefix('learning ')})"
        for alarm, said in event.features.items()
        if alarm != "ended"
    ]
    if again:
        yield f"Then learning again: {', '.join(again)}."
    ended = [wording.alarm_title(alarm).lower() for alarm in str(event.features.get("ended") or "").split()]
    if ended:
        yield f"Ended: {', '.join(ended)}."


@dataclass(frozen=True, slots=True)
class ServiceView:
    """Somebody began to work on a furnace, or ended it. mode: which, and until when at the latest."""

    furnace: str
    name: str
    at_ms: int
    when: str
    mode: str
    by: str
    reason: str


def service_views(modes: Mapping[str, Iterable[ServiceMode]], now_ms: int) -> list[ServiceView]:
    """Service modes of the furnaces."""
    return [
        ServiceView(
            furnace, wording.furnace_name(furnace), mode.at_ms, units.clock(mode.at_ms, now_ms),
            f"Service mode until {units.clock(mode.until_ms, now_ms)} at the latest"
            if mode.until_ms > mode.at_ms
            else "Service mode ended",
            mode.by, mode.reason,
        )
        for furnace, its in modes.items()
        for mode in its
    ]  # fmt: skip
