"""Every stated range ends where its docstring says: both ends are accepted, a step beyond is refused."""

from collections.abc import Callable

import numpy as np
import pytest

from sootline.errors import OutOfRange, SootlineError
from sootline.heat import ash, combustion, economics, exchanger, flue_loss, fouling, heat_up, refill_use
from sootline.heat.blend import blend_refutas
from sootline.heat.composition import HEATING_OIL
from sootline.heat.conversions import api_gravity, specific_gravity
from sootline.heat.degree_days import degree_days
from sootline.heat.density import density, expansion_coefficient
from sootline.heat.grades import grade
from sootline.heat.heating_value import gross_d4868, gross_nbs97, net_d4868
from sootline.heat.refill_use import OilBurned
from sootline.heat.specific_heat import specific_heat
from sootline.heat.viscosity import viscosity_index, z_of

Call = Callable[[float], object]
RANGES: dict[str, tuple[Call, float, float]] = {
    "specific gravity": (api_gravity, 0.6, 1.1),
    "API gravity": (specific_gravity, 0.0, 100.0),
    "D341 viscosity": (z_of, 0.21, 2e7),
    "D341 temperature": (lambda t: grade("vg-46").viscosity().at(t), -20.0, 150.0),
    "Refutas viscosity": (lambda v: blend_refutas([v], [1.0]), 0.21, 2e7),
    "VI viscosity at 100 °C": (lambda y: viscosity_index(1000.0, y), 2.0, 500.0),
    "lubricant density": (expansion_coefficient, 800.0, 1164.0),
    "fuel oil density": (lambda r: expansion_coefficient(r, "fuel-oil"), 839.0, 1075.0),
    "density temperature": (lambda t: density(t, 895.0), -50.0, 150.0),
    "Cragoe temperature": (lambda t: specific_heat(t, 0.895), -20.0, 200.0),
    "Cragoe gravity": (lambda d: specific_heat(20.0, d), 0.75, 1.0),
    "NBS 97 gravity": (gross_nbs97, 0.75, 1.0),
    "D4868 gross density": (gross_d4868, 750.0, 1000.0),
    "D4868 net density": (net_d4868, 750.0, 1000.0),
    "D4868 water": (lambda x: net_d4868(895.0, x), 0.0, 50.0),
    "D4868 ash": (lambda y: net_d4868(895.0, 0.0, y), 0.0, 10.0),
    "D4868 sulfur": (lambda s: net_d4868(895.0, 0.0, 0.0, s), 0.0, 10.0),
    "air ratio oxygen": (lambda o: combustion.air_ratio_from_o2(o, HEATING_OIL), 0.0, 20.0),
    "Siegert stack": (lambda t: flue_loss.flue_loss_o2(t, 20.0, 6.0), 60.0, 550.0),
    "Siegert air": (lambda t: flue_loss.flue_loss_o2(250.0, t, 6.0), -40.0, 60.0),
    "Siegert oxygen": (lambda o: flue_loss.flue_loss_o2(250.0, 20.0, o), 0.0, 15.0),
    "Siegert carbon dioxide": (lambda c: flue_loss.flue_loss_co2(250.0, 20.0, c), 4.0, 16.0),
    "slope oxygen": (flue_loss.loss_slope_o2, 0.0, 15.0),
    "extra oil efficiency": (lambda e: flue_loss.extra_oil_fraction(20.0, e), 0.4, 1.0),
    "extra oil rise": (lambda r: flue_loss.extra_oil_fraction(r, 0.8), -100.0, 300.0),
    "tank density": (lambda r: heat_up.heat_capacity(20.0, r, 2000.0), 600.0, 1200.0),
    "tank specific heat": (lambda c: heat_up.heat_capacity(20.0, 890.0, c), 1000.0, 4300.0),
    "preheat warming": (lambda t: heat_up.preheat_power(0.001, 2000.0, 0.0, t), 0.0, 200.0),
    "NTU": (lambda n: exchanger.effectiveness(n, 0.5), 0.0, 50.0),
    "capacity ratio": (lambda c: exchanger.effectiveness(1.0, c), 0.0, 1.0),
    "effectiveness": (lambda e: exchanger.ntu_counterflow(e, 0.5), 0.0, 0.999),
    "falling-rate exponent": (lambda p: fouling.falling_rate(10.0, 1.0, p), 0.01, 1.0),
    "power exponent": (lambda p: economics.optimal_interval_power(50.0, 0.1, p), 0.01, 5.0),
    "loss slope": (lambda s: economics.loss_per_kelvin_hour(4.0, 0.5, s, 0.8), 0.0, 1.0),
    "economics efficiency": (lambda e: economics.loss_per_kelvin_hour(4.0, 0.5, 0.05, e), 0.4, 1.0),
    "ash content": (lambda a: ash.ash_brought(ash.BurnedBatch(100.0, 880.0, a)), 0.0, 10.0),
    "ash density": (lambda r: ash.ash_brought(ash.BurnedBatch(100.0, r, 1.0)), 700.0, 1100.0),
    "gross per litre": (lambda q: refill_use.firing_rate(OilBurned(10.0, 0.1, 9), 2.0, q), 20.0, 50.0),
    "refill heating value": (lambda q: refill_use.heat_per_refill(0.45, 60.0, 895.0, q), 10.0, 50.0),
    "outdoor temperature": (lambda t: degree_days(np.array([t])), -70.0, 60.0),
    "degree-day base": (lambda b: degree_days(np.array([5.0]), b), -10.0, 30.0),
}


@pytest.mark.parametrize("name", RANGES)
def test_range_ends_where_it_says(name: str) -> None:
    call, low, high = RANGES[name]
    call(low)
    call(high)
    step = 1e-6 * max(1.0, abs(high))
    for outside in (low - step, high + step, float("nan")):
        if name == "outdoor temperature" and np.isnan(outside):
            continue  # a series: a missing reading stays missing
        with pytest.raises(OutOfRange) as error:
            call(outside)
        assert "\n" not in str(error.value) and len(str(error.value)) < 120


def test_out_of_range_is_a_value_error_of_ours() -> None:
    assert issubclass(OutOfRange, ValueError) and issubclass(OutOfRange, SootlineError)
