"""NIST SP 811 factors and the constants table of water."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from sootline import units
from sootline.errors import OutOfRange
from sootline.heat import conversions as c

# NIST SP 811 appendix B (factors marked exact there, or following from exact ones).
SP_811 = [
    (c.GALLON_L, 3.785411784),
    (c.POUND_KG, 0.45359237),
    (c.PSI_PA, 6894.757293168),
    (c.BTU_J, 1055.05585262),
    (c.W_PER_BTU_PER_H, 0.2930710702),
    (3.6e6 / c.BTU_J, 3412.141633),
    (c.MJ_PER_L_PER_BTU_PER_GAL * 1000, 0.2787162699),
    (c.L_PER_S_PER_GAL_PER_H * 1000, 1.0515032733),
    (c.INCH_WATER_PA, 249.08891),
]


@pytest.mark.parametrize(("ours", "published"), SP_811)
def test_factors_are_those_of_sp_811(ours: float, published: float) -> None:
    assert ours == pytest.approx(published, rel=1e-9)


@pytest.mark.parametrize("name", ["POUND_KG", "GALLON_L", "BTU_J", "PSI_PA", "INCH_WATER_PA"])
def test_pages_and_equations_use_the_same_factors(name: str) -> None:
    assert getattr(units, name) == pytest.approx(getattr(c, name), rel=1e-12)


def test_factors_agree_with_scipy_constants() -> None:
    assert pytest.approx(constants.gallon * 1000, rel=1e-12) == c.GALLON_L
    assert pytest.approx(constants.psi, rel=1e-9) == c.PSI_PA
    assert pytest.approx(constants.Btu_IT, rel=1e-12) == c.BTU_J


def test_water_at_60F_weighs_8_337_pounds_a_gallon() -> None:
    """Table of constants: 999.016 kg/m³ = 8.33719 lb/gal."""
    lb_per_gal = c.WATER_60F_KG_PER_M3 / 1000 * c.GALLON_L / c.POUND_KG
    assert lb_per_gal == pytest.approx(8.33719, abs=1e-5)


@given(st.floats(-200, 2000))
def test_temperature_round_trips(t: float) -> None:
    assert c.celsius(c.kelvin(t)) == pytest.approx(t, abs=1e-9)
    assert c.celsius_from_fahrenheit(c.fahrenheit(t)) == pytest.approx(t, abs=1e-9)


def test_temperatures_below_absolute_zero_are_refused() -> None:
    with pytest.raises(OutOfRange, match="-300"):
        c.kelvin(-300.0)
    with pytest.raises(OutOfRange):
        c.celsius(-1.0)


def test_api_gravity_of_water_is_10() -> None:
    assert c.api_gravity(1.0) == pytest.approx(10.0)
    assert c.specific_gravity(35.0) == pytest.approx(0.8498, abs=1e-4)  # API tables


def test_arrays_go_through_and_missing_readings_stay_missing() -> None:
    out = c.kelvin(np.array([0.0, np.nan, 100.0]))
    assert out[0] == 273.15 and np.isnan(out[1]) and out[2] == 373.15


def test_a_number_that_is_no_number_is_refused() -> None:
    with pytest.raises(OutOfRange, match="not a number"):
        c.kelvin(float("nan"))
