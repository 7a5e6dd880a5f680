"""Air pressure and level: ideal round trip, spread of real parts, status limits."""

import numpy as np
import pytest
from sootboard.drivers.loop import loop
from sootboard.drivers.transducer import transducer

from hardware.generate.load import Hardware

PSI_PA = 6894.757293168  # exact by definition of the pound-force per square inch
# Converter errors assumed per board, none of them a data-sheet limit: gain ratio, offset V, integral non-linearity V.
ADC = {"esp32": (0.02, 0.020, 0.015), "picow": (0.02, 0.006, 0.006)}
DRAWS = 20_000


def settings(hardware: Hardware) -> dict[str, float]:
    air = hardware.settings["air"]
    return {**air, "k": air["divider_bottom_ohm"] / (air["divider_top_ohm"] + air["divider_bottom_ohm"])}


def pressure_Pa(hardware: Hardware, signal_V: float, rail_V: float) -> tuple[float | None, str]:
    """The firmware's own sum on the voltages at the two pins."""
    air = hardware.settings["air"]
    divider = (air["divider_top_ohm"] + air["divider_bottom_ohm"]) / air["divider_bottom_ohm"]
    limits = (air["ratio_valid"], air["rail_valid_v"])
    span = (air["ratio_zero"], air["ratio_span"], 0.0, air["full_scale_pa"])
    value, fault = transducer(1e6 * signal_V, 1e6 * rail_V, divider, *span, *limits)
    return value, fault


@pytest.mark.parametrize("psi", [0.0, 1.0, 12.0, 15.0, 30.0])
@pytest.mark.parametrize("rail_V", [4.75, 5.0, 5.25])
def test_round_trip_with_ideal_parts(hardware: Hardware, psi: float, rail_V: float) -> None:
    k = settings(hardware)["k"]
    value, fault = pressure_Pa(hardware, k * rail_V * (0.1 + 0.8 * psi / 30), k * rail_V)
    assert fault == ""
    assert value is not None
    assert value / PSI_PA == pytest.approx(psi, abs=0.05)


def test_voltages_at_the_pins(hardware: Hardware) -> None:
    k = settings(hardware)["k"]
    assert 1e3 * k * 5.0 * 0.1 == pytest.approx(227, abs=1)
    assert 1e3 * k * 5.0 * 0.9 == pytest.approx(2045, abs=1)
    assert 1e3 * k * 5.25 == pytest.approx(2386, abs=1)
    low, high = hardware.signal("adc_air").range_mv or (0, 0)
    assert low <= 1e3 * k * 4.75 * 0.1
    assert high >= 1e3 * k * 5.25 * 0.9 - 1
    assert 1e3 * k * hardware.settings["air"]["rail_valid_v"][1] <= hardware.boards["esp32"]["adc_mv"][1]
    assert hardware.boards["esp32"]["adc_mv"][1] < 1e3 * 0.5 * 5.0  # why not 10 k / 10 k


def spread_psi(hardware: Hardware, board: str, ratiometric: bool, sensor_error: float, psi: float = 12.0) -> float:
    """95 % of the error at `psi` over random parts, rails and converters [psi]."""
    rng = np.random.default_rng(20260110)
    gain, offset, inl = ADC[board]
    air = settings(hardware)
    rail = rng.uniform(4.75, 5.25, DRAWS)
    ratio = 0.1 + 0.8 * (psi / 30 + rng.uniform(-sensor_error, sensor_error, DRAWS))
    load = hardware.boards[board]["adc_input_ohm"]
    common = 1 + rng.uniform(-gain, gain, DRAWS), rng.uniform(-offset, offset, DRAWS)

    def read(volts: np.ndarray) -> np.ndarray:
        top = air["divider_top_ohm"] * (1 + rng.uniform(-0.001, 0.001, DRAWS))
        bottom = air["divider_bottom_ohm"] * (1 + rng.uniform(-0.001, 0.001, DRAWS))
        bottom = bottom * load / (bottom + load)
        return common[0] * volts * bottom / (top + bottom) + common[1] + rng.uniform(-inl, inl, DRAWS)

    signal, supply = read(rail * ratio), read(rail)
    ideal_k = air["k"]
    share = signal / supply if ratiometric else signal / (5.0 * ideal_k)
    found = 30 * (share - 0.1) / 0.8
    return float(np.quantile(np.abs(found - psi), 0.95))


def test_ratiometric_reading_holds_the_promised_error(hardware: Hardware) -> None:
    assert spread_psi(hardware, "esp32", True, 0.0) <= 0.45
    assert spread_psi(hardware, "esp32", True, 0.015) <= 0.7
    assert spread_psi(hardware, "picow", True, 0.0) <= 0.20
    assert spread_psi(hardware, "picow", True, 0.015) <= 0.55


@pytest.mark.parametrize("board", ["esp32", "picow"])
def test_one_channel_alone_is_much_worse(hardware: Hardware, board: str) -> None:
    """Negative control: why the 5 V rail is measured too, through the same divider."""
    assert spread_psi(hardware, board, False, 0.0) > 2 * spread_psi(hardware, board, True, 0.0)


def test_the_pico_loads_both_dividers_alike(hardware: Hardware) -> None:
    """Its 100 k input takes 5 % off each divider, which cancels in the ratio."""
    air = settings(hardware)
    load = hardware.boards["picow"]["adc_input_ohm"]
    bottom = air["divider_bottom_ohm"] * load / (air["divider_bottom_ohm"] + load)
    loaded = bottom / (air["divider_top_ohm"] + bottom)
    assert loaded / air["k"] == pytest.approx(0.95, abs=0.005)
    value, fault = pressure_Pa(hardware, loaded * 5.0 * 0.42, loaded * 5.0)
    assert (value, fault) == (pytest.approx(0.4 * hardware.settings["air"]["full_scale_pa"]), "")


@pytest.mark.parametrize(
    ("ratio", "rail_V", "expected"),
    [
        (0.049, 5.0, "open"),
        (0.051, 5.0, ""),
        (0.949, 5.0, ""),
        (0.951, 5.0, "short"),
        (0.5, 4.49, "range"),
        (0.5, 4.51, ""),
        (0.5, 5.34, ""),
        (0.5, 5.36, "range"),
    ],
)
def test_status_limits(hardware: Hardware, ratio: float, rail_V: float, expected: str) -> None:
    k = settings(hardware)["k"]
    value, fault = pressure_Pa(hardware, k * rail_V * ratio, k * rail_V)
    assert fault == expected
    assert (value is None) == bool(expected)


@pytest.mark.parametrize(
    ("ma", "expected"),
    [
        (3.59, "open"),
        (3.61, ""),
        (3.8, ""),
        (4.0, ""),
        (20.0, ""),
        (20.5, ""),
        (20.99, ""),
        (21.01, "short"),
        (0.0, "open"),
    ],
)
def test_loop_faults_are_those_of_namur_ne_43(hardware: Hardware, ma: float, expected: str) -> None:
    level = hardware.settings["level"]
    assert (level["fault_ma"], level["valid_ma"]) == ([3.6, 21.0], [3.8, 20.5])
    value, fault = loop(1e3 * ma * level["burden_ohm"], level["burden_ohm"], level["fault_ma"], 0.0, 1.0)
    assert fault == expected
    if not expected:
        assert value == pytest.approx((ma - 4.0) / 16.0)


def test_loop_voltages_fit_the_converter(hardware: Hardware) -> None:
    burden = hardware.settings["level"]["burden_ohm"]
    low, high = hardware.signal("adc_level").range_mv or (0, 0)
    assert (low, high) == (3.6 * burden, 21.0 * burden)


def test_input_filter_is_slow_against_the_mains_and_fast_against_the_sampling(hardware: Hardware) -> None:
    board = hardware.sensor_board
    top, bottom, cap = (board.part(ref).value for ref in ("R20", "R21", "C20"))
    hz = 1 / (2 * np.pi * (top * bottom / (top + bottom)) * cap)
    assert 20 < hz < 50


def test_both_dividers_are_the_same_parts(hardware: Hardware) -> None:
    board = hardware.sensor_board
    assert [board.part(ref).bom for ref in ("R20", "R21")] == [board.part(ref).bom for ref in ("R22", "R23")]
    assert {board.part(ref).tol for ref in ("R20", "R21", "R22", "R23")} == {0.001}
