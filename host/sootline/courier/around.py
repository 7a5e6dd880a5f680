"""What the courier is told of the furnaces: the cold at each, and a week of each in a few lines."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path

from sootline.advice.burned import oil_named, with_log
from sootline.errors import SootlineError
from sootline.messages.contacts import Contact
from sootline.messages.digest import eyes
from sootline.messages.freezing import FREEZE_C, Outlook
from sootline.now import FurnaceNow
from sootline.profile import Profile
from sootline.report.note import weekly_note
from sootline.report.season import season
from sootline.store import Store

WEEK_MS = 7 * 86_400_000
FRESH_MS = 30 * 60_000  # an older reading does not tell how cold it is


def outlooks(furnaces: Iterable[FurnaceNow], profile_of: Callable[[str], Profile], now_ms: int) -> dict[str, Outlook]:
    """The cold at each furnace. Outdoors is the same for all: one sensor does for those without."""
    furnaces = tuple(furnaces)
    outdoors = [t for furnace in furnaces if (t := _fresh(furnace, "outdoor", now_ms)) is not None]
    made = {}
    for furnace in furnaces:
        limit = profile_of(furnace.furnace).room.freeze_C
        outdoor = _fresh(furnace, "outdoor", now_ms)
        made[furnace.furnace] = Outlook(
            _fresh(furnace, "room", now_ms),
            min(outdoors, default=None) if outdoor is None else outdoor,
            FREEZE_C if limit is None else limit,
            furnace.freeze_at_ms,
        )
    return made


class OutlooksThen(Mapping[str, Outlook]):
    """The cold at each furnace at a moment of the past, read from the store when it is asked for."""

    def __init__(self, store: Store, profile_of: Callable[[str], Profile], t_ms: int) -> None:
        self._store = store
        self._profile_of = profile_of
        self._t_ms = t_ms

    def __getitem__(self, furnace: str) -> Outlook:
        limit = self._profile_of(furnace).room.freeze_C
        outdoors = [t for name in self if (t := self._mean(name, "outdoor")) is not None]
        outdoor = self._mean(furnace, "outdoor")
        return Outlook(
            self._mean(furnace, "room"),
            min(outdoors, default=None) if outdoor is None else outdoor,
            FREEZE_C if limit is None else limit,
        )

    def __iter__(self) -> Iterator[str]:
        return iter(self._store.furnaces())

    def __len__(self) -> int:
        return len(self._store.furnaces())

    def _mean(self, furnace: str, channel: str) -> float | None:
        values = self._store.read(furnace, self._t_ms - FRESH_MS, self._t_ms, [channel]).values.get(channel)
        given = [] if values is None else [float(value) for value in values if value == value]  # NaN is no reading
        return sum(given) / len(given) if given else None


def _fresh(furnace: FurnaceNow, channel: str, now_ms: int) -> float | None:
    reading = furnace.readings.get(channel)
    return None if reading is None or now_ms - reading.t_ms > FRESH_MS else reading.value


def week_lines(
    contact: Contact,
    end_ms: int,
    furnaces: Iterable[FurnaceNow],
    profile_of: Callable[[str], Profile],
    store: Store,
    folder: Path,
) -> tuple[str, ...]:
    """The week before end_ms of the furnaces a contact cares for, compared with the week before it."""
    lines: list[str] = []
    for furnace in furnaces:
        if contact.cares_for(furnace.furnace):
            try:
                lines += _week(
                    contact, end_ms, with_log(profile_of(furnace.furnace), store.log(furnace.furnace)), store, folder
                )
            except SootlineError as error:  # the note is also a test of the way, so it goes out without them
                lines.append(f"{furnace.furnace}: {error}")
            lines += eyes(furnace)
    return tuple(lines)


def _week(contact: Contact, end_ms: int, profile: Profile, store: Store, folder: Path) -> tuple[str, ...]:
    name, oil = profile.furnace.id, oil_named(None, folder)[0]
    zone = datetime.now().astimezone().tzinfo or UTC
    weeks = [
        season(
            profile,
            store.events(name, None, start_ms, start_ms + WEEK_MS),
            store.alarms(name, start_ms),
            oil,
            start_ms,
            start_ms + WEEK_MS,
            zone,
        )
        for start_ms in (end_ms - WEEK_MS, end_ms - 2 * WEEK_MS)
    ]
    return weekly_note(weeks[0], contact.units, weeks[1])
