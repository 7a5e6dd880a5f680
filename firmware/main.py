"""The loader: starts the version of the board code that is to run. README, "Slots", says how.

Written over USB only. What it does is a promise to every later version, so it stays small and knows none of them.
"""

import gc
import json
import os
import sys

gc.threshold(8192)  # collect often while modules are loaded, or the heap ends up in pieces

TRIES = 3  # starts a new version has to show that it works


def read():
    """`[active, trial, tries]`; where that cannot be read, slot a is as good a guess as any."""
    try:
        with open("slots.json") as f:
            state = json.load(f)
        active, trial, tries = state["active"], state["trial"], state["tries"]
        if active in ("a", "b") and trial in ("a", "b", None) and isinstance(tries, int):
            return [active, trial, tries]
    except (OSError, ValueError, KeyError, TypeError):
        pass
    return ["a", None, 0]


def write(active, trial, tries):
    with open("slots.json.new", "w") as f:
        json.dump({"active": active, "trial": trial, "tries": tries}, f)
    os.rename("slots.json.new", "slots.json")


def whole(slot):
    try:
        os.stat(slot + "/manifest")
        return True
    except OSError:
        return False


def choose():
    """`(slot to start, whether it is on trial)`; the slot is "" where code does not lie in slots."""
    active, trial, tries = read()
    if trial and trial != active:
        try:
            if tries < TRIES and whole(trial):
                write(active, trial, tries + 1)  # before the start: it may never come back
                return trial, True
            write(active, None, 0)
        except OSError:
            pass  # a try that cannot be counted is not made
    other = "b" if active == "a" else "a"
    if not whole(active) and whole(other):
        active = other
        give_way_to(other)
    return (active if whole(active) else ""), False


def give_way_to(slot):
    """The active slot is not whole or does not load: `slot` is started from now on."""
    try:
        write(slot, None, 0)
    except OSError:
        pass  # found out again at the next start


def reset():
    import machine

    machine.reset()


def start(slot, trial):
    if slot:
        sys.path.insert(0, slot)
    if trial:
        import machine

        # A new version that hangs while it loads is caught too. 8 s is the longest the RP2040 can.
        machine.WDT(timeout=8000 if sys.platform == "rp2" else 30000)
    from sootboard import app

    return app


def main():
    slot, trial = choose()
    app = None
    try:
        app = start(slot, trial)
        app.main()
    except Exception as e:
        sys.print_exception(e)
        if not trial:
            other = "b" if slot == "a" else "a"
            if app is not None or not slot or not whole(other):
                raise  # for the person at the console: wrong settings, say
            give_way_to(other)
        reset()


if __name__ == "__main__":
    main()
