"""The owner's log as people read it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sootline import units, wording
from sootline.profile import LogEntry
from sootline.units import System


@dataclass(frozen=True, slots=True)
class EntryView:
    furnace: str
    name: str
    at_ms: int
    when: str
    what: str
    note: str
    acts: str


# what the analysis does with an entry of each kind
ACTS: Mapping[str, str] = {
    "cleaning": "The stack is compared with how it is from here on; a standing cleaning advice ends.",
    "filter": "Refill times are learned afresh.",
    "nozzle": "Stack, ignition and oil-use figures are learned afresh.",
    "electrodes": "Stack and ignition figures are learned afresh.",
    "batch": "Stack, ignition, refill and oil-use figures are learned afresh.",
    "setpoint": "The new set point counts from this moment on; oil-use figures are learned afresh.",
    "shutter": "Stack figures are learned afresh.",
    "blower": "Stack figures are learned afresh.",
    "repair": "Stack, ignition, refill and oil-use figures are learned afresh.",
    "service": "Stack, ignition and refill figures are learned afresh.",
}


def entry_views(entries: Mapping[str, Sequence[LogEntry]], now_ms: int, system: System) -> tuple[EntryView, ...]:
    """Entries of all furnaces, newest first."""
    made = [_entry_view(furnace, entry, now_ms, system) for furnace, its in entries.items() for entry in its]
    return tuple(sorted(made, key=lambda view: -view.at_ms))


def _entry_view(furnace: str, entry: LogEntry, now_ms: int, system: System) -> EntryView:
    what = wording.LOG_WORDS[entry.kind]
    if entry.channel is not None:
        what += f": {wording.channel_label(entry.channel).lower()}"
    if entry.value_C is not None:
        what += f" {units.show(entry.value_C, 'temperature', system)}"
    return EntryView(
        furnace, wording.furnace_name(furnace), entry.at_ms, units.clock(entry.at_ms, now_ms), what, entry.note or "",
        ACTS[entry.kind],
    )  # fmt: skip
