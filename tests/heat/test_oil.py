"""A batch of oil: advice never reaches the flash point, blends take the lowest flash, tests replace assumptions."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline.errors import OutOfRange
from sootline.heat.grades import GRADES
from sootline.heat.oil import ASSUMED_FLASH_C, Measured, nozzle_advice, oil_of_parts, oil_of_points

GEAR_BLEND = {"vg-220": 0.6, "vg-68": 0.4}


@given(st.sampled_from(sorted(GRADES)), st.floats(20, 250), st.floats(2, 60))
def test_advice_is_always_below_the_flash_point(kind: str, flash_C: float, wanted: float) -> None:
    advice = nozzle_advice(oil_of_parts({kind: 1.0}, Measured(flash_C=flash_C)), wanted)
    if advice.temperature_C is not None:
        assert advice.status == "heat" and advice.temperature_C < flash_C
        assert advice.margin_K == pytest.approx(flash_C - advice.temperature_C)
    if advice.needed_C is not None and advice.needed_C >= flash_C:
        assert advice.status == "above flash point"


@given(st.sampled_from(sorted(GRADES)), st.sampled_from(sorted(GRADES)), st.floats(0.01, 0.99))
def test_untested_blend_takes_the_lowest_flash(a: str, b: str, x: float) -> None:
    if a == b:
        return
    flash = oil_of_parts({a: x, b: 1 - x}).flash.temperature_C
    assert flash == min(oil_of_parts({kind: 1.0}).flash.temperature_C for kind in (a, b))


def test_temperature_for_15_is_hotter_than_for_20() -> None:
    oil = oil_of_parts(GEAR_BLEND, Measured(flash_C=200.0))
    t15, t20 = (nozzle_advice(oil, v).temperature_C for v in (15.0, 20.0))
    assert t15 is not None and t20 is not None
    assert t15 == pytest.approx(96, abs=1) and t20 == pytest.approx(86, abs=1)  # independent D341 and D7152


def test_untested_used_oil_is_taken_as_class_iiib_border() -> None:
    oil = oil_of_parts({"engine-15w-40": 1.0})
    assert oil.flash.known == "assumed" and pytest.approx(93.33, abs=0.01) == ASSUMED_FLASH_C
    assert nozzle_advice(oil, 15.0).status == "above flash point"
    assert any("not tested" in note for note in oil.notes)


def test_a_little_diesel_takes_the_flash_with_it() -> None:
    oil = oil_of_parts({"engine-30": 0.95, "diesel": 0.05})
    assert oil.flash.temperature_C == 52.0
    assert nozzle_advice(oil, 15.0).status == "above flash point"


def test_thin_oil_needs_no_heat() -> None:
    assert nozzle_advice(oil_of_parts({"diesel": 1.0}), 15.0).status == "no heating needed"


def test_oil_too_thick_for_the_method_is_said_so() -> None:
    tar = oil_of_points({60.0: 5e4, 100.0: 4e3}, Measured(flash_C=230.0))
    assert nozzle_advice(tar, 15.0).status == "out of range"


def test_small_margin_and_coking_are_flagged() -> None:
    thick = oil_of_points({40.0: 460.0, 100.0: 31.0}, Measured(flash_C=140.0))
    advice = nozzle_advice(thick, 15.0)
    assert advice.status == "heat" and advice.cokes and advice.small_margin


def test_measurements_replace_assumptions() -> None:
    plain = oil_of_parts({"vg-46": 1.0})
    tested = oil_of_parts({"vg-46": 1.0}, Measured(200.0, 870.0, 1.0, 0.02, 0.3))
    assert tested.flash.known == "measured" and tested.density15_kg_m3 == 870.0 and tested.ash_percent == 0.02
    assert not any(n.startswith(("density", "ash", "flash")) for n in tested.notes)
    assert tested.net_MJ_kg < plain.net_MJ_kg
    assert any("water" in n for n in tested.notes)


def test_vegetable_share_lowers_the_heating_value() -> None:
    """Rapeseed: net at least 36 MJ/kg (DIN 51605); petroleum about 42."""
    net = [oil_of_parts({"rapeseed": x, "vg-46": 1 - x}).net_MJ_kg for x in (0.0, 0.5, 1.0)]
    assert net[0] > 42.0 > net[1] > net[2] >= 36.0
    assert oil_of_points({40.0: 35.0, 100.0: 8.1}, vegetable=True).net_MJ_kg == pytest.approx(net[2], rel=0.02)


def test_water_takes_its_share_of_vegetable_oil_too() -> None:
    dry, wet = (oil_of_parts({"rapeseed": 1.0}, Measured(water_percent=w, ash_percent=0.0)) for w in (0.0, 2.0))
    assert wet.gross_MJ_kg == pytest.approx(0.98 * dry.gross_MJ_kg)
    assert wet.net_MJ_kg == pytest.approx(0.98 * dry.net_MJ_kg - 0.02 * 2.442)


def test_untested_points_assume_a_density_and_say_so() -> None:
    oil = oil_of_points({40.0: 46.0, 100.0: 6.8})
    assert oil.density15_kg_m3 == 885.0 and "density: assumed" in oil.notes


def test_two_points_are_the_grade() -> None:
    line = oil_of_points({100.0: 6.8, 40.0: 46.0}).viscosity
    assert line == oil_of_parts({"vg-46": 1.0}).viscosity


def test_unusable_oils_are_refused() -> None:
    with pytest.raises(OutOfRange, match="two viscosity points"):
        oil_of_points({40.0: 46.0})
    with pytest.raises(OutOfRange, match="sum to"):
        oil_of_parts({"vg-46": 0.5})
    with pytest.raises(OutOfRange, match="flash"):
        oil_of_parts({"vg-46": 1.0}, Measured(flash_C=900.0))
    with pytest.raises(OutOfRange):
        nozzle_advice(oil_of_parts({"vg-46": 1.0}), 0.0)
