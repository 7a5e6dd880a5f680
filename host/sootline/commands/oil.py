"""What a batch of oil needs and gives: nozzle temperature, margin below flash, heat per litre and per refill.

Computes from the oil alone; it sets nothing. A burner's maker, the installer and local codes have the last word.
"""

import argparse
import json
from collections.abc import Sequence

from sootline.advice.figure import Figure, entries, rows
from sootline.advice.oil import CAUTION, figures
from sootline.errors import OutOfRange, UserError
from sootline.heat.conversions import celsius_from_fahrenheit
from sootline.heat.grades import GRADES
from sootline.heat.oil import Measured, Oil, oil_of_parts, oil_of_points


def main(argv: Sequence[str]) -> int:
    """Print the figures of one batch or blend; returns 0, or 1 when every nozzle temperature had to be refused.

    Raises: UserError for an oil or number that cannot be used.
    """
    options = _parser().parse_args(argv)
    if options.kinds:
        print(_kinds())
        return 0
    try:
        oil = _oil(options)
        tank_C = 60.0 if options.tank is None else _celsius(options.tank, options.us)
        told = figures(oil, options.us, options.differential_l, tank_C, bool(options.point))
    except OutOfRange as error:
        raise UserError(str(error)) from error
    print(_json(oil, told, options) if options.json else _table(oil, told, options))
    advice = [f.note for f in told if f.key.startswith("nozzle")]
    return 1 if all(note.startswith("refused") for note in advice) else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="sootline oil", description=(__doc__ or "").splitlines()[0])
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--grade", metavar="KIND", help="one kind of oil; --kinds lists them")
    what.add_argument("--part", metavar="KIND=FRACTION", action="append", help="part of a blend by volume; repeat")
    what.add_argument(
        "--point", metavar="TEMPERATURE=MM2_S", action="append", help="measured viscosity such as 40=107; give two"
    )
    what.add_argument("--kinds", action="store_true", help="list the kinds of oil and stop")
    parser.add_argument("--flash", type=float, metavar="TEMPERATURE", help="flash point as tested (closed cup)")
    parser.add_argument("--density", type=float, metavar="KG_M3", help="density at 15 °C as tested [kg/m³]")
    parser.add_argument("--water", type=float, default=0.0, metavar="PERCENT", help="water, %% by mass (default 0)")
    parser.add_argument("--ash", type=float, metavar="PERCENT", help="ash as tested, %% by mass")
    parser.add_argument("--sulfur", type=float, default=0.0, metavar="PERCENT", help="sulfur, %% by mass (default 0)")
    parser.add_argument("--vegetable", action="store_true", help="with --point: the oil is a vegetable oil")
    parser.add_argument("--differential-l", type=float, metavar="L", help="oil between float levels [L]: one refill")
    parser.add_argument("--tank", type=float, metavar="TEMPERATURE", help="day tank, for the refill (default 60 °C)")
    parser.add_argument("--us", action="store_true", help="temperatures in °F in and out, volumes in gallons out")
    parser.add_argument("--json", action="store_true", help="JSON, always in SI units")
    parser.add_argument("--why", action="store_true", help="name the function and the source behind every figure")
    return parser


def _oil(options: argparse.Namespace) -> Oil:
    tests = Measured(
        flash_C=None if options.flash is None else _celsius(options.flash, options.us),
        density15_kg_m3=options.density,
        water_percent=options.water,
        ash_percent=options.ash,
        sulfur_percent=options.sulfur,
    )
    if options.point:
        pairs = [_pair(text, "TEMPERATURE=MM2_S, such as 40=107") for text in options.point]
        points = {_celsius(_number(t), options.us): v for t, v in pairs}
        return oil_of_points(points, tests, options.vegetable)
    if options.grade:
        return oil_of_parts({options.grade: 1.0}, tests)
    parts: dict[str, float] = {}
    for text in options.part:
        kind, share = _pair(text, "KIND=FRACTION, such as vg-46=0.4")
        parts[kind] = parts.get(kind, 0.0) + share
    return oil_of_parts(parts, tests)


def _pair(text: str, form: str) -> tuple[str, float]:
    left, equals, right = text.partition("=")
    if not equals or not left.strip():
        raise UserError(f"'{text}' is not {form}")
    return left.strip(), _number(right)


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise UserError(f"'{text}' is not a number") from None


def _celsius(temperature: float, us: bool) -> float:
    return celsius_from_fahrenheit(temperature) if us else temperature


def _table(oil: Oil, told: list[Figure], options: argparse.Namespace) -> str:
    notes = [f"  {text}" for text in oil.notes]
    return "\n".join([*rows(told, options.us, options.why), "", "Notes:", *notes, "", CAUTION])


def _json(oil: Oil, told: list[Figure], options: argparse.Namespace) -> str:
    record = {
        "figures": entries(told, options.why),
        "flash_known": oil.flash.known,
        "notes": oil.notes,
        "caution": CAUTION,
    }
    return json.dumps(record, ensure_ascii=False, indent=1)


def _kinds() -> str:
    lines = [f"{g.name:<14}{g.what:<42}{g.v40_mm2_s:>7g} {g.v100_mm2_s:>6g} mm²/s" for g in GRADES.values()]
    return "\n".join([f"{'kind':<14}{'':<42}{'40 °C':>7} {'100 °C':>6}", *lines])
