"""The loader, which no update changes: what it starts from every state a board can be in."""

from pathlib import Path

from .micropython import run

CHOSEN = {  # slot, on trial; then what slots.json says: active, trial, tries
    "flat": "flat 0 a none none",
    "new": "a 0 a none none",
    "second": "b 0 b none none",
    "torn": "a 0 a none none",
    "rubbish": "a 0 a none none",
    "foreign": "a 0 a none none",
    "first_try": "b 1 a b 1",
    "last_try": "b 1 a b 3",
    "tried_enough": "a 0 a none none",
    "trial_not_whole": "a 0 a none none",
    "active_not_whole": "b 0 b none none",
    "trial_is_active": "a 0 a a none",
}
STARTED = {
    "good": "ran a none none",
    "active_does_not_load": "reset b none none",
    "active_stops": "ValueError a none none",  # for the person at the console
    "good_trial": "ran a b 1",
    "trial_does_not_load": "reset a b 1",
    "trial_stops": "reset a b 1",
}


def test_what_is_started(tmp_path: Path) -> None:
    lines = [line.split(maxsplit=1) for line in run("loader_cases.py", "1m", 60, str(tmp_path)).splitlines()]
    said = [rest for word, rest in lines if word == "start"]
    assert dict(rest.split(maxsplit=1) for rest in said) == STARTED
    assert {word: rest for word, rest in lines if word in CHOSEN} == CHOSEN
    # A new version that hangs while it loads is ended too: each trial is watched from before it loads.
    assert ["watchdogs", "30000 30000 30000"] in lines
