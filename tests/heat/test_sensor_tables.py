"""The board's sensor conversions, on which every figure here rests, against general reference libraries.

ITS-90 / NIST Monograph 175 by thermocouple-its90, IEC 60751 by rtd-sensor.
"""

import sys
from types import ModuleType

import numpy as np
import pytest
import thermocouple_its90
from rtd_sensor import pt100

from sootline.bench import FIRMWARE

if str(FIRMWARE) not in sys.path:
    sys.path.append(str(FIRMWARE))

from sootboard import rtd, thermocouple

TYPE_K = thermocouple_its90.TypeK


def test_board_modules_are_those_of_this_checkout() -> None:
    modules: tuple[ModuleType, ...] = (rtd, thermocouple)
    assert all(str(m.__file__).startswith(str(FIRMWARE)) for m in modules)


@pytest.mark.parametrize("t_C", np.arange(-199.0, 1370.0, 6.5))
def test_type_k_against_its90_library(t_C: float) -> None:
    assert thermocouple.millivolts(t_C) == pytest.approx(TYPE_K.emf(t_C), abs=1e-6)
    assert thermocouple.celsius(TYPE_K.emf(t_C)) == pytest.approx(t_C, abs=2e-3)


@pytest.mark.parametrize("cold_C", [-10.0, 20.0, 25.0, 40.0, 60.0])
@pytest.mark.parametrize("hot_C", [60.0, 100.0, 250.0, 300.0, 400.0, 500.0, 700.0])
def test_converter_that_takes_type_k_for_straight_is_put_right(hot_C: float, cold_C: float) -> None:
    """The chip shows V/41.276 uV per K + cold junction (its data sheet): up to 4.7 K wrong, corrected to 0.01 K."""
    shown_C = TYPE_K.emf(hot_C, reference=cold_C) / 0.041276 + cold_C
    assert thermocouple.linearised(shown_C, cold_C) == pytest.approx(hot_C, abs=0.01)


def test_the_straight_line_itself_is_several_kelvin_off() -> None:
    shown_C = TYPE_K.emf(300.0, reference=25.0) / 0.041276 + 25.0
    assert shown_C - 300.0 == pytest.approx(-3.45, abs=0.01)


@pytest.mark.parametrize("t_C", np.arange(-200.0, 850.0, 12.5))
def test_pt100_against_library(t_C: float) -> None:
    ohm = pt100.celsius_to_resistance(float(t_C))
    assert 100.0 * rtd.ratio(t_C) == pytest.approx(ohm, abs=1e-4)
    assert rtd.celsius(ohm / 100.0) == pytest.approx(t_C, abs=1e-4)
