"""ASTM D1250 factors, Cragoe's specific heat, NBS 97, D4868, Boie and the regulatory defaults."""

import numpy as np
import pytest
from chemicals.combustion import HHV_Boie
from hypothesis import given
from hypothesis import strategies as st

from sootline.errors import OutOfRange
from sootline.heat.composition import HEATING_OIL, RAPESEED, USED_LUBRICANT, Composition
from sootline.heat.conversions import KJ_PER_KG_PER_BTU_PER_LB, MJ_PER_L_PER_BTU_PER_GAL, api_gravity
from sootline.heat.density import density, expansion_coefficient, litres_at_15C, volume_correction_factor
from sootline.heat.heating_value import (
    default_gross_per_litre,
    gross_boie,
    gross_d4868,
    gross_nbs97,
    net_d4868,
    net_from_gross,
    net_nbs97,
)
from sootline.heat.specific_heat import specific_heat


def test_metric_constant_is_the_us_one_times_1_8() -> None:
    """API MPMS 11.1: lubricants K1 0.34878 per °F (60 °F base), 0.6278 per K."""
    assert expansion_coefficient(895.0) * 895.0 == pytest.approx(1.8 * 0.34878, rel=1e-4)


def test_d1250_factors_for_lubricants() -> None:
    """VCF of 895 kg/m³ lubricant computed independently from the API constants."""
    t = np.array([0.0, 15.0, 20.0, 40.0, 60.0, 80.0])
    expected = [1.01049, 1, 0.99649, 0.98237, 0.96816, 0.95384]
    assert volume_correction_factor(t, 895.0) == pytest.approx(expected, abs=6e-6)
    assert volume_correction_factor(60.0, 880.0) == pytest.approx(0.96761, abs=6e-6)
    assert volume_correction_factor(60.0, 895.0, "fuel-oil") == pytest.approx(0.96471, abs=6e-6)


def test_a_thousand_hot_litres_are_968_at_15() -> None:
    assert litres_at_15C(1000.0, 60.0, 895.0) == pytest.approx(968.2, abs=0.1)
    assert density(60.0, 895.0) == pytest.approx(866.5, abs=0.1)


@given(st.floats(-40, 140), st.floats(-40, 140), st.floats(810, 1000))
def test_oil_expands_when_warmed(a: float, b: float, rho: float) -> None:
    if a < b - 0.01:
        assert volume_correction_factor(a, rho) > volume_correction_factor(b, rho)


@pytest.mark.parametrize("call", [lambda: density(20.0, 700.0), lambda: density(200.0, 895.0)])
def test_density_outside_validity_is_refused(call: object) -> None:
    with pytest.raises(OutOfRange):
        call()  # type: ignore[operator]


def test_cragoe_specific_heat() -> None:
    """NBS Miscellaneous Publication 97, d 0.895, computed independently [kJ/(kg K)]."""
    t = np.array([0.0, 15.0, 40.0, 60.0, 80.0, 100.0])
    assert specific_heat(t, 0.895) / 1000 == pytest.approx([1.781, 1.835, 1.924, 1.996, 2.068, 2.139], abs=6e-4)


# NBS 97 table, API: gross cal/g, Btu/lb, Btu/gal, MJ/kg, net MJ/kg (net from remembered hydrogen relation).
NBS_97 = [
    (10, 1.0000, 10300, 18540, 154572, 43.124, 40.801),
    (20, 0.9340, 10568, 19023, 148126, 44.246, 41.714),
    (27, 0.8927, 10726, 19307, 143704, 44.909, 42.246),
    (30, 0.8762, 10788, 19418, 141845, 45.167, 42.451),
    (35, 0.8498, 10883, 19590, 138802, 45.566, 42.767),
]


@pytest.mark.parametrize(("api", "d", "cal", "btu_lb", "btu_gal", "gross", "net"), NBS_97)
def test_nbs97_table(api: float, d: float, cal: float, btu_lb: float, btu_gal: float, gross: float, net: float) -> None:
    assert api_gravity(d) == pytest.approx(api, abs=0.02)
    assert gross_nbs97(d) == pytest.approx(gross, abs=0.003)
    assert gross_nbs97(d) / 4.1868e-3 == pytest.approx(cal, abs=1.0)
    assert gross_nbs97(d) * 1000 / KJ_PER_KG_PER_BTU_PER_LB == pytest.approx(btu_lb, abs=3)
    per_gal = gross_nbs97(d) * d * 0.999016 / MJ_PER_L_PER_BTU_PER_GAL
    assert per_gal == pytest.approx(btu_gal, rel=2e-4)
    assert net_nbs97(d) == pytest.approx(net, abs=0.003)


@given(st.floats(820, 960))
def test_d4868_agrees_with_nbs97(rho: float) -> None:
    d = rho / 999.016
    assert gross_d4868(rho) == pytest.approx(gross_nbs97(d), abs=0.1)
    assert net_d4868(rho) == pytest.approx(net_nbs97(d), abs=0.1)


def test_d4868_with_water_ash_and_sulfur() -> None:
    """Computed independently from the D4868 coefficients (from memory)."""
    assert gross_d4868(850, sulfur_percent=0.1) == pytest.approx(45.528, abs=1e-3)
    assert net_d4868(860, sulfur_percent=0.3) == pytest.approx(42.547, abs=1e-3)
    assert gross_d4868(895, 5, 0.8, 0.4) == pytest.approx(42.129, abs=1e-3)
    assert net_d4868(895, 5, 0.8, 0.4) == pytest.approx(39.515, abs=1e-3)
    dry = net_d4868(895, 0, 0.8, 0.4)
    shares = [100 * net_d4868(895, w, 0.8, 0.4) / dry for w in (1, 2, 5, 10)]
    assert shares == pytest.approx([98.93, 97.86, 94.65, 89.30], abs=0.01)


@pytest.mark.parametrize("fuel", [HEATING_OIL, USED_LUBRICANT, RAPESEED])
def test_boie_against_library(fuel: Composition) -> None:
    ws = {"C": fuel.carbon, "H": fuel.hydrogen, "S": fuel.sulfur, "O": fuel.oxygen, "N": fuel.nitrogen}
    assert gross_boie(fuel) == pytest.approx(-HHV_Boie(ws) / 1000, abs=1e-9)


def test_elements_and_density_agree_for_used_lubricant() -> None:
    assert gross_boie(USED_LUBRICANT) == pytest.approx(gross_d4868(895, 0.5, 0.8, 0.4), abs=0.3)


def test_rapeseed_meets_its_standard() -> None:
    """DIN 51605: net heating value at least 36 MJ/kg."""
    assert 36.0 <= net_from_gross(gross_boie(RAPESEED), RAPESEED) < 37.5


def test_regulatory_default_for_used_oil() -> None:
    """40 CFR 98 table C-1: used oil 0.138 mmBtu/gal = 38.463 MJ/L; within 8 % of D4868 at 895 kg/m³."""
    assert default_gross_per_litre("used oil") == pytest.approx(38.463, abs=0.001)
    assert gross_d4868(895) * 0.895 == pytest.approx(default_gross_per_litre("used oil"), rel=0.08)
    with pytest.raises(OutOfRange, match="kerosene"):
        default_gross_per_litre("coal")


@given(st.floats(0, 20), st.floats(0, 20))
def test_more_water_means_less_heat(a: float, b: float) -> None:
    if a < b - 1e-6:
        assert net_d4868(895, a) > net_d4868(895, b)


def test_heating_value_outside_validity_is_refused() -> None:
    with pytest.raises(OutOfRange, match="water"):
        net_d4868(895, 60)
    with pytest.raises(OutOfRange):
        gross_d4868(1100)
    with pytest.raises(OutOfRange):
        Composition(0.5, 0.1)
