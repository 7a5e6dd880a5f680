"""Every alarm, phase, channel and hazard has plain words, short enough, and none that promise safety."""

import re
from typing import get_args

import pytest

from sootline import wording
from sootline.alarms import Hazard, Priority
from sootline.channels import CHANNELS, FAULTS
from sootline.now import Phase
from sootline.profile import LOG_KINDS
from sootline.units import SYSTEMS

# the alarms of the interface between board, host and recordings
ALARMS = (
    "refill-timeout", "pump-overrun", "refill-overdue", "refill-slowing", "refill-without-burning", "float-chatter",
    "oil-use-high", "preheat-slow", "preheat-stalled", "heater-stuck-on", "oil-overtemperature", "ignition-failure",
    "ignition-delayed", "lockout", "flame-loss", "no-heat", "stack-high", "stack-rising", "stack-step", "stack-low",
    "heat-without-call", "limit-open", "short-cycling", "overfiring", "air-pressure", "supply-low", "leak",
    "freeze-risk", "sensor-fault", "board-offline", "service-due",
)  # fmt: skip

FORBIDDEN = re.compile(r"safe to|is safe|anomal|error|unexpected|invalid|psi|shutter to|turn the shutter", re.I)


def texts() -> list[str]:
    found = [wording.NOTHING_WRONG, wording.CO_NOTICE, wording.WATCHES_ONLY, *wording.HAZARDS.values()]
    for alarm in wording.ALARMS.values():
        found += [alarm.title, alarm.meaning]
    for phase in wording.PHASES.values():
        found += [phase.word, phase.meaning]
    found += [*wording.CHANNEL_LABELS.values(), *wording.FAULT_WORDS.values(), *wording.LOG_WORDS.values()]
    return found


def test_every_alarm_has_words_and_no_other_has() -> None:
    assert sorted(wording.ALARMS) == sorted(ALARMS)


@pytest.mark.parametrize("alarm", ALARMS)
def test_alarm_texts_fit_a_message(alarm: str) -> None:
    words = wording.ALARMS[alarm]
    assert len(f"{'x' * 14}: {words.title} 06:52") <= 60
    assert 30 <= len(words.meaning) <= 320
    assert words.meaning.endswith(".")


def test_no_text_promises_safety_or_gives_a_setting() -> None:
    for text in texts():
        assert not FORBIDDEN.search(text), text


def test_nothing_else_is_without_words() -> None:
    assert set(wording.PHASES) == set(get_args(Phase))
    assert set(wording.HAZARDS) == set(get_args(Hazard)) == set(wording.HAZARD_WORD)
    assert set(wording.PRIORITY_WORDS) == set(get_args(Priority))
    assert set(wording.CHANNEL_LABELS) == set(CHANNELS)
    assert set(wording.FAULT_WORDS) == set(FAULTS)
    assert set(wording.LOG_WORDS) == set(LOG_KINDS)


def test_phase_words_are_all_different() -> None:
    assert len({words.word for words in wording.PHASES.values()}) == len(wording.PHASES)


@pytest.mark.parametrize(
    ("key", "value", "words", "si", "us"),
    [
        ("on_time_s", 20.0, "pump ran", "20.0 s", "20.0 s"),
        ("fire_left_min", 43.0, "fire left", "43 min", "43 min"),
        ("act_within_min", 10_080, "act within", "7 days", "7 days"),
        ("dip_K", 0.2, "tank temperature dip", "0.2 °C", "0.4 °F"),
        ("limit_C", 120.0, "limit", "120 °C", "248 °F"),
        ("rate_K_per_min", 2.6, "rate", "2.6 °C/min", "4.7 °F/min"),
        ("used_l", 37.85411784, "used", "37.85 L", "10.00 gal"),
        ("supply_ratio", 0.62, "supply", "62 %", "62 %"),
        ("resets_24h", 2, "resets in 24 h", "2", "2"),
        ("stack_end", 284.2, "stack at the end", "284 °C", "544 °F"),
        ("channel", "nozzle", "channel", "Nozzle oil", "Nozzle oil"),
        ("fault", "open", "fault", "probe circuit open", None),
        ("slope_K_per_100h", 32.0, "rises, per 100 h of firing", "32 °C", "58 °F"),
        ("days_left_days", 2.4, "left", "2 days 9 h", None),
        ("escalated", True, "got worse", "yes", "yes"),
        ("usual_dip_K", None, "usual dip", "not measured", "not measured"),
        ("setpoint_kPa", 97.0, "setpoint", "97.0 kPa", "14.1 psi"),
        ("blind_to", ["leak", "stack-high"], "blind to", "LIQUID IN THE DRIP TRAY, STACK TOO HOT", None),
    ],
)
def test_numbers_of_an_alarm_in_words(key: str, value: object, words: str, si: str, us: str | None) -> None:
    assert wording.key_words(key) == words
    expected = dict(zip(SYSTEMS, (si, us or si), strict=True))
    for system in SYSTEMS:
        assert wording.key_value(key, value, system) == expected[system]


def test_unknown_ids_read_as_their_own_words() -> None:
    assert wording.alarm_title("draft-low") == "Draft low"
    assert wording.furnace_name("engine-shed") == "Engine shed"
    assert wording.channel_label("new_probe") == "New probe"


@pytest.mark.parametrize(
    ("value", "yes"),
    [("2026-01-22", True), ("2026-01-22T10:00:00Z", True), ("1.35 nozzle", False), (5, False), ("draft limit", False)],
)
def test_moments_are_told_from_words(value: object, yes: bool) -> None:
    assert wording.is_time(value) is yes


def test_what_a_blind_alarm_needs() -> None:
    assert wording.need_words("leak") == "a sensor for: drip tray wet (leak)"
    assert wording.need_words("refill.limit_s") == "refill.limit_s in the profile"
    assert wording.need_words("burner or flame") == "burner or flame"
