"""From the values noted at a step to its result."""

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import cast

from sootline.commissioning.air_flow import air_flow
from sootline.commissioning.baseline import baseline
from sootline.commissioning.fixed_points import (
    Sensor,
    bath_difference_K,
    boiling_point_C,
    ice_point,
    two_points,
)
from sootline.commissioning.refill import delivery, differential
from sootline.commissioning.sense_check import sense_check
from sootline.commissioning.swap import swap_test
from sootline.errors import UserError

Value = float | str | list[float]
Values = Mapping[str, Value]
Result = dict[str, object]

SOAK_H = 24.0
CO_CAUTION_PPM = 400.0  # air-free; common practice for oil burners is far below 100
STACK_CORRECTION_LIMIT_K = 5.0


def evaluate(step: str, values: Values) -> Result:
    """Result of a step, with its units in the names; {} where the values speak for themselves.

    `values` must have been checked by `record.check_values`. Raises UserError when the step is not passed.
    """
    return _EVALUATORS[step](values) if step in _EVALUATORS else {}


def _number(values: Values, name: str) -> float:
    return cast(float, values[name])


def _numbers(values: Values, name: str) -> list[float]:
    return cast("list[float]", values[name])


def _pair(values: Values, name: str) -> tuple[float, float]:
    numbers = _numbers(values, name)
    if len(numbers) != 2:
        raise UserError(f"{name}: note two readings.")
    return numbers[0], numbers[1]


def _sensor(values: Values) -> Sensor:
    return cast(Sensor, values["sensor"])


def _bench(values: Values) -> Result:
    if _number(values, "wrong_inputs") or _number(values, "resets"):
        raise UserError("An input moved another channel, or the board reset: find the cause before mounting it.")
    if _number(values, "hours") < SOAK_H:
        raise UserError(f"The soak lasts {SOAK_H:g} hours.")
    return {}


def _ice(values: Values) -> Result:
    return {"offset_K": ice_point(_number(values, "reading_C"), _sensor(values)).offset_K}


def _boiling(values: Values) -> Result:
    station_Pa = 100 * _number(values, "station_hPa")
    correction = two_points(_number(values, "ice_C"), _number(values, "reading_C"), station_Pa)
    return {**asdict(correction), "boiling_point_C": boiling_point_C(station_Pa)}


def _bath(values: Values) -> Result:
    difference = bath_difference_K(_number(values, "reading_C"), _number(values, "reference_C"), _sensor(values))
    return {"difference_K": difference}


def _stack_reference(values: Values) -> Result:
    difference = _number(values, "reading_C") - _number(values, "reference_C")
    return {"difference_K": difference, "may_be_corrected": abs(difference) <= STACK_CORRECTION_LIMIT_K}


def _swap(values: Values) -> Result:
    return asdict(swap_test(_pair(values, "first_C"), _pair(values, "swapped_C")))


def _delivery(values: Values) -> Result:
    runs = round(_number(values, "runs"))
    return asdict(delivery(_number(values, "volume_l"), _number(values, "time_s"), _number(values, "oil_C"), runs))


def _float(values: Values) -> Result:
    return asdict(differential(_numbers(values, "volumes_l")))


def _air(values: Values) -> Result:
    pressures = [1e3 * kPa for kPa in _numbers(values, "pressures_kPa")]
    table = air_flow(pressures, _numbers(values, "flows_l_per_h"), _number(values, "nozzle_C"))
    return {"points": [list(point) for point in table.points], "nozzle_C": table.nozzle_C}


def _senses(values: Values) -> Result:
    sense_check(*(_number(values, name) for name in ("on_V", "off_V", "unplugged_V")))
    return {}


def _combustion(values: Values) -> Result:
    if _number(values, "co_ppm") > CO_CAUTION_PPM:
        raise UserError(
            f"CO is over {CO_CAUTION_PPM:g} ppm air-free: shut it down; the technician sets it right first."
        )
    return {}


def _baseline(values: Values) -> Result:
    return asdict(baseline(_numbers(values, "net_K"), _numbers(values, "firing_min")))


_EVALUATORS: dict[str, Callable[[Values], Result]] = {
    "bench": _bench,
    "ice_point": _ice,
    "boiling_point": _boiling,
    "bath": _bath,
    "swap_test": _swap,
    "stack_reference": _stack_reference,
    "refill_delivery": _delivery,
    "float_travel": _float,
    "air_flow": _air,
    "senses": _senses,
    "combustion": _combustion,
    "baseline": _baseline,
}
