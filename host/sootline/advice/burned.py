"""What one furnace has burned since it was last clean, from the stored events, its profile and its log."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np

from sootline.advice import oil_log
from sootline.analysis.course import DAY_MS, Course
from sootline.errors import SootlineError, UserError, no_furnace
from sootline.events import Event
from sootline.files import profiles
from sootline.heat.elementwise import FloatArray
from sootline.heat.grades import GRADES
from sootline.heat.oil import Oil, oil_of_parts
from sootline.heat.refill_use import OilBurned, oil_burned
from sootline.profile import LogEntry, Profile, ServiceMode
from sootline.store import Store

HOUR_MS = 3_600_000
ASSUMED_KIND = "engine-15w-40"
DIFFERENTIAL_SHARE = 0.05  # standard error of a float differential measured with a jug (common practice)


@dataclass(frozen=True)
class Burned:
    """Events since `clean_ms` in order of time. declared: somebody said that it was clean then."""

    profile: Profile
    now_ms: int
    clean_ms: int
    declared: bool
    firings: Sequence[Event]
    refills: Sequence[Event]
    steady: Sequence[Event]

    @property
    def furnace(self) -> str:
        return self.profile.furnace.id

    @property
    def hours(self) -> float:
        """Burning hours since clean [h].

        Source: sum of the firings' lengths.
        """
        return self.hours_at(self.now_ms)

    @property
    def starts(self) -> int:
        """Firings since clean.

        Source: count of the finished firings.
        """
        return len(self.firings)

    def hours_at(self, t_ms: int) -> float:
        """Burning hours since clean at the end of the last firing before t_ms [h]."""
        return sum(event.number("burned_s") or 0.0 for event in self.firings if event.end_ms <= t_ms) / 3600.0

    def log(self, kind: str) -> list[LogEntry]:
        """Entries of a kind since clean and until now."""
        return [e for e in self.profile.log if e.kind == kind and self.clean_ms < e.at_ms <= self.now_ms]

    def oil(self, oil: Oil, start_ms: int, end_ms: int) -> OilBurned | None:
        """Oil burned [L at 15 °C] in a span; None where the profile has no refill.differential_l.

        Raises: OutOfRange
        """
        differential = self.profile.refill.differential_l
        if differential is None:
            return None
        tank_C = [_or_nan(e.number("tank_C")) for e in self.refills if start_ms <= e.start_ms < end_ms]
        filled = np.array(tank_C, dtype=np.float64)
        return oil_burned(filled, differential, oil.density15_kg_m3, DIFFERENTIAL_SHARE * differential)

    def course(self) -> Course:
        """The normalised stack since clean, and the batches burned."""
        made = Course(self.clean_ms, 0.0)
        hours, ends = self._counter()
        for entry in self.log("batch"):
            made.batch(float(hours[np.searchsorted(ends, entry.at_ms, "right")]))
        for event in self.steady:
            burned_h = float(hours[np.searchsorted(ends, event.end_ms, "right")])
            made.add(event.end_ms, burned_h, event.number("residual_K"))
        return made

    def starts_at(self, hours: FloatArray) -> FloatArray:
        """Starts since clean when so many hours had been burned."""
        counter, _ = self._counter()
        return np.searchsorted(counter, hours, "left").astype(np.float64)

    def _counter(self) -> tuple[FloatArray, FloatArray]:
        """Burning hours before the first firing and after each, and when each ended."""
        seconds = [event.number("burned_s") or 0.0 for event in self.firings]
        return np.cumsum([0.0, *seconds]) / 3600.0, np.array([e.end_ms for e in self.firings], dtype=np.float64)


@contextmanager
def store_of(folder: Path) -> Iterator[Store]:
    """The store in a folder, to read. Raises UserError where there is none."""
    try:
        with Store.open(folder, read_only=True) as store:
            yield store
    except UserError:
        raise
    except SootlineError as error:
        raise UserError(str(error)) from None


def with_log(profile: Profile, entries: Iterable[LogEntry]) -> Profile:
    """The profile with more log entries; one that is in both stands once."""
    return replace(profile, log=tuple(sorted({*profile.log, *entries}, key=lambda entry: entry.at_ms)))


def with_service(profile: Profile, modes: Iterable[ServiceMode]) -> Profile:
    """The profile with more of when somebody worked on the furnace."""
    return replace(profile, service=tuple(sorted({*profile.service, *modes}, key=lambda mode: mode.at_ms)))


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else value


@contextmanager
def opened(folder: Path, furnace: str) -> Iterator[tuple[Store, Profile, int]]:
    """The store, the furnace's profile with its whole log, and the time of its last reading.

    Raises UserError for a folder without a store, and a furnace that nothing is known of.
    """
    with store_of(folder) as store:
        extent = store.extent(furnace) if furnace in store.furnaces() else None
        if extent is None:
            raise no_furnace(furnace, folder, store.furnaces())
        yield store, profile_of(store, furnace, folder / "profiles"), extent[1]


def profile_of(store: Store, furnace: str, folder: Path) -> Profile:
    """The furnace's profile in a folder of profiles, the default one where there is none, with its whole log."""
    profile = profiles.load_folder(folder).get(furnace) or profiles.default(furnace)
    return with_log(profile, store.log(furnace))


def burned(store: Store, profile: Profile, now_ms: int, before_ms: int | None = None) -> Burned:
    """Everything since the last cleaning (the last one before `before_ms`), else since clean_on, else all there is."""
    until_ms = now_ms if before_ms is None else before_ms
    furnace = profile.furnace.id
    cleaned = [e.at_ms for e in profile.log if e.kind == "cleaning" and e.at_ms < until_ms]
    if profile.furnace.clean_on is not None:
        cleaned.append(day_ms(profile.furnace.clean_on))
    cleaned = [t_ms for t_ms in cleaned if t_ms < until_ms]
    kinds = [store.events(furnace, kind, max(cleaned, default=None), until_ms) for kind in ("firing", "refill")]
    first = [events[0].start_ms for events in kinds if events]
    clean_ms = max(cleaned) if cleaned else min(first, default=until_ms)
    steady = store.events(furnace, "steady", clean_ms, until_ms)
    refills = [event for event in kinds[1] if event.features.get("stalled") is not True]
    return Burned(profile, until_ms, clean_ms, bool(cleaned), kinds[0], refills, steady)


def day_ms(day: date) -> int:
    """Midnight UTC at which a day begins."""
    return round(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp() * 1000)


def day_of(t_ms: float) -> str:
    """The day (UTC) of a moment, such as 2026-02-24."""
    return datetime.fromtimestamp(t_ms / 1000, UTC).date().isoformat()


def oil_named(kind: str | None, folder: Path) -> tuple[Oil, str]:
    """The oil reckoned with, and where it is from: as given, else the newest batch of a known kind, else assumed.

    Raises: OutOfRange for an unknown kind; UserError for a damaged log of batches
    """
    if kind is not None:
        return oil_of_parts({kind: 1.0}), f"oil: as given, {kind}"
    logged = [batch for batch in oil_log.load(oil_log.path_of(folder)) if batch.kind in GRADES]
    if logged:
        newest = max(logged, key=lambda batch: batch.received)
        return oil_of_parts({newest.kind: 1.0}), f"oil: {newest.kind}, the newest batch logged ({newest.received})"
    return oil_of_parts({ASSUMED_KIND: 1.0}), f"oil: assumed to be {ASSUMED_KIND}; name yours (--oil)"


__all__ = [
    "DAY_MS", "HOUR_MS", "Burned", "burned", "day_ms", "day_of", "oil_named", "opened", "profile_of", "store_of",
    "with_log", "with_service",
]  # fmt: skip
