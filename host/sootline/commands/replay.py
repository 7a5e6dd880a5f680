"""Find the alarms of the past as the service would have: in recordings, tables, or all that is stored of a fleet."""

import argparse
import sys
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from pathlib import Path

import msgspec

from sootline.alarms import Alarm
from sootline.commands import _fleet
from sootline.errors import UserError
from sootline.files import profiles
from sootline.files.recordings import Recordings, is_recording
from sootline.files.tables import Tables, is_table
from sootline.ingest.intake import Intake
from sootline.profile import Profile
from sootline.series import EMPTY
from sootline.store import Store
from sootline.watches import Watches
from sootline.wire import topics
from sootline.wire.message import Message

BATCH = 5000
UNNAMED = "furnace"


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser("sootline replay", description=__doc__)
    parser.add_argument("files", nargs="*", type=Path, metavar="FILE", help=".ndjson[.gz|.zst], .parquet or .csv")
    parser.add_argument(
        "--profile", type=Path, action="append", default=[], metavar="FILE", help="profile of a furnace (TOML)"
    )
    _fleet.add_arguments(parser)
    parser.add_argument("--furnace", metavar="ID", help="only this furnace; the name of one whose table has none")
    parser.add_argument("--json", action="store_true", help="one alarm record a line")
    parser.add_argument("--root", default=topics.ROOT, help=argparse.SUPPRESS)
    options = parser.parse_args(argv)
    if options.furnace is not None and not topics.FURNACE_ID.fullmatch(options.furnace):
        raise UserError(f"'{options.furnace}' is no furnace id: 1 to 32 of a-z, 0-9 and '-'")
    failed: dict[str, str] = {}
    if options.all:
        if options.files or options.furnace or options.profile:
            raise UserError("--all takes every furnace of --data or --server with the profiles of DATA/profiles")
        alarms, failed = _fleet.replay_all(options)
    elif not options.files:
        raise UserError("name the recordings or tables to replay, or give --all for all that is stored")
    else:
        alarms = replay(options.files, [profiles.load(path) for path in options.profile], options.furnace, options.root)
    if not alarms and not failed:
        _note("no alarm was raised")
    for alarm in sorted(alarms, key=_order):
        print(msgspec.json.encode(alarm.record()).decode() if options.json else _in_words(alarm))
    for name, why in sorted(failed.items()):
        _note(f"{name} could not be analysed: {why}")
    return 1 if failed else 0


def replay(
    files: Sequence[Path], known: Sequence[Profile] = (), furnace: str | None = None, root: str = topics.ROOT
) -> list[Alarm]:
    """Every alarm of the files, in order of raised, alarm, channel; notes on what could not be used go to stderr."""
    for path in files:
        if path.is_dir():
            raise UserError(f"{path}: is a folder; name the files in it")
        if not path.is_file():
            raise UserError(f"{path}: there is no such file")
    recordings = [path for path in files if is_recording(path)]
    tables = [path for path in files if is_table(path)]
    for path in files:
        if path not in recordings and path not in tables:
            raise UserError(f"{path}: is neither a recording (.ndjson) nor a table (.parquet, .csv) by its name")
    if recordings and tables:
        raise UserError("give either recordings or tables in one replay, not both")
    found = _recordings(recordings, known, furnace, root) if recordings else _tables(tables, known, furnace)
    return sorted(found, key=_order)


def _order(alarm: Alarm) -> tuple[int, str, str, str]:
    return alarm.raised_ms, alarm.alarm, alarm.channel or "", alarm.furnace


def _tables(paths: Sequence[Path], known: Sequence[Profile], furnace: str | None) -> Iterator[Alarm]:
    from sootline.analysis.sampling import spacing
    from sootline.analysis.watch import Watch

    tables = Tables(paths, furnace or (known[0].furnace.id if known else UNNAMED))
    if tables.unknown:
        _note(f"columns that are no channel were left out: {', '.join(tables.unknown)}")
    for name in _chosen(tables.furnaces, furnace):
        watch = Watch(
            _profile(known, furnace, name),
            lambda start_ms, end_ms: EMPTY,
            sampling=spacing(tables.first_times(name)),
        )
        for rows in tables.rows(name):
            watch.arrived(rows)
        yield from watch.alarms


def _recordings(paths: Sequence[Path], known: Sequence[Profile], furnace: str | None, root: str) -> Iterator[Alarm]:
    """Through the same intake, store and watches as in the service; only the broker is missing."""
    recordings = Recordings(paths)
    with tempfile.TemporaryDirectory(prefix="sootline-replay-") as folder, Store.open(Path(folder)) as store:
        watches = Watches(store, lambda name: _profile(known, furnace, name))
        intake = Intake(store, root)
        last_ms, seen = 0, set[str]()
        for messages in _batches(_of(recordings, furnace, root, seen), BATCH):
            watches.deliver(intake.take(messages))
            last_ms = messages[-1].received_ms
        watches.deliver(intake.settle())
        watches.tick(last_ms)
        if not last_ms and not seen:
            raise UserError(f"{', '.join(map(str, paths))}: no line holds a message; is it from 'sootline record'?")
        if recordings.unusable:
            _note(f"{recordings.unusable} lines hold no message and were left out")
        for name in ["", *store.furnaces()]:
            for reason, n in store.set_aside_counts(name).items():
                _note(f"{name or 'no furnace'}: {n} messages set aside: {reason}")
        for name in _chosen(tuple(sorted(watches.furnaces if furnace is None else seen)), furnace):
            yield from watches.furnace(name).watch.alarms


def _of(messages: Iterable[Message], furnace: str | None, root: str, seen: set[str]) -> Iterator[Message]:
    """The messages of one furnace, or all; `seen` is filled with every furnace there is."""
    for message in messages:
        topic = topics.parse(message.topic, root)
        if topic is not None:
            seen.add(topic.furnace)
        if furnace is None or (topic is not None and topic.furnace == furnace):
            yield message


def _batches(messages: Iterable[Message], n: int) -> Iterator[list[Message]]:
    iterator = iter(messages)
    while batch := list(islice(iterator, n)):
        yield batch


def _chosen(names: Sequence[str], furnace: str | None) -> Sequence[str]:
    if furnace is None:
        return names
    if furnace not in names:
        raise UserError(f"the files hold nothing of furnace '{furnace}'; they hold {', '.join(names) or 'none'}")
    return [furnace]


def _profile(known: Sequence[Profile], furnace: str | None, name: str) -> Profile:
    """The profile of a furnace; a single one given together with --furnace is that furnace's, whatever id it has."""
    if furnace == name and len(known) == 1:
        return profiles.for_furnace(known[0], name)
    for profile in known:
        if profile.furnace.id == name:
            return profile
    if known:
        ids = ", ".join(f"'{profile.furnace.id}'" for profile in known)
        _note(f"'{name}' is watched with defaults, for the profile is for {ids} (--furnace {name} uses it)")
    return profiles.default(name)


def _in_words(alarm: Alarm) -> str:
    record = alarm.record()
    place = f"{alarm.alarm}/{alarm.channel}" if alarm.channel else alarm.alarm
    end = f"until {record['cleared']}" if alarm.cleared_ms is not None else "still standing"
    under = f", under {alarm.suppressed_by}" if alarm.suppressed_by else ""
    return f"{record['raised']}  {alarm.furnace}  {place}  {alarm.priority}{under}, {end}"


def _note(text: str) -> None:
    print(f"sootline: {text}", file=sys.stderr)
