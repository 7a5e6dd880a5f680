"""Stoichiometry and Siegert's flue loss against an enthalpy balance with Cantera's NASA gas data."""

import cantera
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline.errors import OutOfRange
from sootline.heat.combustion import air_ratio_from_co2, air_ratio_from_o2, o2_from_co2, stoichiometry
from sootline.heat.composition import HEATING_OIL, NO_2, RAPESEED, USED_LUBRICANT, Composition
from sootline.heat.flue_loss import (
    FlueReading,
    efficiency,
    extra_oil_fraction,
    flue_loss_co2,
    flue_loss_o2,
    loss_slope_o2,
)

AIR_C = 20.0
# Net heating values [MJ/kg] the balance is referred to.
FUELS = {"heating oil": (HEATING_OIL, 42.7), "used lubricant": (USED_LUBRICANT, 41.8), "rapeseed": (RAPESEED, 37.2)}
NAMES = ("N2", "O2", "CO2", "H2O", "SO2", "Ar")
GAS = {s.name: s for s in cantera.Species.list_from_file("nasa_gas.yaml") if s.name in NAMES}


def balance(fuel: Composition, air_ratio: float) -> dict[str, float]:
    """Flue gas [kmol/kg fuel] of complete combustion in dry air of 20.95 % oxygen, 0.94 % argon, the rest nitrogen."""
    oxygen = fuel.carbon / 12.011 + fuel.hydrogen / 4.032 + fuel.sulfur / 32.06 - fuel.oxygen / 31.998
    return {
        "CO2": fuel.carbon / 12.011,
        "H2O": fuel.hydrogen / 2.016 + fuel.water / 18.015,
        "SO2": fuel.sulfur / 32.06,
        "O2": (air_ratio - 1.0) * oxygen,
        "N2": air_ratio * oxygen * 0.7811 / 0.2095,
        "Ar": air_ratio * oxygen * 0.0094 / 0.2095,
    }


def exact_loss(fuel: Composition, net_MJ_kg: float, air_ratio: float, stack_C: float) -> float:
    """Flue loss [% of net] from the enthalpy of every gas, water staying vapour."""
    rise = {n: s.thermo.h(stack_C + 273.15) - s.thermo.h(AIR_C + 273.15) for n, s in GAS.items()}
    return 100 * sum(amount * rise[name] for name, amount in balance(fuel, air_ratio).items()) / (net_MJ_kg * 1e6)


def o2_dry(fuel: Composition, air_ratio: float) -> float:
    gases = balance(fuel, air_ratio)
    return 100 * gases["O2"] / (sum(gases.values()) - gases["H2O"])


@pytest.mark.parametrize("name", FUELS)
@pytest.mark.parametrize("air_ratio", [1.1, 1.2, 1.3, 1.5, 1.8, 2.2])
@pytest.mark.parametrize("stack", [150.0, 220.0, 300.0, 400.0])
def test_siegert_against_enthalpy_balance(name: str, air_ratio: float, stack: float) -> None:
    fuel, net = FUELS[name]
    exact = exact_loss(fuel, net, air_ratio, stack)
    loss = flue_loss_o2(stack, AIR_C, o2_dry(fuel, air_ratio))
    assert abs(loss - exact) <= (0.25 if stack <= 300 and air_ratio <= 1.5 else 0.8)


def test_the_balance_itself_matches_stored_values() -> None:
    """Values of an earlier, separately written Cantera 3.2.0 run: 13.16 % and 31.49 %."""
    assert exact_loss(HEATING_OIL, 42.7, 1.2, 300.0) == pytest.approx(13.16, abs=0.02)
    assert exact_loss(HEATING_OIL, 42.7, 2.2, 400.0) == pytest.approx(31.49, abs=0.03)


def test_carbon_dioxide_form_is_biased_for_rapeseed() -> None:
    """Why the oxygen form is preferred for mixed fuels."""
    fuel, net = FUELS["rapeseed"]
    exact = exact_loss(fuel, net, 1.2, 300.0)
    co2 = 20.95 - o2_dry(fuel, 1.2)
    co2 = stoichiometry(fuel).co2_max_percent * co2 / 20.95
    assert abs(flue_loss_o2(300.0, AIR_C, o2_dry(fuel, 1.2)) - exact) < abs(flue_loss_co2(300.0, AIR_C, co2) - exact)


# Lmin [kg/kg, m3n/kg], dry flue and water [m3n/kg], CO2max [%]: independent element balance, molar volume 22.414.
@pytest.mark.parametrize(
    ("fuel", "kg", "m3", "dry", "water", "co2"),
    [
        (HEATING_OIL, 14.624, 11.317, 10.555, 1.523, 15.24),
        (NO_2, 14.496, 11.218, 10.484, 1.468, 15.40),
        (USED_LUBRICANT, 14.199, 10.987, 10.269, 1.452, 15.39),
        (RAPESEED, 12.482, 9.659, 9.084, 1.301, 15.94),
    ],
)
def test_air_and_flue_gas_of_a_kilogram(
    fuel: Composition, kg: float, m3: float, dry: float, water: float, co2: float
) -> None:
    s = stoichiometry(fuel)
    assert (s.air_m3n, s.dry_flue_m3n, s.water_m3n) == pytest.approx((m3, dry, water), abs=4e-3)
    assert s.air_kg == pytest.approx(kg, rel=1e-3)
    assert s.co2_max_percent == pytest.approx(co2, abs=0.01)


@pytest.mark.parametrize(("air_ratio", "o2", "co2"), [(1.2, 3.699, 12.549), (1.5, 7.311, 9.921), (1.8, 9.673, 8.203)])
def test_excess_air(air_ratio: float, o2: float, co2: float) -> None:
    """Heating oil, independent balance."""
    assert air_ratio_from_o2(o2, HEATING_OIL) == pytest.approx(air_ratio, abs=5e-4)
    assert air_ratio_from_co2(co2, HEATING_OIL) == pytest.approx(air_ratio, abs=5e-4)
    assert o2_from_co2(co2, HEATING_OIL) == pytest.approx(o2, abs=5e-3)
    assert o2 == pytest.approx(o2_dry(HEATING_OIL, air_ratio), abs=0.01)


@given(st.floats(1.0, 15.0))
def test_the_two_readings_of_one_gas_agree(o2: float) -> None:
    co2 = stoichiometry(USED_LUBRICANT).co2_max_percent * (1 - o2 / 20.95)
    assert air_ratio_from_o2(o2, USED_LUBRICANT) == pytest.approx(air_ratio_from_co2(co2, USED_LUBRICANT), rel=1e-9)


def test_forty_fahrenheit_is_one_percent_only_near_three_percent_oxygen() -> None:
    """DOE steam tip rule "40 °F is about 1 %" against the slope: degF per point 40.2, 36.4, 32.4, 28.3, 24.0."""
    per_point_F = [1.8 / loss_slope_o2(o2) for o2 in (3, 5, 7, 9, 11)]
    assert per_point_F == pytest.approx([40.2, 36.4, 32.4, 28.3, 24.0], abs=0.05)


def test_slope_is_the_derivative_of_the_loss() -> None:
    losses = flue_loss_o2(np.array([200.0, 201.0]), AIR_C, 6.0)
    assert losses[1] - losses[0] == pytest.approx(loss_slope_o2(6.0), rel=1e-9)


def test_extra_oil_per_rise() -> None:
    """Siegert at O2 7.3 %, eta 0.82: 5.6635e-4 per kelvin over the efficiency, so 50 K cost 3.45 % more oil."""
    assert extra_oil_fraction(50.0, 0.82, 7.3) == pytest.approx(50 * 5.6635e-4 / 0.82, rel=1e-4)


def test_efficiency_says_what_is_estimated() -> None:
    measured = efficiency(FlueReading(260.0, 20.0, o2_percent=6.0, heating_oil=True))
    assert measured.estimate_because == () and measured.form == "O2"
    assert measured.efficiency_percent == pytest.approx(100 - measured.loss_percent)
    from_co2 = efficiency(FlueReading(260.0, 20.0, co2_percent=11.0))
    assert from_co2.form == "CO2" and len(from_co2.estimate_because) == 1
    blind = efficiency(FlueReading(260.0, 20.0))
    assert any("assumed" in text for text in blind.estimate_because)
    both = efficiency(FlueReading(260.0, 20.0, o2_percent=6.0, co2_percent=11.0, heating_oil=True))
    assert both == measured


@pytest.mark.parametrize(
    "call",
    [
        lambda: flue_loss_o2(40.0, 20.0, 5.0),
        lambda: flue_loss_o2(700.0, 20.0, 5.0),
        lambda: flue_loss_o2(250.0, 20.0, 20.9),
        lambda: flue_loss_co2(250.0, 20.0, 0.5),
        lambda: air_ratio_from_co2(17.0, HEATING_OIL),
        lambda: air_ratio_from_o2(20.9, HEATING_OIL),
        lambda: stoichiometry(Composition(0.1, 0.0, oxygen=0.9)),
    ],
)
def test_outside_validity_is_refused(call: object) -> None:
    with pytest.raises(OutOfRange):
        call()  # type: ignore[operator]
