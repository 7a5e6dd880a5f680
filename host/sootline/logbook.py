"""The logbook: what people did at the furnaces and how it came into the book, and what they found when they looked.

A line is kept once however often it is sent, for whoever notes it gives it an id; what was undone stays readable.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from sootline.profile import LogEntry

UNDO_MS = 86_400_000  # how long after it was kept a line may be undone
ID = re.compile(r"[A-Za-z0-9_-]{8,100}")


@dataclass(frozen=True, slots=True)
class Logged:
    """One line of the book.

    entry:      what was done, as the analysis takes it
    by:         who; empty where a layout before this one kept the name in the note
    entered_ms: when the host kept it, which for a phone out of reach is later than entry.at_ms
    photo:      whether there is a photo of that id
    """

    id: str
    furnace: str
    entry: LogEntry
    by: str
    entered_ms: int
    photo: bool = False
    undone_by: str | None = None
    undone_ms: int | None = None

    @property
    def undone(self) -> bool:
        return self.undone_ms is not None

    def may_undo(self, now_ms: int) -> bool:
        return not self.undone and now_ms - self.entered_ms < UNDO_MS

    def same(self, other: "Logged") -> bool:
        """Whether the other, of the same id, says the same; the time is the phone's, and may differ when sent again."""
        mine, theirs = self.entry, other.entry
        return (self.furnace, mine.kind, mine.channel, mine.value_C, mine.note) == (
            other.furnace, theirs.kind, theirs.channel, theirs.value_C, theirs.note
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Answer:
    """What somebody said to one step of a search. asked, said: in words, for whoever reads it years later."""

    step: str
    answer: str
    by: str
    at_ms: int
    asked: str = ""
    said: str = ""


@dataclass(frozen=True, slots=True)
class Search:
    """Somebody looks for the cause of an alarm, or of a symptom without one.

    raised_ms, channel: which alarm; None for a symptom
    start:    probability of each cause when the search began
    answers:  in order
    ended:    None while it goes on; else `found`, `nothing`, `stopped`
    found:    the cause that was found, in words, and where
    """

    id: str
    furnace: str
    alarm: str
    channel: str | None
    raised_ms: int | None
    begun_ms: int
    by: str
    start: Mapping[str, float] = field(default_factory=dict)
    answers: tuple[Answer, ...] = ()
    ended: str | None = None
    found: str | None = None
