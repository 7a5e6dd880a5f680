"""Ice point, boiling point, bath and swap test."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline.commissioning.fixed_points import (
    Correction,
    bath_difference_K,
    boiling_point_C,
    ice_point,
    two_points,
)
from sootline.commissioning.swap import swap_test
from sootline.errors import OutOfRange, UserError


def if97_saturation_C(pressure_Pa: float) -> float:
    """Saturation temperature of IAPWS-IF97, region 4 backward equation (coefficients of its table 34)."""
    n = (
        0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
        0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
    )  # fmt: skip
    beta = (pressure_Pa / 1e6) ** 0.25
    e = beta**2 + n[2] * beta + n[5]
    f = n[0] * beta**2 + n[3] * beta + n[6]
    g = n[1] * beta**2 + n[4] * beta + n[7]
    d = 2 * g / (-f - math.sqrt(f * f - 4 * e * g))
    return (n[9] + d - math.sqrt((n[9] + d) ** 2 - 4 * (n[8] + n[9] * d))) / 2 - 273.15


def test_the_reference_equation_gives_its_own_check_value() -> None:
    # IAPWS-IF97, table 36: 372.755919 K at 0.1 MPa.
    assert if97_saturation_C(0.1e6) + 273.15 == pytest.approx(372.755919, abs=1e-6)


@pytest.mark.parametrize("station_hPa", [500.0, 600.0, 700.0, 845.6, 898.7, 977.7, 1000.0, 1013.25, 1050.0, 1100.0])
def test_boiling_point_follows_the_steam_tables(station_hPa: float) -> None:
    assert boiling_point_C(100 * station_hPa) == pytest.approx(if97_saturation_C(100 * station_hPa), abs=0.08)


@pytest.mark.parametrize(
    ("station_hPa", "expected_C"), [(1013.25, 100.00), (977.7, 99.00), (898.7, 96.68), (845.6, 95.02)]
)
def test_boiling_point_at_sea_level_300_1000_and_1500_m(station_hPa: float, expected_C: float) -> None:
    # Pressures of the ICAO standard atmosphere at these heights.
    assert boiling_point_C(100 * station_hPa) == pytest.approx(expected_C, abs=0.01)


def test_weather_moves_the_boiling_point_by_its_known_share() -> None:
    assert boiling_point_C(103_825) - boiling_point_C(101_325) == pytest.approx(0.7, abs=0.05)


@pytest.mark.parametrize("pressure_Pa", [0.0, 49_000.0, 1013.25, 111_000.0, math.nan])
def test_an_impossible_station_pressure_is_refused(pressure_Pa: float) -> None:
    with pytest.raises(OutOfRange):
        boiling_point_C(pressure_Pa)


@pytest.mark.parametrize(("sensor", "limit_K"), [("thermocouple", 1.5), ("pt1000", 0.5), ("1-wire", 0.5)])
def test_ice_point_accepts_to_its_limit_and_no_further(sensor: str, limit_K: float) -> None:
    assert ice_point(-limit_K, sensor).offset_K == -limit_K  # type: ignore[arg-type]
    for reading in (limit_K + 0.01, -limit_K - 0.01, math.nan):
        with pytest.raises(UserError, match="replace the probe"):
            ice_point(reading, sensor)  # type: ignore[arg-type]


@given(offset=st.floats(-3, 3), slope=st.floats(0.981, 1.019), true_C=st.floats(-20, 400))
def test_two_points_take_out_any_straight_line(offset: float, slope: float, true_C: float) -> None:
    def reads(temperature_C: float) -> float:
        return offset + temperature_C / slope

    correction = two_points(reads(0.0), reads(boiling_point_C(98_000)), 98_000)
    assert correction.corrected_C(reads(true_C)) == pytest.approx(true_C, abs=1e-6)


@pytest.mark.parametrize(
    ("ice_C", "boiling_C", "what"),
    [(3.1, 103.1, "Offset"), (-3.1, 96.9, "Offset"), (0.0, 97.9, "Slope"), (0.0, 102.3, "Slope"), (1.0, 0.5, "Slope")],
)
def test_a_bad_probe_is_replaced_not_corrected(ice_C: float, boiling_C: float, what: str) -> None:
    with pytest.raises(UserError, match=f"{what}.*replace"):
        two_points(ice_C, boiling_C, 101_325)


def test_sea_level_pressure_used_on_a_hill_is_an_error_of_several_kelvin() -> None:
    honest = two_points(0.0, 95.02, 84_560)
    assert honest.slope == pytest.approx(1.0, abs=1e-3)
    with pytest.raises(UserError, match="Slope"):
        two_points(0.0, 95.02, 101_325)


def test_bath_comparison() -> None:
    assert bath_difference_K(55.4, 55.0, "1-wire") == pytest.approx(0.4)
    with pytest.raises(UserError, match="off the reference"):
        bath_difference_K(56.5, 55.0, "1-wire")


@given(
    probe_K=st.floats(-2, 2),
    channel_K=st.floats(-2, 2),
    bath_C=st.floats(40, 70),
    drift_K=st.floats(-2.5, 2.5),
)
def test_swap_test_parts_probe_from_channel(probe_K: float, channel_K: float, bath_C: float, drift_K: float) -> None:
    # Reading = bath + error of the probe + error of the channel; probe 2 and channel 2 are the zero of each.
    first = (bath_C + probe_K + channel_K, bath_C)
    later = bath_C + drift_K
    swapped = (later + probe_K, later + channel_K)
    result = swap_test(first, swapped)
    assert result.probe_K == pytest.approx(probe_K, abs=1e-9)
    assert result.channel_K == pytest.approx(channel_K, abs=1e-9)


def test_swap_test_refuses_a_bath_that_moved() -> None:
    with pytest.raises(UserError, match="bath moved"):
        swap_test((55.0, 55.0), (60.0, 60.0))


def test_a_correction_is_a_plain_straight_line() -> None:
    assert Correction(0.5, 1.01).corrected_C(100.5) == pytest.approx(101.0)
