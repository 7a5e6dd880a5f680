"""Which version of the board code runs, and which shall: the app's side of what the loader does (README, "Slots")."""

import json
import os
import sys

_STATE = "slots.json"


def running():
    """The slot this code was loaded from; "" where code does not lie in slots."""
    return sys.path[0] if sys.path[0] in ("a", "b") else ""


def other():
    return "b" if running() == "a" else "a"


def on_trial():
    """Whether the version that runs has still to show that it works."""
    try:
        with open(_STATE) as f:
            trial = json.load(f)["trial"]
        return bool(trial) and trial == running()
    except (OSError, ValueError, KeyError, TypeError):
        return False


def _write(active, trial):
    with open(_STATE + ".new", "w") as f:
        json.dump({"active": active, "trial": trial, "tries": 0}, f)
    os.rename(_STATE + ".new", _STATE)


def confirm():
    """The version that runs works: it is the one to start from now on."""
    _write(running(), None)


def give_up():
    """The version that runs does not work: the next start takes the other one."""
    _write(other(), None)


def stage():
    """The next start tries the slot that does not run now."""
    _write(running(), other())
