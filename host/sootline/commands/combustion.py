"""A technician's flue reading: excess air, flue loss, efficiency, and what a kelvin of stack costs.

Computes from what is typed in; it sets nothing and judges no burner.
"""

import argparse
import json
from collections.abc import Iterator, Sequence

from sootline.advice.figure import Figure, entries, rows
from sootline.errors import OutOfRange, UserError
from sootline.heat.combustion import air_ratio_from_co2, air_ratio_from_o2, o2_from_co2
from sootline.heat.composition import HEATING_OIL, RAPESEED, USED_LUBRICANT, Composition
from sootline.heat.conversions import celsius_from_fahrenheit
from sootline.heat.flue_loss import ASSUMED_O2_PERCENT, Efficiency, FlueReading, efficiency
from sootline.heat.grades import GRADES, grade

ESTIMATE = "estimate"
HEATING_OIL_KIND = "diesel"
CAUTION = (
    "CO kills without smell or smoke: fit listed CO alarms, and have CO and smoke measured too; they are not in these "
    "figures. A burner is set by a licensed technician with instruments, as its maker and local codes say."
)


def main(argv: Sequence[str]) -> int:
    """Print the figures of one reading; returns 0.

    Raises: UserError for an oil or number that cannot be used.
    """
    options = _parser().parse_args(argv)
    try:
        found = efficiency(_reading(options))
        figures = [*_air(options), *_loss(found)]
    except OutOfRange as error:
        raise UserError(str(error)) from error
    notes = [*found.estimate_because, f"composition: {_fuel(options.oil)[1]}, not analysed"]
    if options.json:
        record = {"figures": entries(figures, options.why), "estimate_because": notes, "caution": CAUTION}
        print(json.dumps(record, ensure_ascii=False, indent=1))
    else:
        print("\n".join([*rows(figures, options.us, options.why), "", "Estimates, because:"]))
        print("\n".join([*(f"  {note}" for note in notes), "", CAUTION]))
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="sootline combustion", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--stack", type=float, required=True, metavar="TEMPERATURE", help="flue gas, gross")
    parser.add_argument("--air", type=float, required=True, metavar="TEMPERATURE", help="air entering the burner")
    gas = parser.add_mutually_exclusive_group()
    gas.add_argument("--o2", type=float, metavar="PERCENT", help="oxygen in the dry flue gas; preferred")
    gas.add_argument("--co2", type=float, metavar="PERCENT", help="carbon dioxide in the dry flue gas")
    parser.add_argument("--oil", metavar="KIND", help=f"kind of oil: {', '.join(GRADES)} (default: used engine oil)")
    parser.add_argument("--us", action="store_true", help="temperatures in °F")
    parser.add_argument("--json", action="store_true", help="JSON, always in SI units")
    parser.add_argument("--why", action="store_true", help="name the function and the source behind every figure")
    return parser


def _reading(options: argparse.Namespace) -> FlueReading:
    stack, air = options.stack, options.air
    if options.us:
        stack, air = celsius_from_fahrenheit(stack), celsius_from_fahrenheit(air)
    if stack <= air:
        raise UserError("the stack must be hotter than the air; were the two exchanged?")
    return FlueReading(stack, air, options.o2, options.co2, heating_oil=options.oil == HEATING_OIL_KIND)


def _fuel(kind: str | None) -> tuple[Composition, str]:
    if kind is None:
        return USED_LUBRICANT, "typical used engine oil"
    if kind == HEATING_OIL_KIND:
        return HEATING_OIL, "typical light heating oil"
    return (RAPESEED, "rapeseed oil") if grade(kind).vegetable else (USED_LUBRICANT, "typical used lubricant")


def _air(options: argparse.Namespace) -> Iterator[Figure]:
    """Oxygen and excess air: read, worked out from carbon dioxide, or assumed."""
    fuel, _ = _fuel(options.oil)
    if options.o2 is None and options.co2 is not None:
        o2 = o2_from_co2(options.co2, fuel)
        yield Figure("o2", "oxygen, dry", o2, "percent", "from CO2", o2_from_co2)
        excess = 100.0 * (air_ratio_from_co2(options.co2, fuel) - 1.0)
        yield Figure("excess_air", "excess air", excess, "percent", "", air_ratio_from_co2)
        return
    o2 = ASSUMED_O2_PERCENT if options.o2 is None else options.o2
    note = f"{ESTIMATE}: oxygen assumed" if options.o2 is None else ""
    yield Figure("o2", "oxygen, dry", o2, "percent", note or "as read", efficiency)
    excess = 100.0 * (air_ratio_from_o2(o2, fuel) - 1.0)
    yield Figure("excess_air", "excess air", excess, "percent", note, air_ratio_from_o2)


def _loss(found: Efficiency) -> Iterator[Figure]:
    """Flue loss, efficiency and slope, marked as estimates where something behind them is assumed."""
    note = ESTIMATE if found.estimate_because else ""
    form = f"of net heating value, {found.form} form" + (f"; {note}" if note else "")
    yield Figure("flue_loss", "flue loss", found.loss_percent, "percent", form, efficiency)
    yield Figure("efficiency", "efficiency", found.efficiency_percent, "percent", note, efficiency)
    yield Figure("slope", "lost with the stack", found.slope_percent_per_K, "percent per difference", note, efficiency)
