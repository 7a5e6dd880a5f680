"""Reports of one furnace as HTML and PDF: the season, a cleaning, the inspector's pack; and proof that rows still fit.

Every report carries digests of the rows it was made from; `verify` works them out again from the store.
"""

import argparse
from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from sootline.advice import digest
from sootline.advice.burned import opened, store_of
from sootline.commands import _arguments
from sootline.errors import OutOfRange, UserError
from sootline.papers.making import KINDS, make
from sootline.papers.render import Press, digests_in


def main(argv: Sequence[str]) -> int:
    """Write a report, or check one; returns 0, or 1 when rows have changed since.

    Raises: UserError for a furnace, file or day that cannot be used.
    """
    options = _parser().parse_args(argv)
    if options.what == "verify":
        return _verify(options)
    start_ms, end_ms = _day(options.start), _day(options.end)
    try:
        with opened(options.data, options.furnace) as (store, profile, _):
            paper = make(options.what, store, profile, "us" if options.us else "si", start_ms, end_ms)
    except OutOfRange as error:
        raise UserError(str(error)) from error
    press = Press()
    name = f"{options.what}-{options.furnace}-{paper.digests.end}"
    made = {".html": press.html(paper).encode(), ".json": msgspec.json.encode(paper.digests)}
    if not options.no_pdf:
        made[".pdf"] = press.pdf(paper)
    try:
        options.into.mkdir(parents=True, exist_ok=True)
        for suffix, data in made.items():
            path = options.into / f"{name}{suffix}"
            path.write_bytes(data)
            print(path)
    except OSError as error:
        raise UserError(f"{options.into}: cannot be written: {error.strerror}") from None
    print(f"digest {paper.digests.digest}")
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="sootline report", description=(__doc__ or "").splitlines()[0])
    acts = parser.add_subparsers(dest="what", required=True, metavar="WHAT")
    help_of = {
        "season": "what was burned, done and called for",
        "cleaning": "when to clean, and what the last cleanings did",
        "inspection": "oil by source, tests, cleanings, alarms, checks",
    }
    for kind in KINDS:
        act = acts.add_parser(kind, help=help_of[kind])
        act.add_argument("furnace", metavar="FURNACE")
        act.add_argument("--from", dest="start", metavar="DAY", help="first day (UTC; default: a year back)")
        act.add_argument("--to", dest="end", metavar="DAY", help="day before which it ends (default: the last reading)")
        act.add_argument(
            "--into", type=Path, default=Path(), metavar="FOLDER", help="where the files go (default: here)"
        )
        act.add_argument("--us", action="store_true", help="°F, gallons and pounds")
        act.add_argument("--no-pdf", action="store_true", help="HTML only")
    check = acts.add_parser("verify", help="hold a report against what is stored now")
    check.add_argument("file", type=Path, metavar="FILE", help="the .html or .json of a report")
    for act in acts.choices.values():
        _arguments.data(act, "the store's folder")
    return parser


def _verify(options: argparse.Namespace) -> int:
    then = digests_in(options.file)
    with store_of(options.data) as store:
        if then.furnace not in store.furnaces():
            raise UserError(f"there is nothing of a furnace '{then.furnace}' in {options.data}")
        compared = digest.compare(store, then)
    print(f"{then.furnace}, {then.start} to {then.end} (UTC), made {then.made}")
    print(f"digest over all, to compare with the paper: {then.digest}")
    for table in dict.fromkeys(one.table for one in compared):
        parts = [one for one in compared if one.table == table]
        counts = Counter(one.result for one in parts)
        what = "days" if table == "readings" else "table"
        print(f"  {table:<14}" + ", ".join(f"{n} {what} {result}" for result, n in sorted(counts.items())))
        for one in parts:
            if one.result != "as it was" and one.part != digest.WHOLE:
                print(f"    {one.part}: {one.result}")
    if all(one.result == "as it was" for one in compared):
        print("unchanged: what is stored is what the report was made from")
        return 0
    print("not all is as it was; events and alarms may differ because the past was analysed again")
    return 1


def _day(text: str | None) -> int | None:
    if text is None:
        return None
    try:
        return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)
    except ValueError:
        raise UserError(f"'{text}' is no day; write it like 2026-01-31") from None
