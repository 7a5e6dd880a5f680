"""``python -m tests.records.write DIR [--smoke | --block SEED --count N] [--only NAME]``: make records into folders."""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from pathlib import Path
from typing import TextIO

from tests.records import block
from tests.records.catalogue import RECORDS, SMOKE, find
from tests.records.record import make, write


def make_one(job: tuple[str, str]) -> str:
    """Make and write one record; the line that says so."""
    name, folder = job
    began = time.perf_counter()
    record = make(block.find(name) or find(name))
    made = time.perf_counter()
    write(record, Path(folder) / name)
    expected = " ".join(sorted({str(item["alarm"]) for item in record.truth.expected}))
    written = time.perf_counter() - made
    return f"{name}: {record.recipe.days:g} days in {made - began:.1f} s, written in {written:.1f} s; {expected}"


def make_missing(folder: Path, names: list[str], workers: int, out: TextIO = sys.stdout) -> None:
    """Make the records of ``names`` that ``folder`` does not hold yet."""
    jobs = [(name, str(folder)) for name in names if not (folder / name / "truth.json").exists()]
    if workers <= 1:
        for job in jobs:
            print(make_one(job), file=out, flush=True)
        return
    with multiprocessing.Pool(workers) as pool:
        for line in pool.imap_unordered(make_one, jobs):
            print(line, file=out, flush=True)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--smoke", action="store_true", help="the ten short records")
    parser.add_argument("--block", type=int, metavar="SEED", help="records drawn at random from this seed")
    parser.add_argument("--count", type=int, default=40, help="how many of the block")
    parser.add_argument("--only", action="append", help="a record by name; may be repeated")
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    names = options.only or [recipe.name for recipe in (SMOKE if options.smoke else RECORDS)]
    if options.block is not None and not options.only:
        names = block.names(options.block, options.count)
    make_missing(options.folder, names, options.workers)


if __name__ == "__main__":
    main()
