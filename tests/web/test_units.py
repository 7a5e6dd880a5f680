"""Display units: exact factors against NIST SP 811, and words for time."""

import math
from datetime import UTC

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline import units
from sootline.channels import ANALOG, CHANNELS

# NIST Special Publication 811 (2008), appendix B.8 and B.9, as printed
NIST = [
    ("pressure", 6.894757e3, "us", 1.0, 2e-7),  # psi -> Pa
    ("draft", 2.490889e2, "us", 1.0, 2e-7),  # inch of water, conventional -> Pa
    ("vacuum", 3.386389e3, "us", 1.0, 2e-7),  # inch of mercury, conventional -> Pa
    ("volume", 3.785412, "us", 1.0, 2e-7),  # US gallon -> L
    ("heat input", 2.930711e-4 * 1000, "us", 1.0, 2e-6),  # 1000 Btu (IT)/h -> kW
]


@pytest.mark.parametrize(("quantity", "value", "system", "expected", "within"), NIST)
def test_factors_are_those_of_nist(
    quantity: str, value: float, system: units.System, expected: float, within: float
) -> None:
    assert units.convert(value, quantity, system) == pytest.approx(expected, rel=within)


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"), [(-40.0, -40.0), (0.0, 32.0), (100.0, 212.0), (37.0, 98.6), (370.0, 698.0)]
)
def test_temperatures_at_fixed_points(celsius: float, fahrenheit: float) -> None:
    # ITS-90 fixed points of water and common tables
    assert units.convert(celsius, "temperature", "us") == pytest.approx(fahrenheit, abs=1e-9)


def test_a_difference_of_temperature_has_no_offset() -> None:
    assert units.convert(10.0, "difference", "us") == pytest.approx(18.0)
    assert units.show(3.2, "fine difference", "us") == "5.8 °F"


@pytest.mark.parametrize(
    ("channel", "value", "si", "us"),
    [
        ("tank", 64.8, "65 °C", "149 °F"),
        ("stack", 284.4, "284 °C", "544 °F"),
        ("room", 17.44, "17.4 °C", "63 °F"),
        ("outdoor", -8.2, "−8.2 °C", "17 °F"),
        ("outdoor", -0.04, "0.0 °C", "32 °F"),
        ("air_pressure", 96_527.0, "96.5 kPa", "14.0 psi"),
        ("draft_fire", -4.98, "−5.0 Pa", "−0.020 in w.c."),
        ("suction", -33_864.0, "−33.9 kPa", "−10.0 in Hg"),
        ("supply_level", 0.62, "62 %", "62 %"),
        ("pump", 1.0, "on", "on"),
        ("pump", 0.0, "off", "off"),
    ],
)
def test_readings_read_as_people_read_them(channel: str, value: float, si: str, us: str) -> None:
    assert str(units.channel_value(channel, value, "si")) == si
    assert str(units.channel_value(channel, value, "us")) == us


@pytest.mark.parametrize("system", units.SYSTEMS)
@pytest.mark.parametrize("channel", CHANNELS)
def test_every_channel_can_be_shown_and_missing_is_a_dash(channel: str, system: units.System) -> None:
    for missing in (None, math.nan):
        assert units.channel_value(channel, missing, system).text == units.NO_READING
    low, high = CHANNELS[channel].low, CHANNELS[channel].high
    assert units.channel_value(channel, high, system).text != units.channel_value(channel, low, system).text


@given(st.sampled_from(ANALOG), st.floats(-1e5, 1e5))
def test_what_is_shown_is_within_half_a_digit_of_the_value(channel: str, value: float) -> None:
    quantity = units.quantity_of(channel)
    for system in units.SYSTEMS:
        unit = units.unit_of(quantity, system)
        text = units.shown(value, quantity, system).text.replace(units.MINUS, "-")
        assert float(text) == pytest.approx(
            units.convert(value, quantity, system), abs=0.51 * 10**-unit.digits, rel=1e-12
        )
        assert not text.startswith("-0") or float(text) != 0


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (-3, "0 s"), (0, "0 s"), (4.9, "4 s"), (59.99, "59 s"), (60, "1 min"), (3599, "59 min"), (3600, "1 h"),
        (7800, "2 h 10 min"), (10 * 3600 + 600, "10 h"), (86_399, "23 h"), (86_400, "1 day"), (90_000, "1 day 1 h"),
        (3 * 86_400 + 7200, "3 days"), (400 * 86_400, "400 days"),
    ],
)  # fmt: skip
def test_durations_in_words(seconds: float, words: str) -> None:
    assert units.duration(seconds) == words


def test_ages_in_words() -> None:
    assert units.age(0.4) == "now"
    assert units.age(-2) == "now"
    assert units.age(4) == "4 s ago"


@pytest.mark.parametrize(
    ("t_ms", "words"),
    [
        (1_768_575_600_000 - 8 * 3_600_000, "07:00"),
        (1_768_575_600_000 - 30 * 3_600_000, "Thu 09:00"),
        (1_768_575_600_000 - 11 * 86_400_000, "5 Jan 15:00"),
        (1_768_575_600_000 - 300 * 86_400_000, "22 Mar 2025"),
    ],
)
def test_moments_in_words(t_ms: int, words: str) -> None:
    assert units.clock(t_ms, 1_768_575_600_000, UTC) == words  # Fri 16 Jan 2026 15:00 UTC
