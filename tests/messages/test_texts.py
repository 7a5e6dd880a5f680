"""Every text that can be sent: its length, its parts, and what it must never say."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC

import pytest

from sootline.alarms import Alarm, iso
from sootline.analysis.catalogue import KINDS
from sootline.analysis.causes.tree import Cause
from sootline.analysis.causes.trees import TREES
from sootline.messages import texts
from sootline.wording import ALARMS
from tests.messages.kit import DAY_MS, HOUR_MS, NOON, alarm

NAMES = ("a", "thirty-two-characters-of-a-name1")
WHATS = (("raised", 0, 0), ("worse", 0, 0), ("again", 7, 7))
NUMBERS = {
    "fire_left_min": 143.0, "freeze_at": iso(NOON + 9 * HOUR_MS), "runs_out_at": iso(NOON + 400 * DAY_MS),
    "resets_24h": 3, "do_not_reset": True, "blind_to": ["refill-timeout", "pump-overrun", "oil-use-high"],
}  # fmt: skip


def cases() -> Iterator[tuple[Alarm, Cause | None]]:
    for name in KINDS:
        causes: tuple[Cause | None, ...] = (*TREES[name].causes, None) if name in TREES else (None,)
        for cause in causes:
            yield alarm(name, "high", NOON - 250 * DAY_MS), cause


def with_cause(one: Alarm, cause: Cause | None) -> Alarm:
    found = [] if cause is None else [{"id": cause.id, "cause": cause.cause, "probability": 0.62, "evidence": []}]
    return replace(one, detail={**one.detail, "causes": found})


def spoken(one: Alarm) -> Iterator[tuple[str, str, str]]:
    """(title, body, short form) in every shape it can have."""
    for name in NAMES:
        for priority in ("medium", "critical"):
            for channel in (None, "nozzle_heater_current"):
                for detail in (one.detail, {**one.detail, **NUMBERS}):
                    told = replace(one, furnace=name, priority=priority, channel=channel, detail=detail)
                    for what, nth, of in WHATS:
                        text = texts.body(told, what, "7Q2KD4Z", NOON, UTC, nth, of)  # type: ignore[arg-type]
                        yield texts.title(told, NOON, UTC), text, texts.short(told, "7Q2KD4Z", NOON, UTC)


ALL = list(cases())


@pytest.mark.parametrize("name", KINDS)
def test_every_text_has_its_parts_within_its_length(name: str) -> None:
    for one, cause in ALL:
        if one.alarm != name:
            continue
        told = with_cause(one, cause)
        for title, body, short in spoken(told):
            assert len(title) <= 60 and len(short) <= 60, title
            assert len(body) <= 320, body
            assert ALARMS[name].title in title and ALARMS[name].title in short
            assert body.startswith("Since ") and "…" not in body  # nothing that must be said is cut
            assert " First: " in body and texts.HAZARD_LINES[told.hazard] in body
            assert body.endswith(" #7Q2KD4Z") and short.endswith(" #7Q2KD4Z")


def test_without_long_numbers_the_likely_cause_is_told() -> None:
    for one, cause in ALL:
        if cause is not None:
            text = texts.body(replace(with_cause(one, cause), raised_ms=NOON), "raised", "7Q2KD4Z", NOON, UTC)
            assert f"Likely: {cause.cause} (62%)." in text, (one.alarm, len(cause.cause), text)


# never that it is safe to run or to restart, never settings of air or oil, never a second press of the primary reset
FORBIDDEN = [
    re.compile(r"(?<!un)safe\b", re.I),
    re.compile(
        r"\b(no (danger|risk|problem)|all (is )?(well|clear|good)|harmless|don't worry|nothing to worry)\b", re.I
    ),
    re.compile(r"no smoke", re.I),
    re.compile(r"\b(open|close|turn|set|adjust)\b[^.]*\b(shutter|air screw|pressure to|psi|damper)\b", re.I),
    re.compile(r"anomal|unknown error|failure code", re.I),
]
AGAIN = re.compile(r"[^.:;]*\breset\b[^.:;]*", re.I)
ALLOWED = re.compile(
    r"do not reset|do NOT press it again|was pressed already|refill reset once|one primary reset at most"
    r"|before resetting one|then the reset buttons|was never reset",
    re.I,
)


@pytest.mark.parametrize("name", KINDS)
def test_nothing_says_safe_to_run_or_advises_a_second_reset(name: str) -> None:
    for one, cause in ALL:
        if one.alarm != name:
            continue
        for title, body, _ in spoken(with_cause(one, cause)):
            for rule in FORBIDDEN:
                assert not rule.search(title) and not rule.search(body), (rule.pattern, body)
            for clause in AGAIN.findall(body):
                assert ALLOWED.search(clause), clause


def test_a_lockout_that_was_reset_is_not_to_be_reset_again() -> None:
    fresh = alarm("lockout", "high", NOON, detail={"resets_24h": 0, "do_not_reset": False})
    assert "One primary reset at most." in texts.body(fresh, "raised", "X", NOON, UTC)
    for resets in (1, 2, 5):
        text = texts.body(replace(fresh, detail={"resets_24h": resets}), "raised", "X", NOON, UTC)
        assert "do NOT press it again" in text and "at most" not in text


def test_a_message_reads_as_it_should() -> None:
    cause = {"id": "x", "cause": "air leak at the bowl", "probability": 0.6}
    stall = alarm("refill-timeout", "high", NOON - 8 * 60_000, detail={"fire_left_min": 43.0, "causes": [cause]})
    assert texts.title(stall, NOON, UTC) == "ENGINE SHED: Refill stalled 11:52, ~43 min of fire left"
    assert texts.body(stall, "raised", "7Q2KD4Z", NOON, UTC) == (
        "Since 11:52. Fire out about 12:35. Likely: air leak at the bowl (60%). First: Look at the supply level and "
        "the filter bowl; mend the cause, then push the refill reset once. Nothing dangerous seen by these sensors. "
        "#7Q2KD4Z"
    )
    assert texts.short(stall, "7Q2KD4Z", NOON, UTC) == "ENGINE SHED: Refill stalled 11:52 #7Q2KD4Z"
