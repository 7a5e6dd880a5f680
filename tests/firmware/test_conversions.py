"""Type K and platinum conversions against published tables, on 32-bit floats as boards have them.

NumPy keeps float32 through an expression once one operand is float32, which is how a board computes.
The type K coefficients were also compared with the public-domain library thermocouples_reference 0.20
(NIST Monograph 175): the emf agrees within 1e-8 mV over -200..1372 C.
"""

import numpy as np
import pytest
from sootboard import rtd, thermocouple

# ITS-90 type K table, mV at Celsius (NIST Monograph 175 / IEC 60584-1), printed to 1 uV.
TYPE_K = {
    -200: -5.891,
    -150: -4.913,
    -100: -3.554,
    -50: -1.889,
    0: 0.0,
    25: 1.000,
    50: 2.023,
    100: 4.096,
    150: 6.138,
    200: 8.138,
    250: 10.153,
    300: 12.209,
    400: 16.397,
    500: 20.644,
    600: 24.905,
    700: 29.129,
    800: 33.275,
    900: 37.326,
    1000: 41.276,
    1100: 45.119,
    1200: 48.838,
    1300: 52.410,
}

# IEC 60751 table for Pt100, ohm at Celsius, printed to 0.01 ohm.
PT100 = {
    -200: 18.52,
    -100: 60.26,
    -50: 80.31,
    0: 100.00,
    50: 119.40,
    100: 138.51,
    150: 157.33,
    200: 175.86,
    300: 212.05,
    400: 247.09,
    500: 280.98,
    600: 313.71,
    850: 390.48,
}


@pytest.mark.parametrize(("t_C", "e_mV"), TYPE_K.items())
def test_type_k_table(t_C: int, e_mV: float) -> None:
    assert thermocouple.millivolts(np.float32(t_C)) == pytest.approx(e_mV, abs=0.00055)
    # Half a printed step is 0.0005 mV, about 0.035 K at the cold end of the table.
    slope = thermocouple.millivolts(t_C + 0.5) - thermocouple.millivolts(t_C - 0.5)
    assert float(thermocouple.celsius(np.float32(e_mV))) == pytest.approx(t_C, abs=0.0005 / slope + 0.01)


def test_type_k_there_and_back_on_32_bit_floats() -> None:
    worst = 0.0
    for t_C in np.arange(-199.9, 1371.9, 0.37):
        e_mV = np.float32(thermocouple.millivolts(float(t_C)))
        back = thermocouple.celsius(e_mV)
        assert isinstance(back, np.float32)
        worst = max(worst, abs(float(back) - t_C))
    assert worst < 0.06 / 4


def test_type_k_outside_its_range() -> None:
    assert thermocouple.celsius(-5.9) is None
    assert thermocouple.celsius(54.9) is None
    assert thermocouple.celsius(float("nan")) is None


@pytest.mark.parametrize(("t_C", "ohm"), PT100.items())
def test_platinum_table(t_C: int, ohm: float) -> None:
    assert 100 * rtd.ratio(np.float32(t_C)) == pytest.approx(ohm, abs=0.0051)
    # Half a printed step is 0.005 ohm: 0.012 K at the cold end, 0.017 K at the hot end.
    assert float(rtd.celsius(np.float32(ohm / 100))) == pytest.approx(t_C, abs=0.02)


def test_platinum_there_and_back_on_32_bit_floats() -> None:
    worst = 0.0
    for t_C in np.arange(-199.9, 849.9, 0.37):
        back = rtd.celsius(np.float32(rtd.ratio(float(t_C))))
        assert isinstance(back, np.float32)
        worst = max(worst, abs(float(back) - t_C))
    assert worst < 0.06 / 4


def test_platinum_outside_its_range() -> None:
    assert rtd.celsius(0.1) is None
    assert rtd.celsius(4.0) is None


@pytest.mark.parametrize("cold_C", [-10.0, 0.0, 25.0, 60.0])
def test_straight_line_converter_is_corrected(cold_C: float) -> None:
    for hot_C in range(0, 1300, 25):
        line_C = cold_C + (thermocouple.millivolts(hot_C) - thermocouple.millivolts(cold_C)) / 0.041276
        got = thermocouple.linearised(np.float32(line_C), np.float32(cold_C))
        assert float(got) == pytest.approx(hot_C, abs=0.06)


def test_uncorrected_line_would_read_three_kelvin_low() -> None:
    """At 250 C with the cold junction at 25 C the straight line reads about 3.2 K low."""
    line_C = 25.0 + (thermocouple.millivolts(250.0) - thermocouple.millivolts(25.0)) / 0.041276
    assert line_C - 250.0 == pytest.approx(-3.2, abs=0.1)
