"""When to clean and why: the rise of the stack, every limit with its date, what could fake it, and the proof after.

Reads what is stored; it sets nothing. Ash is hot for long and bad to breathe: let the furnace cool, switch it off at
the service switch, mask and seal the ash as local rules say.
"""

import argparse
import json
from collections.abc import Iterator, Sequence
from math import isinf
from typing import Any

from sootline.advice import ledger, proof
from sootline.advice.burned import DAY_MS, burned, day_of, opened
from sootline.advice.cleaning import AHEAD_DAYS, CAUTION, Picture, draw, figures
from sootline.advice.figure import entries, rows
from sootline.advice.limits import Given, day_given, smoke_given
from sootline.commands import _arguments
from sootline.errors import OutOfRange, UserError
from sootline.heat.cleaning_date import CleaningDate, Range, cleaning_date
from sootline.heat.confounders import explain
from sootline.heat.why import origin

LATER = "later"  # than the days looked ahead


def main(argv: Sequence[str]) -> int:
    """Print when to clean, or write down a prediction, or prove the last one; returns 0.

    Raises: UserError for a furnace or number that cannot be used.
    """
    options = _parser().parse_args(argv)
    try:
        with opened(options.data, options.furnace) as (store, profile, now_ms):
            if options.prove:
                said = proof.prove(store, profile, now_ms, options.data, options.ash_kg)
                print(json.dumps(said) if options.json else said["text"])
                return 0
            picture = draw(store, burned(store, profile, now_ms), _given(options))
    except OutOfRange as error:
        raise UserError(str(error)) from error
    written = _predict(picture, options) if options.predict else None
    print(_json(picture, written, options) if options.json else "\n".join(_text(picture, written, options)))
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="sootline cleaning", description=(__doc__ or "").splitlines()[0])
    add = parser.add_argument
    add("furnace", metavar="FURNACE")
    _arguments.add(parser)
    add("--season-end", metavar="DATE", help="the day on which the season ends and it is cleaned anyway")
    add("--coldest", type=float, metavar="C", help="coldest day ahead [°C] (default: the coldest firing stored)")
    add("--smoke", action="append", metavar="DATE=NUMBER", help="a smoke spot test since the cleaning; repeat")
    add("--ash-full-kg", type=float, metavar="KG", help="ash in the exchanger at which you clean [kg]")
    add("--ash-kg", type=float, metavar="KG", help="ash weighed at the cleaning [kg]: compared with the budget")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--predict", action="store_true", help="write down, before cleaning, what it should bring")
    what.add_argument("--prove", action="store_true", help="after cleaning: compare the drop with what was predicted")
    return parser


def _given(options: argparse.Namespace) -> Given:
    return Given(
        oil=options.oil,
        season_end=None if options.season_end is None else day_given(options.season_end),
        coldest_C=options.coldest,
        smoke=tuple(smoke_given(text) for text in options.smoke or ()),
        ash_full_kg=options.ash_full_kg,
        ash_kg=options.ash_kg,
    )


def _predict(picture: Picture, options: argparse.Namespace) -> str:
    if picture.course is None:
        raise UserError(f"nothing can be predicted yet: {picture.refused}")
    path = ledger.path_of(options.data, picture.seen.furnace)
    return proof.predict(path, picture.seen.now_ms, picture.rise, picture.ash)


def _text(picture: Picture, written: str | None, options: argparse.Namespace) -> Iterator[str]:
    seen = picture.seen
    since = "cleaned on" if seen.declared else "first seen (nobody has said that it was clean) on"
    yield f"{seen.furnace} as of {day_of(seen.now_ms)}, {since} {day_of(seen.clean_ms)}"
    yield from rows(figures(picture, options.ash_kg), options.us, options.why)
    yield ""
    if picture.due is None:
        yield f"No date yet: {picture.refused} (after a week and 30 firings that teach the clean stack)"
    else:
        yield from _dates(picture, picture.due, options.why)
        yield from ("", "Could it be something else?")
        for cause in picture.causes:
            yield f"  {cause.cause:<13}{cause.result:<12}{cause.evidence}"
        if not picture.causes:
            yield "  not tested; see the notes"
        if options.why:
            yield _origin(explain)
    yield from ("", "Notes:", *(f"  {note}" for note in (*picture.limits.notes, *picture.notes)))
    yield from ("", CAUTION)
    if written is not None:
        yield from ("", written)


def _dates(picture: Picture, due: CleaningDate, why: bool) -> Iterator[str]:
    now_ms = picture.seen.now_ms
    low, middle, high = _days(now_ms, due.date)
    yield f"Clean {_between(low, high)} (80 %), most likely {middle}; what comes first: {due.binding}"
    yield f"  {'limit':<14}{'earliest':<12}{'likely':<12}{'latest':<12}comes first"
    for name, span in sorted(due.by_limit.items(), key=lambda item: item[1].median):
        low, middle, high = _days(now_ms, span)
        yield f"  {name:<14}{low:<12}{middle:<12}{high:<12}{due.share_first[name]:.0%}"
        if why:
            yield _origin(picture.limits.behind[name])
    if due.window is not None:
        first, last = _day(now_ms, due.window.start), _day(now_ms, due.window.end)
        yield f"Money: any time {_between(first, last)} costs at most 5 % more than the best day"
        for days, lost in sorted(due.waiting.items()):
            yield f"  {abs(days)} days {'early' if days < 0 else 'late'} of its best day costs {lost:.2f}"
    if why:
        yield _origin(cleaning_date)


def _origin(function: Any) -> str:
    found = origin(function)
    return f"    {found.function}: {found.source}"


def _day(now_ms: int, days: float) -> str:
    return LATER if isinf(days) else day_of(now_ms + days * DAY_MS)


def _between(first: str, last: str) -> str:
    if first == LATER:
        return f"more than {AHEAD_DAYS} days from now"
    return f"from {first} on" if last == LATER else f"between {first} and {last}"


def _days(now_ms: int, span: Range) -> tuple[str, str, str]:
    return _day(now_ms, span.low), _day(now_ms, span.median), _day(now_ms, span.high)


def _json(picture: Picture, written: str | None, options: argparse.Namespace) -> str:
    seen, due = picture.seen, picture.due
    record: dict[str, Any] = {
        "furnace": seen.furnace,
        "as_of": day_of(seen.now_ms),
        "clean_since": day_of(seen.clean_ms),
        "declared_clean": seen.declared,
        "figures": entries(figures(picture, options.ash_kg), options.why),
        "refused": picture.refused or None,
        "causes": [
            {"cause": c.cause, "result": c.result, "explains_K": c.explains_K, "evidence": c.evidence}
            for c in picture.causes
        ],
        "notes": [*picture.limits.notes, *picture.notes],
        "written": written,
        "caution": CAUTION,
    }
    if due is not None:
        record |= {
            "date": _days(seen.now_ms, due.date),
            "binding": due.binding,
            "limits": [_limit(picture, name, span, options.why) for name, span in due.by_limit.items()],
            "money_window": due.window
            and [_day(seen.now_ms, days) for days in (due.window.start, due.window.best, due.window.end)],
            "waiting": {str(days): lost for days, lost in sorted(due.waiting.items())},
        }
    return json.dumps(record, ensure_ascii=False, indent=1)


def _limit(picture: Picture, name: str, span: Range, why: bool) -> dict[str, Any]:
    assert picture.due is not None
    made: dict[str, Any] = {
        "limit": name,
        "date": _days(picture.seen.now_ms, span),
        "share_first": picture.due.share_first[name],
    }
    if why:
        found = origin(picture.limits.behind[name])
        made |= {"function": found.function, "source": found.source}
    return made
