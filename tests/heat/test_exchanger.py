"""Effectiveness-NTU against the ht library and a worked example of a furnace."""

import numpy as np
import pytest
from ht import effectiveness_from_NTU
from hypothesis import given
from hypothesis import strategies as st

from sootline.errors import OutOfRange
from sootline.heat.exchanger import (
    Furnace,
    conductance_from_stack,
    effectiveness,
    fouling_resistance,
    furnace_from_clean,
    ntu_counterflow,
    resistance_series,
    stack_from_conductance,
    stack_from_fouling,
)

# Gas 0.03148 kg/s, cp 1130, entering at 1200 °C; air 20 °C, 0.9 kg/s; 4 m². Clean stack 220 °C (NTU 1.831).
FURNACE = Furnace(gas_W_K=0.03148 * 1130, air_W_K=0.9 * 1006, area_m2=4.0, gas_in_C=1200.0)


@given(st.floats(0.01, 8), st.floats(0.01, 0.999))
def test_effectiveness_against_library(ntu: float, cr: float) -> None:
    library = effectiveness_from_NTU(NTU=ntu, Cr=cr, subtype="counterflow")
    assert effectiveness(ntu, cr) == pytest.approx(library, rel=1e-6)
    library = effectiveness_from_NTU(NTU=ntu, Cr=cr, subtype="parallel")
    assert effectiveness(ntu, cr, "parallel") == pytest.approx(library, rel=1e-6)
    library = effectiveness_from_NTU(NTU=ntu, Cr=cr, subtype="crossflow approximate")
    assert effectiveness(ntu, cr, "crossflow") == pytest.approx(library, rel=1e-6)


@pytest.mark.parametrize(
    ("ntu", "cr", "counter", "parallel", "cross"),
    [(1, 0.5, 0.56473, 0.51791, 0.54476), (2, 0.5, 0.77460, 0.63348, 0.73876), (1, 1, 0.5, 0.43233, 0.46854)],
)
def test_effectiveness_table(ntu: float, cr: float, counter: float, parallel: float, cross: float) -> None:
    """Values of ht 1.2.0."""
    got = (effectiveness(ntu, cr), effectiveness(ntu, cr, "parallel"), effectiveness(ntu, cr, "crossflow"))
    assert got == pytest.approx((counter, parallel, cross), abs=1e-5)


def test_no_second_stream_capacity() -> None:
    assert effectiveness(1.5, 0.0) == pytest.approx(1 - np.exp(-1.5))


@given(st.floats(0.01, 5), st.floats(0, 1))
def test_ntu_is_the_inverse(ntu: float, cr: float) -> None:
    assert ntu_counterflow(effectiveness(ntu, cr), cr) == pytest.approx(ntu, rel=1e-6)


@pytest.mark.parametrize(("rf", "stack"), [(0.002, 231.2), (0.005, 247.9), (0.01, 275.1), (0.02, 326.8)])
def test_stack_of_a_fouled_furnace(rf: float, stack: float) -> None:
    """Computed independently with closed forms checked against ht."""
    assert stack_from_fouling(FURNACE, rf, 220.0, 20.0) == pytest.approx(stack, abs=0.3)


@given(st.floats(0, 0.05))
def test_resistance_round_trip(rf: float) -> None:
    stack = stack_from_fouling(FURNACE, rf, 220.0, 20.0)
    assert fouling_resistance(FURNACE, stack, 220.0, 20.0) == pytest.approx(rf, abs=1e-9)


def test_conductance_round_trip_on_a_series() -> None:
    u = np.array([10.0, 14.0, 16.0])
    assert conductance_from_stack(FURNACE, stack_from_conductance(FURNACE, u, 20.0), 20.0) == pytest.approx(u)


def test_missing_readings_stay_missing() -> None:
    rf = resistance_series(FURNACE, np.array([200.0, np.nan, 230.0]), 200.0, 20.0)
    assert rf[0] == pytest.approx(0.0, abs=1e-12) and np.isnan(rf[1]) and rf[2] > 0
    with pytest.raises(OutOfRange, match="no usable"):
        resistance_series(FURNACE, np.array([np.nan]), 200.0, 20.0)


def test_furnace_from_its_firing_rate() -> None:
    """45 kW, lambda 1.5, 14.2 kg air/kg, 41.8 MJ/kg: 0.0240 kg/s of gas."""
    furnace = furnace_from_clean(45e3, 1.5, 14.2, 41.8, 280.0, 900.0)
    assert furnace.gas_W_K / 1130 == pytest.approx(45e3 / 41.8e6 * 22.3)


def test_gas_must_be_the_smaller_stream() -> None:
    with pytest.raises(OutOfRange, match="smaller stream"):
        Furnace(gas_W_K=100.0, air_W_K=50.0, area_m2=1.0, gas_in_C=1200.0)
