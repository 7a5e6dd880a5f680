"""ASTM D341 and D2270 examples, grade classes of SAE J300 and ISO 3448, and the blending rules against each other."""

import numpy as np
import pytest
from chemicals.viscosity import viscosity_index as library_vi
from hypothesis import given
from hypothesis import strategies as st

from sootline.errors import OutOfRange
from sootline.heat.blend import blend_d7152, blend_lines, blend_refutas
from sootline.heat.grades import GRADES, grade
from sootline.heat.viscosity import line_through, viscosity_index, viscosity_of_z, z_of

viscosities = st.floats(0.3, 1e5)


def test_published_d341_example() -> None:
    """Worked example on the ASTM D341 chart: 32 mm²/s at 40 °C and 5.4 at 100 °C give 8.5 at 80 °C."""
    assert line_through(40, 32, 100, 5.4).at(80.0) == pytest.approx(8.5, abs=0.05)


# Typical 15W-40 and 80W-90 oils, computed with an independent D341 code (chemicals' Z pair): v at 0, 20, 60, 80 °C and
# the temperature for 20 and 15 mm²/s.
INDEPENDENT = [
    ("engine-15w-40", [1260.958, 309.965, 46.959, 24.495], 87.25, 98.58),
    ("vg-46", [577.321, 133.838, 20.623, 11.103], 60.88, 69.67),
    ("gear-80w-90", [2648.641, 489.450, 54.195, 25.968], 88.42, 98.71),
    ("rapeseed", [193.212, 73.811, 19.376, 12.011], 58.81, 70.20),
]


@pytest.mark.parametrize(("name", "expected", "t20", "t15"), INDEPENDENT)
def test_viscosity_line_against_independent_values(name: str, expected: list[float], t20: float, t15: float) -> None:
    line = grade(name).viscosity()
    assert line.at(np.array([0.0, 20.0, 60.0, 80.0])) == pytest.approx(expected, abs=6e-4)
    assert line.temperature_for(20.0) == pytest.approx(t20, abs=0.01)
    assert line.temperature_for(15.0) == pytest.approx(t15, abs=0.01)


def test_grades_lie_in_their_classes() -> None:
    """SAE J300 at 100 °C and ISO 3448 (mid-point +-10 % at 40 °C)."""
    assert 12.5 <= GRADES["engine-15w-40"].v100_mm2_s < 16.3
    assert 9.3 <= GRADES["engine-5w-30"].v100_mm2_s < 12.5
    assert 9.3 <= GRADES["engine-30"].v100_mm2_s < 12.5
    for name, row in GRADES.items():
        if name.startswith("vg-"):
            assert row.v40_mm2_s == pytest.approx(float(name[3:]), rel=0.10)
    assert GRADES["rapeseed"].v40_mm2_s <= 36.0 and 910 <= GRADES["rapeseed"].density15_kg_m3 <= 925  # DIN 51605


@given(viscosities)
def test_z_round_trip(v: float) -> None:
    assert viscosity_of_z(z_of(v)) == pytest.approx(v, rel=1e-9)


@given(st.floats(20, 400), st.floats(0.05, 0.3), st.floats(10, 40))
def test_temperature_for_viscosity_round_trip(v40: float, ratio: float, target: float) -> None:
    line = line_through(40, v40, 100, v40 * ratio)
    try:
        t = line.temperature_for(target)
    except OutOfRange:
        assert line.at(-20.0) < target or line.at(150.0) > target
    else:
        assert line.at(t) == pytest.approx(target, rel=1e-8)


def test_order_of_the_two_points_does_not_matter() -> None:
    assert line_through(100, 5.4, 40, 32) == line_through(40, 32, 100, 5.4)


@pytest.mark.parametrize(
    "points", [(40, 32, 45, 25), (40, 5.4, 100, 32), (40, 32, 100, 0.1), (40, 32, 200, 2), (-60, 32, 40, 5)]
)
def test_impossible_points_are_refused(points: tuple[float, float, float, float]) -> None:
    with pytest.raises(OutOfRange):
        line_through(*points)


def test_no_viscosity_outside_validity() -> None:
    line = grade("vg-46").viscosity()
    with pytest.raises(OutOfRange, match="160"):
        line.at(160.0)
    with pytest.raises(OutOfRange, match="1 of 2 values"):
        line.at(np.array([20.0, -40.0]))


# ASTM D2270 worked examples, sections 5.1.4 and 6.1.4 (the third partly from memory).
@pytest.mark.parametrize(("u", "y", "vi"), [(73.30, 8.86, 92), (22.83, 5.05, 156), (53.47, 7.80, 111)])
def test_d2270_examples(u: float, y: float, vi: int) -> None:
    assert round(viscosity_index(u, y)) == vi


@pytest.mark.parametrize("y", [2.1, 3.0, 3.9, 4.7, 5.7, 6.7, 7.3, 8.5, 10, 13, 16, 20, 25, 35, 50, 65, 69.9, 80, 200])
@pytest.mark.parametrize("ratio", [5.5, 7.0, 9.0])
def test_viscosity_index_against_library_table(y: float, ratio: float) -> None:
    """chemicals holds the D2270 table; its rounding moves the index by up to 0.3 at low Y."""
    expected = library_vi(y * ratio * 1e-6, y * 1e-6)
    if 50 < expected < 250:
        assert viscosity_index(y * ratio, y) == pytest.approx(expected, abs=0.5)


# Refutas index: 2.234 mm²/s -> 12.492 (Maples 2000); 60 % of 5 with 40 % of 20 mm²/s computed independently.
def test_refutas_blend() -> None:
    assert blend_refutas([5.0, 20.0], [0.6, 0.4]) == pytest.approx(8.1085, abs=1e-4)
    vbn = 14.534 * np.log(np.log(2.234 + 0.8)) + 10.975
    assert vbn == pytest.approx(12.492, abs=0.003)


@pytest.mark.parametrize(
    ("parts", "shares", "d7152", "refutas"),
    [
        ([5.0, 20.0], [0.6, 0.4], 8.081, 8.109),
        ([107.0, 46.0], [0.5, 0.5], 68.78, 68.79),
        ([107.0, 34.0], [0.7, 0.3], 73.45, 73.47),
        ([107.0, 2.7], [0.9, 0.1], 59.16, 59.68),
        ([107.0, 35.0], [0.5, 0.5], 59.05, 59.07),
    ],
)
def test_both_blending_rules_agree_within_one_percent(
    parts: list[float], shares: list[float], d7152: float, refutas: float
) -> None:
    assert blend_d7152(parts, shares) == pytest.approx(d7152, abs=0.006)
    assert blend_refutas(parts, shares) == pytest.approx(refutas, abs=0.006)
    assert blend_d7152(parts, shares) == pytest.approx(blend_refutas(parts, shares), rel=0.01)


@given(viscosities, viscosities, st.floats(0, 1))
def test_blend_lies_between_its_parts(a: float, b: float, x: float) -> None:
    mixed = blend_d7152([a, b], [x, 1 - x])
    assert min(a, b) * (1 - 1e-9) <= mixed <= max(a, b) * (1 + 1e-9)
    assert blend_d7152([b, a], [1 - x, x]) == pytest.approx(mixed, rel=1e-12)


@given(viscosities)
def test_an_oil_blended_with_itself_is_itself(a: float) -> None:
    assert blend_d7152([a, a], [0.3, 0.7]) == pytest.approx(a, rel=1e-9)
    assert blend_d7152([a], [1.0]) == pytest.approx(a, rel=1e-9)


def test_gear_and_hydraulic_oil_blend() -> None:
    """60 % VG 220 with 40 % VG 68, computed independently with D341 and D7152: 473 mm²/s at 20 °C, 15.5 at 95 °C."""
    line = blend_lines([grade("vg-220").viscosity(), grade("vg-68").viscosity()], [0.6, 0.4])
    assert line.at(20.0) == pytest.approx(473, rel=0.03)
    assert line.at(95.0) == pytest.approx(15.5, rel=0.03)


@pytest.mark.parametrize("fractions", [[0.6, 0.6], [1.2, -0.2], [0.5, 0.4]])
def test_fractions_must_sum_to_one(fractions: list[float]) -> None:
    with pytest.raises(OutOfRange):
        blend_d7152([10.0, 20.0], fractions)


def test_unknown_grade_lists_the_known_ones() -> None:
    with pytest.raises(OutOfRange, match="rapeseed"):
        grade("mystery")
