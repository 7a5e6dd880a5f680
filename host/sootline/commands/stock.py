"""Oil burned, by counting refills, the firing rate against the rating, and how long the stock lasts in this weather."""

import argparse
import json
from collections.abc import Iterator, Sequence

from sootline.advice import stock
from sootline.advice.burned import day_of, opened
from sootline.advice.figure import UNITS, entries, rows
from sootline.advice.stock import Given, Stock
from sootline.commands import _arguments
from sootline.errors import OutOfRange, UserError
from sootline.heat.refill_use import oil_burned
from sootline.heat.why import origin


def main(argv: Sequence[str]) -> int:
    """Print what was burned and what is left; returns 0.

    Raises: UserError for a furnace, profile or number that cannot be used.
    """
    options = _parser().parse_args(argv)
    try:
        with opened(options.data, options.furnace) as (store, profile, now_ms):
            told = stock.stock(
                store, profile, now_ms, options.days, Given(options.oil, options.litres, options.outdoor)
            )
    except OutOfRange as error:
        raise UserError(str(error)) from error
    print(_json(told, options.why) if options.json else "\n".join(_text(told, options)))
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="sootline stock", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("furnace", metavar="FURNACE")
    _arguments.add(parser)
    parser.add_argument("--days", type=_days, default=60, metavar="N", help="days to look back (default 60)")
    parser.add_argument("--litres", type=float, metavar="L", help="stock at the last reading [L], instead of the level")
    parser.add_argument("--outdoor", type=float, metavar="C", help="mean outdoor temperature to expect [°C]")
    return parser


def _days(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= 1000:
        raise argparse.ArgumentTypeError("a number of days from 1 to 1000")
    return int(text)


def _text(told: Stock, options: argparse.Namespace) -> Iterator[str]:
    yield f"{told.seen.furnace} from {day_of(told.seen.clean_ms)} to {day_of(told.seen.now_ms)}"
    yield from rows(told.figures, options.us, options.why)
    if told.empty_on is not None:
        yield f"Empty about {told.empty_on}"
    unit, convert = (UNITS["oil"][2], UNITS["oil"][4]) if options.us else ("L", float)
    for kind, those in told.periods.items():
        width = max(24, *(len(p.name) for p in those)) if those else 24
        yield ""
        yield f"{f'by {kind}':<{width + 2}}{f'oil burned [{unit}]':>18} refills"
        for p in those:
            amount = f"{convert(p.burned.litres):.1f} ± {convert(p.burned.standard_error_l):.1f}"
            yield f"  {p.name:<{width}}{amount:>18}{p.burned.refills:>8}"
    if options.why:
        found = origin(oil_burned)
        yield f"    {found.function}: {found.source}"
    yield from ("", "Notes:", *(f"  {note}" for note in told.notes))


def _json(told: Stock, why: bool) -> str:
    record = {
        "furnace": told.seen.furnace,
        "from": day_of(told.seen.clean_ms),
        "as_of": day_of(told.seen.now_ms),
        "figures": entries(told.figures, why),
        "empty_on": told.empty_on,
        "periods": {
            kind: [
                {
                    "name": p.name,
                    "litres": p.burned.litres,
                    "standard_error": p.burned.standard_error_l,
                    "refills": p.burned.refills,
                }
                for p in those
            ]
            for kind, those in told.periods.items()
        },
        "notes": told.notes,
    }
    return json.dumps(record, ensure_ascii=False, indent=1)
