"""Look after the store: its size and forecast, check it, export readings, tidy it, make a backup copy."""

import argparse
import json
import time
from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path

from sootline.advice.tables import TABLES, Ask
from sootline.commands import _arguments, _server
from sootline.errors import StoreDamaged, StoreUnavailable, UserError, no_furnace
from sootline.store import Store
from sootline.store.exporting import check_suffix, write
from sootline.store.sealing import Retention
from sootline.store.sizes import FurnaceSize, Sizes

EVERYTHING = "everything"
EPILOG = "All of it may be done while the service runs."


def main(argv: Sequence[str]) -> int:
    options = _parser().parse_args(argv)
    try:
        return int(options.act(options))
    except (StoreDamaged, StoreUnavailable) as error:
        raise UserError(str(error)) from None


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("sootline store", description=__doc__, epilog=EPILOG)
    acts = parser.add_subparsers(title="acts", required=True, metavar="ACT")

    def act(name: str, help: str, function: object) -> argparse.ArgumentParser:
        one = acts.add_parser(name, help=help, description=help)
        _arguments.data(one)
        one.set_defaults(act=function)
        return one

    status = act("status", "what is kept, how large it is, and how large it will be", _status)
    status.add_argument("--json", action="store_true", help="as one JSON object")
    act("verify", "read everything back and name what is not as it was written", _verify)
    export = act("export", "what is kept as a table, .csv or .parquet, or all tables in a folder", _export)
    export.add_argument("file", type=Path, metavar="FILE", help="or a new folder, with --what everything")
    export.add_argument("--what", choices=(*TABLES, EVERYTHING), default="readings", help="which table (readings)")
    export.add_argument("--format", choices=("parquet", "csv"), default="parquet", help="with --what everything")
    export.add_argument("--furnace", action="append", metavar="ID", help="only this one; may be given again")
    export.add_argument("--from", dest="start", metavar="TIME", help="first time, such as 2026-01-31 (UTC)")
    export.add_argument("--to", dest="end", metavar="TIME", help="the time before which to stop")
    compact = act("compact", "pack hours, seal days, drop what is older than is to be kept", _compact)
    for what, meaning in (("raw", "readings"), ("hourly", "hourly figures"), ("event", "events, alarms and messages")):
        compact.add_argument(f"--keep-{what}-days", metavar="DAYS", help=f"keep {meaning} this long; 'all': for ever")
    backup = act("backup", "a copy that opens like the original", _backup)
    backup.add_argument("target", type=Path, metavar="DEST", help="a folder that is not there yet")
    fetch = act("fetch", "fill the store with the readings of a server that 'sootline mirror' has filled", _fetch)
    fetch.add_argument("url", metavar="URL", help="of the server")
    _server.add_dialect(fetch)
    return parser


def _status(options: argparse.Namespace) -> int:
    with Store.open(options.data, read_only=True) as store:
        sizes, retention = store.sizes(), store.retention()
    if options.json:
        print(json.dumps(_as_json(sizes, retention)))
        return 0
    for one in sizes.furnaces:
        print(f"{one.furnace}: {_date(one.first_ms)} to {_date(one.last_ms)}, {one.rows:,} rows")
        print(
            f"  {one.days} days in files, {_bytes(one.day_bytes)}; {one.waiting:,} rows wait for the end of their day"
        )
        if one.bytes_a_day is not None:
            kept = retention.raw_days
            long = "ten years" if kept is None else f"the {kept / 365.25:.3g} years kept"
            in_all = _bytes(one.forecast_bytes(kept) or 0.0)
            print(f"  {_bytes(one.bytes_a_day)} a day; running every day, {in_all} in {long}")
    print(f"database {_bytes(sizes.database_bytes)}; free on the disk {_bytes(sizes.free_bytes)}")
    ages = {"readings": retention.raw_days, "hourly figures": retention.hourly_days, "events": retention.event_days}
    print("kept: " + ", ".join(f"{what} {'for ever' if d is None else f'{d:g} days'}" for what, d in ages.items()))
    return 0


def _as_json(sizes: Sizes, retention: Retention) -> dict[str, object]:
    def one(size: FurnaceSize) -> dict[str, object]:
        return asdict(size) | {
            "bytes_a_day": size.bytes_a_day,
            "forecast_bytes": size.forecast_bytes(retention.raw_days),
        }

    return {
        "furnaces": [one(size) for size in sizes.furnaces],
        "database_bytes": sizes.database_bytes,
        "free_bytes": sizes.free_bytes,
        "retention": asdict(retention),
    }


def _verify(options: argparse.Namespace) -> int:
    with Store.open(options.data, read_only=True) as store:
        problems = store.verify()
    for problem in problems:
        print(problem)
    if not problems:
        print("everything is as it was written")
    return 1 if problems else 0


def _export(options: argparse.Namespace) -> int:
    start_ms, end_ms = _time(options.start, 0), _time(options.end, 2**62)
    with Store.open(options.data, read_only=True) as store:
        known = store.furnaces()
        for name in options.furnace or ():
            if name not in known:
                raise no_furnace(name, options.data, known)
        ask = Ask(store, options.furnace or known, start_ms, end_ms)
        if options.what == EVERYTHING:
            return _export_all(ask, options.file, options.format)
        check_suffix(options.file)
        n = write(TABLES[options.what](ask), options.file)
    print(f"{n:,} rows in {options.file}")
    return 0


def _export_all(ask: Ask, folder: Path, suffix: str) -> int:
    """Every table into a new folder."""
    try:
        folder.mkdir(parents=True)
    except OSError as error:
        raise UserError(f"{folder}: {error.strerror}; name a new folder") from None
    for name, table in TABLES.items():
        target = folder / f"{name}.{suffix}"
        print(f"{write(table(ask), target):,} rows in {target}")
    return 0


def _compact(options: argparse.Namespace) -> int:
    Store.open(options.data, read_only=True).close()  # a mistyped folder must not become a new store
    with Store.open(options.data) as store:
        wanted = {
            f"{what}_days": _days(given)
            for what in ("raw", "hourly", "event")
            if (given := getattr(options, f"keep_{what}_days")) is not None
        }
        if wanted:
            store.set_retention(replace(store.retention(), **wanted))
        done = store.compact(time.time_ns() // 1_000_000)
    print(f"{done.packs:,} packs put into hours, {done.days_sealed} days sealed, {done.parts_dropped} parts dropped")
    for problem in done.problems:
        print(problem)
    return 1 if done.problems else 0


def _backup(options: argparse.Namespace) -> int:
    with Store.open(options.data, read_only=True) as store:
        days = store.backup(options.target)
    print(
        f"copied to {options.target}: the store with {days} day files, and what lies beside it (profiles, "
        "commissioning, ledger, used oil); it opens like the original"
    )
    return 0


def _fetch(options: argparse.Namespace) -> int:
    with _server.reading(options.url, options, "; what was fetched is kept, so try again") as reader:
        from sootline.mirror import fetch

        with Store.open(options.data) as store:
            n = fetch(reader, store)
            store.compact(time.time_ns() // 1_000_000)
    print(f"{n:,} new rows in {options.data}")
    return 0


def _time(text: str | None, default_ms: int) -> int:
    if text is None:
        return default_ms
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        raise UserError(f"'{text}' is no time; write it like 2026-01-31 or 2026-01-31T06:00:00Z") from None
    return round((time if time.tzinfo else time.replace(tzinfo=UTC)).timestamp() * 1000)


def _days(text: str) -> float | None:
    if text == "all":
        return None
    try:
        days = float(text)
    except ValueError:
        days = 0.0
    if not days >= 1:
        raise UserError(f"'{text}' is no number of days; write 1 or more, or 'all'")
    return days


def _date(t_ms: int) -> str:
    return f"{datetime.fromtimestamp(t_ms / 1000, UTC):%Y-%m-%d}"


def _bytes(n: float) -> str:
    for unit in ("B", "kB", "MB"):
        if n < 999.5:
            return f"{n:.3g} {unit}"
        n /= 1000
    return f"{n:.3g} GB"
