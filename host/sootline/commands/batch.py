"""The log of used-oil batches: where each came from, its tests beside the published limits, how long to keep them.

A comparison with US federal figures. It judges nothing: whether and what you may burn is for local law.
"""

import argparse
import json
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime
from typing import Any, get_args

from sootline.advice import oil_log
from sootline.advice.batches import told
from sootline.commands import _arguments
from sootline.errors import OutOfRange, UserError
from sootline.heat.conversions import GALLON_L, celsius_from_fahrenheit, fahrenheit
from sootline.heat.used_oil import DEFERS, MAX_PPM, OilBatch, Source, keep_until, space_heater_conditions, specification
from sootline.heat.why import origin


def main(argv: Sequence[str]) -> int:
    """Add a batch to the log, or list them; returns 0.

    Raises: UserError for a batch or a file that cannot be used.
    """
    options = _parser().parse_args(argv)
    path = oil_log.path_of(options.data)
    try:
        batches = oil_log.load(path)
        if not options.data.is_dir():
            raise UserError(f"{options.data}: there is no such folder; give the one of 'sootline run' with --data")
        if options.what == "add":
            batch = _batch(options)
            oil_log.append(path, batch)
            batches, first = [batch], len(batches) + 1
        else:
            first = 1
        listed = [_told(number, batch, options) for number, batch in enumerate(batches, first)]
    except OutOfRange as error:
        raise UserError(str(error)) from error
    if options.json:
        print(json.dumps({"batches": listed, "defers": DEFERS}, ensure_ascii=False, indent=1))
    else:
        print("\n".join([line for one in listed for line in _lines(one, options)] or ["no batch has been logged"]))
        print(f"\n{DEFERS}")
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="sootline batch", description=(__doc__ or "").splitlines()[0])
    what = parser.add_subparsers(dest="what", required=True)
    add = what.add_parser("add", help="log a batch")
    add.add_argument("--source", choices=get_args(Source), required=True, help="whose oil it was")
    add.add_argument("--kind", required=True, help="what it is, in your words or one of `sootline oil --kinds`")
    add.add_argument("--volume", type=float, required=True, metavar="L", help="litres; gallons with --us")
    add.add_argument("--received", type=_date, metavar="DATE", help="day it came (default: today)")
    add.add_argument(
        "--test", action="append", default=[], metavar="NAME=PPM", help=f"{', '.join(MAX_PPM)}; may be repeated"
    )
    add.add_argument("--flash", type=float, metavar="TEMPERATURE", help="flash point as tested, °C; °F with --us")
    add.add_argument("--analysis", default="", metavar="TEXT", help="where the analysis is kept")
    for command in (add, what.add_parser("list", help="list the batches")):
        _arguments.data(command)
        command.add_argument("--vent", choices=("outdoors", "indoors"), help="where the combustion gases go")
        command.add_argument("--us", action="store_true", help="gallons and °F in and out")
        command.add_argument("--json", action="store_true", help="JSON, always in SI units")
        command.add_argument("--why", action="store_true", help="name the function and the source behind it")
    return parser


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is no date; write it like 2026-02-01") from None


def _batch(options: argparse.Namespace) -> OilBatch:
    tests: dict[str, float] = {}
    for text in options.test:
        name, _, number = text.partition("=")
        try:
            tests[name.strip()] = float(number)
        except ValueError:
            raise UserError(f"'{text}': write it as NAME=PPM, such as lead=40") from None
    flash_C = options.flash
    if flash_C is not None and options.us:
        flash_C = celsius_from_fahrenheit(flash_C)
    litres = options.volume * GALLON_L if options.us else options.volume
    if litres <= 0:
        raise UserError("the volume of a batch must be more than nothing")
    received = options.received or datetime.now(UTC).date()
    return OilBatch(received, options.source, options.kind, litres, tests, flash_C, options.analysis)


def _told(number: int, batch: OilBatch, options: argparse.Namespace) -> dict[str, Any]:
    made = told(number, batch, options.data, options.vent)
    if options.why:
        behind = (("tests", specification), ("space_heater", space_heater_conditions), ("keep_until", keep_until))
        made["why"] = {key: f"{origin(f).function}: {origin(f).source}" for key, f in behind}
    return made


def _lines(one: dict[str, Any], options: argparse.Namespace) -> Iterator[str]:
    litres = one["litres"]
    volume = f"{litres / GALLON_L:.0f} gal" if options.us else f"{litres:.0f} L"
    yield f"{one['number']}  {one['received']}  {volume}  {one['kind']}  from: {one['source']}"
    yield f"   {one['specification']}; keep its papers until {one['keep_until']}"
    if one["analysis"]:
        yield f"   analysis: {one['analysis']}"
    for test in one["tests"]:
        text = test["text"]
        if test["item"] == "flash point" and options.us and one["flash_C"] is not None:
            text = f"flash point {fahrenheit(one['flash_C']):.0f} °F against at least 100 °F"
        yield f"   {test['result']:<9} {text}"
    for condition in one["space_heater"]:
        yield f"   {condition['result']:<9} {condition['furnace']}: {condition['text']}"
    for line in one.get("why", {}).values():
        yield f"    {line}"
