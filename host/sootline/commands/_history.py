"""What is known of furnaces' past, to run the analysis over again: a data folder, a server, recordings or tables."""

import argparse
import tempfile
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Protocol

from sootline.advice.burned import store_of, with_log, with_service
from sootline.alarms import Alarm
from sootline.analysis.sampling import Sampling, spacing
from sootline.analysis.settings import Settings
from sootline.analysis.watch import Watch
from sootline.commands import _arguments, _server
from sootline.errors import UserError, no_furnace
from sootline.files import profiles
from sootline.files.commissioning import Records
from sootline.files.recordings import Recordings, is_recording
from sootline.files.tables import Tables, is_table
from sootline.ingest.intake import Intake
from sootline.profile import Profile
from sootline.series import EMPTY, Rows
from sootline.store import Store
from sootline.watches import sampling_of
from sootline.wire import topics
from sootline.wire.message import Message

DAY_MS = 86_400_000
BATCH = 5000
UNNAMED = "furnace"


@dataclass(frozen=True, slots=True)
class Past:
    """One furnace: its profile with the log, how often its board reports, and its rows in time order, in blocks.

    waiting: the alarms that wait for commissioning, given the channels that have told something
    state:   another one means that there are other readings
    """

    profile: Profile
    sampling: Sampling | None
    blocks: Callable[[], Iterable[Rows]]
    waiting: Callable[[Collection[str]], Mapping[str, str]] = lambda fitted: {}
    state: str = ""

    def alarms(self, profile: Profile | None = None, settings: Settings | None = None) -> list[Alarm]:
        """The alarms, each known at its own time, under this or another profile and settings."""
        watch = Watch(profile or self.profile, lambda start_ms, end_ms: EMPTY, settings or Settings(), self.sampling)
        fitted: set[str] = set()
        for rows in self.blocks():
            watch.arrived(rows)
            fitted.update(rows.values, (fault.channel for fault in rows.faults))
        watch.wait_for(self.waiting(fitted))
        return watch.alarms


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="*", type=Path, metavar="FILE", help="recordings or tables instead of --data")
    add_source(parser)
    parser.add_argument("--profile", type=Path, help="profile of the furnace (default: DATA/profiles)")
    parser.add_argument("--root", default=topics.ROOT, help=argparse.SUPPRESS)


class Readings(Protocol):
    """What the store and a server's reader have in common."""

    def extent(self, furnace: str) -> tuple[int, int] | None: ...

    def read(self, furnace: str, start_ms: int, end_ms: int) -> Rows: ...


def add_source(parser: argparse.ArgumentParser | argparse._ArgumentGroup) -> None:
    """Where the readings are stored: a store or a server."""
    _arguments.data(parser)
    parser.add_argument("--server", metavar="URL", help="readings from a server that 'sootline mirror' has filled")
    _server.add_dialect(parser)


@contextmanager
def opened(options: argparse.Namespace, furnace: str | None) -> Iterator[dict[str, Past]]:
    """Furnace -> its past; only `furnace` when one is named.

    Raises UserError for files that are missing or mixed, a folder without a store, and a furnace nothing is known of.
    """
    if options.server is not None:
        if options.files:
            raise UserError("give either files or --server, not both")
        profile_of = _profile_of(options, furnace, profiles.load_folder(options.data / "profiles"))
        records = Records(options.data)
        with _server.reading(options.server, options) as reader:
            held = {
                name: Past(
                    with_log(profile_of(name), reader.log(name)), None, _days_of(reader, name),
                    partial(records.waiting, name), str(reader.extent(name)),
                )
                for name in reader.furnaces()
            }  # fmt: skip
            yield _chosen(held, furnace, options.server)
        return
    if not options.files:
        with store_of(options.data) as store:
            given = profiles.load_folder(options.data / "profiles")
            found = _of_store(store, _profile_of(options, furnace, given), Records(options.data))
            yield _chosen(found, furnace, str(options.data))
        return
    missing = [path for path in options.files if not path.is_file()]
    if missing:
        raise UserError(f"{missing[0]}: there is no such file")
    profile_of = _profile_of(options, furnace, {})
    if all(is_table(path) for path in options.files):
        tables = Tables(options.files, furnace or UNNAMED)
        found = {
            name: Past(profile_of(name), spacing(tables.first_times(name)), _rows_of(tables, name))
            for name in tables.furnaces
        }
        yield _chosen(found, furnace, "the tables")
    elif all(is_recording(path) for path in options.files):
        with tempfile.TemporaryDirectory(prefix="sootline-past-") as folder, Store.open(Path(folder)) as store:
            intake = Intake(store, options.root)
            for messages in _batches(Recordings(options.files)):
                intake.take(messages)
            intake.settle()
            yield _chosen(_of_store(store, profile_of, Records(Path(folder))), furnace, "the recordings")
    else:
        raise UserError("give either recordings (.ndjson) or tables (.parquet, .csv), not both")


def _of_store(store: Store, profile_of: Callable[[str], Profile], records: Records) -> dict[str, Past]:
    announced = store.announcements()
    found = {}
    for name in store.furnaces():
        profile = with_service(with_log(profile_of(name), store.log(name)), store.service(name))
        sampling = sampling_of(announced[name][1]) if name in announced else None
        state = f"{store.extent(name)} {store.last_received_ms(name)}"
        found[name] = Past(profile, sampling, _days_of(store, name), partial(records.waiting, name), state)
    return found


def _days_of(store: Readings, furnace: str) -> Callable[[], Iterator[Rows]]:
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
        raise no_furnace(furnace, where, found)
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
