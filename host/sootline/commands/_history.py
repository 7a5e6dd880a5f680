"""What has been stored or recorded of furnaces, to run the analysis over again: a data folder, recordings or tables."""

import argparse
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sootline.advice.burned import store_of, with_log
from sootline.analysis.sampling import Sampling
from sootline.errors import UserError
from sootline.files import profiles
from sootline.files.recordings import Recordings, is_recording
from sootline.files.tables import Tables, is_table
from sootline.ingest.intake import Intake
from sootline.profile import Profile
from sootline.series import Rows
from sootline.store import Store
from sootline.watches import sampling_of
from sootline.wire import topics
from sootline.wire.message import Message

DAY_MS = 86_400_000
BATCH = 5000
UNNAMED = "furnace"


@dataclass(frozen=True, slots=True)
class Past:
    """One furnace: its profile with the log, how often its board reports, and its rows in time order, in blocks."""

    profile: Profile
    sampling: Sampling | None
    blocks: Callable[[], Iterable[Rows]]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="*", type=Path, metavar="FILE", help="recordings or tables instead of --data")
    parser.add_argument("--data", type=Path, default=Path("sootline-data"), metavar="FOLDER", help="the store's folder")
    parser.add_argument("--profile", type=Path, help="profile of the furnace (default: DATA/profiles)")
    parser.add_argument("--root", default=topics.ROOT, help=argparse.SUPPRESS)


@contextmanager
def opened(options: argparse.Namespace, furnace: str | None) -> Iterator[dict[str, Past]]:
    """Furnace -> its past; only `furnace` when one is named.

    Raises UserError for files that are missing or mixed, a folder without a store, and a furnace nothing is known of.
    """
    if not options.files:
        with store_of(options.data) as store:
            given = profiles.load_folder(options.data / "profiles")
            yield _chosen(_of_store(store, _profile_of(options, furnace, given)), furnace, str(options.data))
        return
    missing = [path for path in options.files if not path.is_file()]
    if missing:
        raise UserError(f"{missing[0]}: there is no such file")
    profile_of = _profile_of(options, furnace, {})
    if all(is_table(path) for path in options.files):
        tables = Tables(options.files, furnace or UNNAMED)
        found = {name: Past(profile_of(name), None, _rows_of(tables, name)) for name in tables.furnaces}
        yield _chosen(found, furnace, "the tables")
    elif all(is_recording(path) for path in options.files):
        with tempfile.TemporaryDirectory(prefix="sootline-past-") as folder, Store.open(Path(folder)) as store:
            intake = Intake(store, options.root)
            for messages in _batches(Recordings(options.files)):
                intake.take(messages)
            intake.settle()
            yield _chosen(_of_store(store, profile_of), furnace, "the recordings")
    else:
        raise UserError("give either recordings (.ndjson) or tables (.parquet, .csv), not both")


def _of_store(store: Store, profile_of: Callable[[str], Profile]) -> dict[str, Past]:
    announced = store.announcements()
    found = {}
    for name in store.furnaces():
        profile = with_log(profile_of(name), store.log(name))
        sampling = sampling_of(announced[name][1]) if name in announced else None
        found[name] = Past(profile, sampling, _days_of(store, name))
    return found


def _days_of(store: Store, furnace: str) -> Callable[[], Iterator[Rows]]:
    def days() -> Iterator[Rows]:
        extent = store.extent(furnace)
        if extent is None:
            return
        for day_ms in range(extent[0] - extent[0] % DAY_MS, extent[1] + 1, DAY_MS):
            rows = store.read(furnace, day_ms, day_ms + DAY_MS)
            if len(rows) or rows.faults:
                yield rows

    return days


def _rows_of(tables: Tables, furnace: str) -> Callable[[], Iterator[Rows]]:
    return lambda: tables.rows(furnace)


def _profile_of(
    options: argparse.Namespace, furnace: str | None, given: dict[str, Profile]
) -> Callable[[str], Profile]:
    own = profiles.load(options.profile) if options.profile else None

    def profile_of(name: str) -> Profile:
        if own is not None and name in (furnace, own.furnace.id):
            return profiles.for_furnace(own, name)
        return given.get(name) or profiles.default(name)

    return profile_of


def _chosen(found: dict[str, Past], furnace: str | None, where: str) -> dict[str, Past]:
    if furnace is None:
        return found
    if furnace not in found:
        raise UserError(f"there is no furnace '{furnace}' in {where}; there are {', '.join(found) or 'none'}")
    return {furnace: found[furnace]}


def _batches(messages: Iterable[Message]) -> Iterator[list[Message]]:
    batch: list[Message] = []
    for message in messages:
        batch.append(message)
        if len(batch) == BATCH:
            yield batch
            batch = []
    if batch:
        yield batch
