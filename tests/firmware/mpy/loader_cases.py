"""What the loader starts from each state that a board can be in: prints `case slot trial`, then how a start went."""

import os
import sys

import main

FOLDER = sys.argv[1]


watchdogs = []


class Machine:
    @staticmethod
    def WDT(timeout):
        watchdogs.append(timeout)

    @staticmethod
    def reset():
        raise SystemExit("reset")


sys.modules["machine"] = Machine


def case(name, slots, state):
    os.chdir(FOLDER)
    os.mkdir(name)
    os.chdir(name)
    for slot in slots:
        os.mkdir(slot)
        os.mkdir(slot + "/sootboard")
        with open(slot + "/manifest", "w") as f:
            f.write("whole")
    if state is not None:
        with open("slots.json", "w") as f:
            f.write(state)
    slot, trial = main.choose()
    print(name, slot or "flat", int(trial), *[x or "none" for x in main.read()])


def state(active, trial, tries):
    return '{"active": "%s", "trial": %s, "tries": %d}' % (active, '"%s"' % trial if trial else "null", tries)  # noqa: UP031


case("flat", "", None)
case("new", "a", None)
case("second", "ab", state("b", None, 0))
case("torn", "ab", state("b", "a", 1)[:20])
case("rubbish", "ab", "[1, 2]")
case("foreign", "ab", state("x", None, 0))
case("first_try", "ab", state("a", "b", 0))
case("last_try", "ab", state("a", "b", 2))
case("tried_enough", "ab", state("a", "b", 3))
case("trial_not_whole", "a", state("a", "b", 0))
case("active_not_whole", "b", state("a", None, 0))
case("trial_is_active", "ab", state("a", "a", 0))


def start(name, text, where, trial):
    """A start whose slot `where` has an app of that text; what becomes of it."""
    case(name, "ab", state("a", "b", 0) if trial else state("a", None, 0))
    for slot in "ab":
        with open(slot + "/sootboard/__init__.py", "w") as f:
            f.write("")
        with open(slot + "/sootboard/app.py", "w") as f:
            f.write(text if slot == where else "def main():\n    pass\n")
    if trial:
        with open("slots.json", "w") as f:
            f.write(state("a", "b", 0))
    for module in ("sootboard", "sootboard.app"):
        sys.modules.pop(module, None)
    path = sys.path[:]
    try:
        main.main()
        went = "ran"
    except SystemExit:
        went = "reset"
    except Exception as e:
        went = type(e).__name__
    sys.path[:] = path
    print("start", name, went, *[x or "none" for x in main.read()])


start("good", "def main():\n    pass\n", "a", False)
start("active_does_not_load", "import nowhere\n", "a", False)
start("active_stops", "def main():\n    raise ValueError('settings')\n", "a", False)
start("good_trial", "def main():\n    pass\n", "b", True)
start("trial_does_not_load", "import nowhere\n", "b", True)
start("trial_stops", "def main():\n    raise ValueError('settings')\n", "b", True)
print("watchdogs", *watchdogs)
