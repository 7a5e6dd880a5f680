"""Temperature conversion on the board against outside libraries, and the error budgets of the channels."""

import pytest
from rtd_sensor import pt1000
from sootboard import rtd, thermocouple
from sootboard.drivers import max31855, max31856, max31865
from thermocouple_its90 import TypeK

from hardware.generate.budget import budget, film_W_per_m2_K, radiating_probe_C, stem_share
from hardware.generate.load import Hardware

# IEC 60584-1 / NIST Monograph 175 table, type K, mV.
TABLE_K = {100: 4.096, 250: 10.153, 400: 16.397}
# IEC 60751: R(t) of Pt1000, ohm.
TABLE_PT1000 = {0: 1000.0, 60: 1232.42, 100: 1385.06, 150: 1573.25}


@pytest.mark.parametrize(("t_C", "e_mV"), TABLE_K.items())
def test_type_k_table(t_C: float, e_mV: float) -> None:
    assert thermocouple.millivolts(t_C) == pytest.approx(e_mV, abs=0.0005)


def test_type_k_against_the_its_90_library_over_the_whole_working_range() -> None:
    for tenth in range(-1900, 13700, 5):
        t_C = tenth / 10
        e_mV = TypeK.emf(t_C)
        assert thermocouple.millivolts(t_C) == pytest.approx(e_mV, abs=1e-6)
        assert thermocouple.celsius(e_mV) == pytest.approx(t_C, abs=0.01)


@pytest.mark.parametrize(("t_C", "ohm"), TABLE_PT1000.items())
def test_pt1000_table(t_C: float, ohm: float) -> None:
    assert 1000 * rtd.ratio(t_C) == pytest.approx(ohm, abs=0.01)


def test_pt1000_against_the_iec_60751_library() -> None:
    for t_C in range(-60, 401, 2):
        ohm = pt1000.celsius_to_resistance(t_C)
        assert 1000 * rtd.ratio(t_C) == pytest.approx(ohm, abs=1e-3)
        assert rtd.celsius(ohm / 1000) == pytest.approx(t_C, abs=1e-3)


@pytest.mark.parametrize(("hot_C", "error_K"), [(150, -0.5), (200, -2.1), (250, -3.2), (300, -3.5)])
def test_linearising_takes_out_what_the_31855_gets_wrong(hot_C: float, error_K: float) -> None:
    """The chip takes type K for a straight line of 41.276 uV/K (data sheet); cold junction at 25 C."""
    straight = 25.0 + (TypeK.emf(hot_C) - TypeK.emf(25.0)) / 0.041276
    assert straight - hot_C == pytest.approx(error_K, abs=0.08)
    quarter = round(straight * 4) & 0x3FFF
    word = quarter << 18 | 25 * 16 << 4
    value, fault = max31855.decode(word)
    assert fault == ""
    assert value == pytest.approx(hot_C, abs=0.15)  # a quarter degree of resolution


@pytest.mark.parametrize(("bits", "expected"), [(1, "open"), (2, "short"), (4, "short")])
def test_31855_fault_bits_are_never_a_temperature(bits: int, expected: str) -> None:
    assert max31855.decode(400 << 18 | 1 << 16 | 25 * 16 << 4 | bits) == (None, expected)


def registers_31856(t_C: float, status: int = 0) -> bytes:
    raw = (round(t_C * 128) << 5) & 0xFFFFFF
    return bytes(12) + raw.to_bytes(3, "big") + bytes([status])


@pytest.mark.parametrize("t_C", [-20.0, 0.0, 250.0, 1000.5])
def test_31856_linearised_register(t_C: float) -> None:
    assert max31856.decode(registers_31856(t_C)) == (t_C, "")


@pytest.mark.parametrize(("status", "expected"), [(0x01, "open"), (0x02, "short"), (0x40, "range"), (0x80, "range")])
def test_31856_fault_register(status: int, expected: str) -> None:
    assert max31856.decode(registers_31856(250.0, status)) == (None, expected)


def registers_31865(ohm: float, rref_ohm: float, status: int = 0) -> bytes:
    code = round(ohm / rref_ohm * 32768) << 1
    return bytes([0x81]) + code.to_bytes(2, "big") + bytes(4) + bytes([status])


@pytest.mark.parametrize("t_C", [0.0, 60.0, 85.0, 150.0])
def test_31865_with_the_reference_resistor_of_the_data(hardware: Hardware, t_C: float) -> None:
    parts = hardware.settings["rtd"]
    frame = registers_31865(pt1000.celsius_to_resistance(t_C), parts["rref_ohm"])
    value, fault = max31865.decode(frame, parts["rref_ohm"] / parts["r0_ohm"])
    assert fault == ""
    assert value == pytest.approx(t_C, abs=0.034)  # one step of the converter


@pytest.mark.parametrize(("status", "expected"), [(0x80, "open"), (0x40, "short"), (0x08, "open"), (0x04, "short")])
def test_31865_fault_register(status: int, expected: str) -> None:
    assert max31865.decode(registers_31865(1232.0, 4300.0, status), 4.3) == (None, expected)


def test_a_wrong_rtd_build_looks_as_the_guide_says() -> None:
    """A Pt100 on a Pt1000 board, and a Pt1000 on a board with the reference resistor of a Pt100."""
    pt100_ohm = pt1000.celsius_to_resistance(200.0) / 10
    lowest_ohm = pt1000.celsius_to_resistance(max31865._LOW_C)  # the low fault threshold the firmware sets
    assert pt100_ohm < lowest_ohm
    assert max31865.decode(registers_31865(pt100_ohm, 4300.0, status=0x40), 4.3) == (None, "short")
    assert max31865.decode(bytes([0x81, 0xFF, 0xFE, 0, 0, 0, 0, 0]), 4.3) == (None, "open")


def test_the_reference_resistor_spans_the_nozzle_and_its_faults(hardware: Hardware) -> None:
    parts = hardware.settings["rtd"]
    assert pt1000.celsius_to_resistance(400) < parts["rref_ohm"]
    assert parts["ci_nf"] == 10  # MAX31865 data sheet: 10 nF for 1 k elements, 100 nF for 100 ohm
    converter = hardware.sensor_board.of_kind("rtd_converter")[0]
    assert converter.fields["rref_ohm"] == parts["rref_ohm"]


# Worst case and root sum square of each budget, K, worked by hand from the terms beside the data.
BUDGETS = [(5.9, 2.6), (9.9, 4.7), (10.0, 4.6), (1.6, 0.8), (2.1, 1.1), (1.0, 0.7)]


def test_budgets_regenerate(hardware: Hardware) -> None:
    found = [budget(row) for row in hardware.budgets]
    assert [(round(b.worst_K, 1), round(b.rss_K, 1)) for b in found] == BUDGETS


def test_budget_terms_follow_the_standards(hardware: Hardware) -> None:
    """IEC 60584-1 class 1 is 1.5 K or 0.4 %, class 2 2.5 K or 0.75 %; IEC 60751 A 0.15 + 0.002 t, B 0.3 + 0.005 t."""
    one, two = hardware.budgets[0], hardware.budgets[1]
    assert one["sensor_K"] == max(1.5, 0.004 * one["at_C"])
    assert two["sensor_K"] == max(2.5, 0.0075 * two["at_C"])
    assert budget(hardware.budgets[3]).terms["class"] == pytest.approx(0.35)
    assert budget(hardware.budgets[4]).terms["class"] == pytest.approx(0.8)


def test_sensitivities_used_in_the_budgets() -> None:
    seebeck = TypeK.emf(250.5) - TypeK.emf(249.5)
    assert seebeck == pytest.approx(0.0407, abs=0.0001)
    per_K = pt1000.celsius_to_resistance(100.5) - pt1000.celsius_to_resistance(99.5)
    assert per_K == pytest.approx(3.793, abs=0.001)


def test_film_coefficient_against_a_textbook_case() -> None:
    """Hilpert's correlation (1933), Nu = 0.683 Re^0.466 Pr^(1/3) for 40 < Re < 4000, is within a fifth."""
    diameter, speed = 0.003, 1.0
    re = speed * diameter / 4.1e-5
    hilpert = 0.683 * re**0.466 * 0.69 ** (1 / 3) * 0.041 / diameter
    assert film_W_per_m2_K(diameter, speed) == pytest.approx(hilpert, rel=0.2)


@pytest.mark.parametrize(
    ("diameter_mm", "immersion_mm", "low", "high"),
    [(3, 40, 0.05, 0.15), (3, 75, 0.003, 0.015), (3, 100, 0.0, 0.004), (6, 40, 0.28, 0.42), (6, 75, 0.05, 0.12)],
)
def test_stem_loss_sets_the_least_immersion(diameter_mm: float, immersion_mm: float, low: float, high: float) -> None:
    assert low <= stem_share(diameter_mm / 1e3, immersion_mm / 1e3, 1.0) <= high


def test_the_chosen_stack_probe_loses_under_two_percent_along_its_stem(hardware: Hardware) -> None:
    probe = next(probe for probe in hardware.probes if probe["id"] == "stack")
    assert stem_share(probe["diameter_mm"] / 1e3, probe["immersion_min_mm"] / 1e3, 0.8) < 0.02


def test_radiation_to_the_flue_wall_dwarfs_the_converter(hardware: Hardware) -> None:
    """Gas 250 C, wall 200 C: a thin probe reads some 8 to 13 K low, a thick one lower; so alarms use changes only."""
    thin = radiating_probe_C(250.0, 200.0, 0.003, 1.0)
    thick = radiating_probe_C(250.0, 200.0, 0.006, 1.0)
    assert 236.0 < thin < 243.0
    assert 231.0 < thick < thin
    assert radiating_probe_C(250.0, 230.0, 0.003, 1.0) > thin
    assert 250.0 - thin > budget(hardware.budgets[0]).worst_K
    assert radiating_probe_C(250.0, 250.0, 0.003, 1.0) == pytest.approx(250.0)
