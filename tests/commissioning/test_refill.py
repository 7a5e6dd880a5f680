"""Refill delivery, differential, run time; air flow table; senses; baseline."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline.commissioning.air_flow import air_flow
from sootline.commissioning.baseline import band_suffices, baseline
from sootline.commissioning.refill import (
    Delivery,
    delivery,
    delivery_at,
    differential,
    oil_used_l,
    run_time,
)
from sootline.commissioning.sense_check import sense_check
from sootline.errors import OutOfRange, UserError


def test_delivery_and_its_uncertainty() -> None:
    found = delivery(2.0, 66.0, 15.0)
    assert found.l_per_s == pytest.approx(2.0 / 66.0)
    # 1 % of the jug and half a second in sixty-six: about 1.3 %; a minute gives the common 1.3 to 1.5 %.
    assert found.uncertainty == pytest.approx(math.hypot(0.01, 0.5 / 66))
    assert delivery(2.0, 66.0, 15.0, runs=4).uncertainty > found.uncertainty


@pytest.mark.parametrize(
    ("volume_l", "time_s", "runs"), [(2.0, 59.9, 1), (0.0, 60.0, 1), (2.0, 60.0, 0), (2.0, math.nan, 1)]
)
def test_delivery_refuses_what_says_nothing(volume_l: float, time_s: float, runs: int) -> None:
    with pytest.raises(UserError):
        delivery(volume_l, time_s, 15.0, runs)


def test_delivery_between_two_temperatures_and_never_beyond_them() -> None:
    measured = [Delivery(30.0, 0.034, 0.015), Delivery(10.0, 0.028, 0.015)]
    assert delivery_at(measured, 20.0) == pytest.approx(0.031)
    assert delivery_at(measured, -5.0) == 0.028
    assert delivery_at(measured, 60.0) == 0.034
    with pytest.raises(UserError):
        delivery_at([], 20.0)


def test_differential_is_the_mean_of_runs_that_agree() -> None:
    assert differential([0.44, 0.45, 0.46]).volume_l == pytest.approx(0.45)
    with pytest.raises(UserError, match="differ by"):
        differential([0.40, 0.45, 0.46])
    for volumes in ([0.45, 0.45], [0.45, 0.45, 0.0], []):
        with pytest.raises(UserError, match="Drain"):
            differential(volumes)


@given(volume_l=st.floats(0.1, 5.0), delivery_l_per_s=st.floats(0.005, 0.2), share=st.floats(0.0, 0.95))
def test_a_run_of_the_expected_time_fills_exactly_the_differential(
    volume_l: float, delivery_l_per_s: float, share: float
) -> None:
    burn = share * delivery_l_per_s
    times = run_time(volume_l, delivery_l_per_s, burn)
    assert times.expected_s * (delivery_l_per_s - burn) == pytest.approx(volume_l)
    assert times.expected_s < times.warning_s < times.timeout_s
    assert times.timeout_s >= times.expected_s + 30.0
    assert times.timeout_s >= 1.5 * times.expected_s - 1e-9


@pytest.mark.parametrize("burn_l_per_s", [0.03, 0.05, math.nan])
def test_a_burner_that_takes_all_the_pump_gives_is_refused(burn_l_per_s: float) -> None:
    with pytest.raises(UserError, match="never fill"):
        run_time(0.45, 0.03, burn_l_per_s)


def test_oil_used_counts_refills() -> None:
    assert oil_used_l(40, 0.45) == pytest.approx(18.0)


def test_air_flow_is_used_inside_the_measured_band_only() -> None:
    table = air_flow([110e3, 83e3, 97e3], [5.0, 4.0, 4.5], 85.0)
    assert table.oil_l_per_h(90e3) == pytest.approx(4.25)
    assert table.oil_l_per_h(110e3) == 5.0
    assert table.deviates(97e3, 5.5)
    assert not table.deviates(97e3, 5.3)
    for outside in (82.9e3, 110.1e3, math.nan):
        with pytest.raises(OutOfRange):
            table.oil_l_per_h(outside)


@pytest.mark.parametrize(
    ("pressures", "flows"),
    [
        ([83e3, 97e3], [4.0, 4.5]),
        ([83e3, 97e3, 110e3], [4.0, 4.5]),
        ([83e3, 97e3, 110e3], [4.0, 3.9, 5.0]),
        ([83e3, 83e3, 110e3], [4.0, 4.5, 5.0]),
        ([83e3, 97e3, 110e3], [0.0, 4.5, 5.0]),
    ],
)
def test_air_flow_refuses_a_table_that_cannot_be(pressures: list[float], flows: list[float]) -> None:
    with pytest.raises(UserError):
        air_flow(pressures, flows, 85.0)


@pytest.mark.parametrize(
    ("volts", "says"),
    [((0.9, 3.2, 3.2), "On reads"), ((0.1, 2.4, 3.2), "Off reads"), ((0.1, 3.2, 0.2), "Sense the current")],
)
def test_each_wrong_level_is_named(volts: tuple[float, float, float], says: str) -> None:
    with pytest.raises(UserError, match=says):
        sense_check(*volts)


def test_good_levels_pass() -> None:
    assert sense_check(0.14, 3.25, 3.1) is None


def test_baseline_is_robust_and_sets_the_least_band() -> None:
    clean = baseline([230.0, 231.0, 229.0, 232.0, 260.0, 300.0], [25, 22, 30, 21, 24, 5])
    assert clean.net_K == 231.0  # the short firing does not count
    assert clean.spread_K == pytest.approx(1.4826)
    assert clean.least_band_K == 3.0  # the converter's own repeatability
    assert band_suffices(3.0, clean)
    assert not band_suffices(2.9, clean)
    wide = baseline([220.0, 225.0, 230.0, 235.0, 240.0], [25] * 5)
    assert wide.least_band_K == pytest.approx(2 * 1.4826 * 5.0)


def test_baseline_needs_five_long_firings() -> None:
    with pytest.raises(UserError, match="4 firings"):
        baseline([230.0] * 5, [25, 25, 25, 25, 19])
    with pytest.raises(UserError, match="length"):
        baseline([230.0] * 5, [25])
