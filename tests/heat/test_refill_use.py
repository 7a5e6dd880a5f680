"""Oil counted in refills, firing rate and input, and the federal comparison of a used-oil log."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline.errors import OutOfRange
from sootline.heat.conversions import GALLON_L, MJ_PER_L_PER_BTU_PER_GAL, W_PER_BTU_PER_H
from sootline.heat.density import volume_correction_factor
from sootline.heat.refill_use import (
    FiringRate,
    OilBurned,
    firing_rate,
    heat_per_refill,
    input_against_rating,
    oil_burned,
    stock_left,
)
from sootline.heat.used_oil import (
    DEFERS,
    OilBatch,
    keep_until,
    on_specification,
    space_heater_conditions,
    specification,
)

BTU_GAL_140 = 140_000 * MJ_PER_L_PER_BTU_PER_GAL


@given(st.integers(1, 400), st.floats(0.2, 1.0), st.floats(20, 90))
def test_count_times_differential_at_15(refills: int, differential: float, tank_C: float) -> None:
    burned = oil_burned(np.full(refills, tank_C), differential, 895.0)
    assert burned.litres == pytest.approx(refills * differential * volume_correction_factor(tank_C, 895.0))
    assert burned.refills == refills


def test_hot_litres_count_three_percent_less() -> None:
    """1000 refills of 1 L at 60 °C are 968 L at 15 °C."""
    assert oil_burned(np.full(1000, 60.0), 1.0, 895.0).litres == pytest.approx(968.2, abs=0.1)


def test_unknown_temperatures_take_the_mean_of_the_others() -> None:
    some = oil_burned(np.array([50.0, np.nan, 70.0]), 0.45, 880.0)
    full = oil_burned(np.array([50.0, 60.0, 70.0]), 0.45, 880.0)
    assert some.litres == pytest.approx(full.litres)
    with pytest.raises(OutOfRange, match="corrected"):
        oil_burned(np.array([np.nan]), 0.45, 880.0)


def test_counting_error_is_that_of_two_loose_ends() -> None:
    """Simulated: spans that start and end anywhere between refills err by sqrt(2/12) of one differential at most."""
    rng = np.random.default_rng(3)
    true = rng.uniform(20, 40, 4000)
    start = rng.uniform(0, 1, 4000)
    counted = np.floor(true + start) - np.floor(start)
    assert oil_burned(np.full(30, 15.0), 1.0, 880.0).standard_error_l == pytest.approx(np.std(counted - true), rel=0.03)


def test_no_refills_is_no_oil() -> None:
    none = oil_burned(np.array([]), 0.45, 880.0)
    assert none.litres == 0.0 and none.standard_error_l > 0.0


def test_stock_left() -> None:
    left, error = stock_left(500.0, 12.0, OilBurned(120.0, 5.0, 280))
    assert (left, error) == (380.0, 13.0)
    assert stock_left(100.0, 12.0, OilBurned(120.0, 5.0, 280))[0] == 0.0
    with pytest.raises(OutOfRange):
        stock_left(-1.0, 1.0, OilBurned(0.0, 0.1, 0))


# Input = gal/h x 140 000 Btu/gal, from the unit definitions.
@pytest.mark.parametrize(("gph", "kW"), [(0.5, 20.51), (1.0, 41.03), (1.5, 61.54), (2.0, 82.06), (3.0, 123.09)])
def test_input_of_a_firing_rate(gph: float, kW: float) -> None:
    rate = firing_rate(OilBurned(gph * GALLON_L * 10, 0.1, 50), 10.0, BTU_GAL_140)
    assert rate.input_W / 1000 == pytest.approx(kW, abs=0.006)
    assert rate.gal_per_h == pytest.approx(gph)
    assert 0 < rate.input_se_W < rate.input_W


def test_too_few_refills_give_no_rate() -> None:
    with pytest.raises(OutOfRange, match="wait for 3"):
        firing_rate(OilBurned(0.9, 0.1, 2), 0.2, 38.0)
    assert firing_rate(OilBurned(1.2, 0.1, 3), 0.3, 38.0).l_per_h == pytest.approx(4.0)


def test_overfiring_needs_more_than_the_error() -> None:
    def check(kW: float, se_kW: float) -> bool:
        return input_against_rating(FiringRate(1, 0, 1, kW * 1e3, se_kW * 1e3), 50e3).overfired

    assert check(60.0, 1.0)
    assert not check(56.0, 1.0)  # 12 % over, but the error covers it
    assert not check(54.0, 0.1)


def test_space_heater_limit_in_watts() -> None:
    """40 CFR 279.23(a)(2): 0.5 million Btu/h is 146.54 kW."""
    limit_W = 500_000 * W_PER_BTU_PER_H
    assert limit_W == pytest.approx(146_540, abs=10)
    assert not input_against_rating(FiringRate(1, 0, 1, limit_W, 0), 200e3).above_space_heater_limit
    assert input_against_rating(FiringRate(1, 0, 1, limit_W * 1.001, 0), 200e3).above_space_heater_limit


def test_heat_of_one_refill() -> None:
    """0.45 L at 60 °C, 895 kg/m³, 42.2 MJ/kg: 0.45 x 0.96816 x 0.895 x 42.2."""
    assert heat_per_refill(0.45, 60.0, 895.0, 42.2) == pytest.approx(0.45 * 0.96816 * 0.895 * 42.2, rel=1e-5)


def batch(flash_C: float | None = None, **ppm: float) -> OilBatch:
    return OilBatch(date(2026, 1, 5), "own", "engine-15w-40", 60.0, ppm, flash_C)


CLEAN = {"arsenic": 1.0, "cadmium": 0.5, "chromium": 2.0, "lead": 20.0, "halogens": 300.0}


# 40 CFR 279.11 table 1 and the presumption of 279.10(b)(1)(ii), each at its boundary.
@pytest.mark.parametrize(
    ("item", "value", "result"),
    [
        ("arsenic", 5.0, "within"),
        ("arsenic", 5.1, "above"),
        ("cadmium", 2.0, "within"),
        ("cadmium", 2.1, "above"),
        ("chromium", 10.0, "within"),
        ("chromium", 10.1, "above"),
        ("lead", 100.0, "within"),
        ("lead", 100.1, "above"),
        ("halogens", 999.0, "within"),
        ("halogens", 1000.0, "flagged"),
        ("halogens", 4000.0, "flagged"),
        ("halogens", 4001.0, "above"),
    ],
)
def test_specification_at_its_boundaries(item: str, value: float, result: str) -> None:
    found = {f.item: f.result for f in specification(batch(**{**CLEAN, item: value}))}
    assert found[item] == result


@pytest.mark.parametrize(("flash_F", "result"), [(100.0, "within"), (99.9, "below"), (392.0, "within")])
def test_flash_point_at_its_boundary(flash_F: float, result: str) -> None:
    found = {f.item: f.result for f in specification(batch((flash_F - 32) / 1.8, **CLEAN))}
    assert found["flash point"] == result


def test_untested_is_neither_within_nor_above() -> None:
    assert on_specification(batch()) is None
    assert on_specification(batch(lead=500.0)) is False
    assert on_specification(batch(120.0, **CLEAN)) is True
    assert "not tested" in specification(batch())[0].text


@pytest.mark.parametrize(("btu_h", "result"), [(500_000, "within"), (500_001, "above")])
def test_space_heater_rating_at_its_boundary(btu_h: float, result: str) -> None:
    """40 CFR 279.23(a)(2)."""
    found = space_heater_conditions("own", btu_h * W_PER_BTU_PER_H, True)
    assert [f.result for f in found] == ["within", result, "within"]


def test_other_sources_and_indoor_vents_are_flagged() -> None:
    found = space_heater_conditions("other", 50e3, False)
    assert [f.result for f in found] == ["flagged", "within", "flagged"]
    assert "local law" in DEFERS


def test_analyses_are_kept_three_years() -> None:
    """40 CFR 279.72(b)."""
    assert keep_until(date(2026, 1, 5)) == date(2029, 1, 5)
    assert keep_until(date(2028, 2, 29)) == date(2031, 3, 1)
    assert keep_until(date(2026, 1, 5), years=5) == date(2031, 1, 5)


def test_unknown_tests_are_refused() -> None:
    with pytest.raises(OutOfRange, match="arsenic"):
        batch(mercury=1.0)
