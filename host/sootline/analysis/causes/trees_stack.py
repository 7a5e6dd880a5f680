"""Decision trees of the stack, and of warm air and input. Priors and likelihoods: common practice, coarse."""

from sootline.analysis.causes.tree import Cause, Tree

_SOURCE = "common practice; soot, excess air and overfiring as the usual three: NORA Oilheat Technicians Manual"
_TEST = "have a combustion test done"

STACK_HIGH = Tree("stack-high", _SOURCE, (
    Cause(
        "overfired", "overfired: wrong or worn nozzle", 0.28,
        f"Check the nozzle's size; {_TEST}.", ("nozzle size", "refills per hour", "log book"), power_off=True,
        given={"oil-rate-up": 0.9, "air-rise-up": 0.5, "nozzle-entry": 0.5, "ash-known": 0.2, "step-known": 0.4,
               "burner-on": 0.95, "blower-off": 0.02, "air-high": 0.06},
    ),
    Cause(
        "blower", "too little warm air: blower, belt or air filters", 0.22,
        "Look at blower, belt and air filters.", ("belt", "air filters", "blower speed"), power_off=True,
        given={"oil-rate-up": 0.04, "air-rise-up": 0.95, "limit-opened": 0.5, "blower-off": 0.35, "step-known": 0.35,
               "blower-entry": 0.15, "burner-on": 0.95, "nozzle-entry": 0.03},
    ),
    Cause(
        "ash", "ash and soot on the heat exchanger", 0.24,
        "Have the heat exchanger and flue cleaned before it is used again.", ("heat exchanger", "flue", "draft"),
        power_off=True,
        given={"oil-rate-up": 0.06, "air-rise-up": 0.05, "ash-known": 0.92, "draft-drop-up": 0.8, "step-known": 0.1,
               "burner-on": 0.95, "blower-off": 0.02, "nozzle-entry": 0.03},
    ),
    Cause(
        "draft", "draft regulator stuck, or too much excess air", 0.12,
        f"Look at the draft regulator; {_TEST}.", ("draft regulator", "air shutter"),
        given={"oil-rate-up": 0.05, "air-rise-up": 0.05, "draft-strong": 0.7, "shutter-entry": 0.3, "step-known": 0.4,
               "ash-known": 0.15, "burner-on": 0.95, "draft-drop-up": 0.2},
    ),
    Cause(
        "hot-return", "return air far warmer than usual", 0.04,
        "Look where warm air finds its way back into the return.", ("return air duct", "doors shut"),
        given={"return-hot": 0.95, "oil-rate-up": 0.05, "ash-known": 0.2, "burner-on": 0.95},
    ),
    Cause(
        "soot-fire", "soot burning in the flue", 0.05,
        "Shut off, close the air, leave, call the fire service.", ("from outside only: sparks at the chimney",),
        given={"burner-on": 0.25, "stack-climbs-alone": 0.8, "ash-known": 0.5},
    ),
))  # fmt: skip

STACK_STEP = Tree("stack-step", _SOURCE, (
    Cause(
        "overfired", "more oil through the nozzle: another size, or worn", 0.14,
        f"Check the nozzle's size; {_TEST}.", ("nozzle size", "log book"), power_off=True,
        given={"step-up": 0.97, "oil-rate-up": 0.92, "oil-rate-down": 0.02, "air-rise-up": 0.5, "nozzle-entry": 0.4,
               "air-low": 0.02, "air-high": 0.1, "warm-air-same": 0.12, "warm-air-opposes": 0.03},
    ),
    Cause(
        "blower", "less warm air: blower, belt or air filters", 0.18,
        "Look at belt, air filters and blower speed.", ("belt", "air filters", "blower speed"), power_off=True,
        given={"step-up": 0.97, "oil-rate-up": 0.04, "oil-rate-down": 0.03, "air-rise-up": 0.95, "limit-opened": 0.35,
               "blower-entry": 0.1, "air-low": 0.03, "warm-air-same": 0.04, "warm-air-opposes": 0.03},
    ),
    Cause(
        "air-shutter", "combustion air or draft changed: shutter, linkage, draft regulator", 0.19,
        f"Look at shutter and draft regulator; {_TEST}.", ("air shutter", "linkage", "draft regulator"),
        # it slips either way; less air leaves less gas to carry heat up the flue, and the warm air gets it
        given={"step-up": 0.5, "oil-rate-up": 0.04, "oil-rate-down": 0.04, "air-rise-up": 0.06, "shutter-entry": 0.4,
               "air-low": 0.02, "draft-strong": 0.3, "draft-weak": 0.25, "warm-air-same": 0.4,
               "warm-air-opposes": 0.5},
    ),
    Cause(
        "batch", "another batch of oil", 0.1,
        "Compare the batches; keep an eye on ignition and smoke.", ("kind of oil", "smoke"),
        given={"step-up": 0.5, "oil-rate-up": 0.1, "oil-rate-down": 0.1, "air-rise-up": 0.1, "batch-entry": 0.92,
               "air-low": 0.02, "warm-air-same": 0.5, "warm-air-opposes": 0.2},
    ),
    Cause(
        "nozzle-plugging", "less oil through the nozzle: plugging, or the line to it", 0.14,
        "Have nozzle and its strainer cleaned.", ("nozzle", "nozzle strainer"), power_off=True,
        given={"step-up": 0.03, "oil-rate-down": 0.92, "oil-rate-up": 0.02, "air-low": 0.04, "air-rise-up": 0.03,
               "nozzle-entry": 0.15, "warm-air-same": 0.12, "warm-air-opposes": 0.03},
    ),
    Cause(
        "air-pressure", "low atomising air: less oil, coarser spray", 0.1,
        "Read the air gauge in a firing; look at compressor and regulator.", ("compressor", "regulator", "water drain"),
        given={"step-up": 0.06, "oil-rate-down": 0.8, "air-low": 0.96, "oil-rate-up": 0.02, "air-rise-up": 0.03,
               "warm-air-same": 0.12, "warm-air-opposes": 0.03},
    ),
    Cause(
        "probe", "the stack probe has slid out, sooted over or sees cold air", 0.07,
        "Look at the stack probe: depth, soot, air leaks beside it.", ("probe depth", "soot on it", "breech joints"),
        power_off=True,
        given={"step-up": 0.06, "oil-rate-down": 0.05, "oil-rate-up": 0.04, "air-low": 0.03, "air-rise-up": 0.05,
               "service-entry": 0.2, "warm-air-same": 0.9, "warm-air-opposes": 0.05},
    ),
))  # fmt: skip

STACK_RISING = Tree("stack-rising", _SOURCE, (
    Cause(
        "ash", "ash on the heat exchanger", 0.62,
        "Plan a cleaning on a mild day; weigh the ash.", ("heat exchanger", "flue", "draft"), power_off=True,
        given={"draft-drop-up": 0.75, "oil-rate-up": 0.05, "air-rise-up": 0.06, "rise-fast": 0.3, "step-known": 0.06},
    ),
    Cause(
        "soot", "soot: a poor fire", 0.1,
        f"Look at the deposit: black and greasy is a bad fire; {_TEST}.", ("colour of the deposit", "smoke"),
        power_off=True,
        given={"draft-drop-up": 0.75, "rise-fast": 0.8, "lit-late": 0.5, "flame-lost": 0.3, "air-low": 0.3,
               "oil-rate-up": 0.05, "air-rise-up": 0.06},
    ),
    Cause(
        "air-filters", "air filters filling, or the blower slowing", 0.1,
        "Change the air filters; look at the belt.", ("air filters", "belt"), power_off=True,
        given={"air-rise-up": 0.95, "draft-drop-up": 0.05, "oil-rate-up": 0.05},
    ),
    Cause(
        "nozzle-worn", "the firing rate creeping up: a worn nozzle", 0.08,
        f"Check the nozzle; {_TEST}.", ("nozzle wear", "refills per hour"), power_off=True,
        given={"oil-rate-up": 0.92, "air-rise-up": 0.5, "draft-drop-up": 0.1},
    ),
))  # fmt: skip

STACK_LOW = Tree("stack-low", _SOURCE, (
    Cause(
        "underfired", "underfired: nozzle plugging or too small", 0.34,
        f"Look at the nozzle and its strainer; {_TEST}.", ("nozzle", "strainer"), power_off=True,
        given={"oil-rate-down": 0.9, "air-low": 0.05, "low-from-first": 0.1, "step-known": 0.4, "stack-down": 0.9},
    ),
    Cause(
        "air-pressure", "low atomising air", 0.14,
        "Read the air gauge in a firing; look at compressor and regulator.", ("compressor", "regulator"),
        given={"oil-rate-down": 0.8, "air-low": 0.96, "low-from-first": 0.05, "stack-down": 0.9},
    ),
    Cause(
        "probe", "the stack probe slid out or sooted over, or air leaks in beside it", 0.22,
        "Look at the stack probe: depth, soot, air leaks beside it.", ("probe depth", "soot on it", "breech joints"),
        power_off=True,
        given={"oil-rate-down": 0.05, "air-low": 0.04, "low-from-first": 0.25, "stack-down": 0.85},
    ),
    Cause(
        "by-design", "it has always run this cool here", 0.14,
        f"Look for rust and wet soot in the flue when cool; {_TEST}.", ("flue joints", "nozzle size against rating"),
        given={"oil-rate-down": 0.04, "air-low": 0.04, "low-from-first": 0.95, "stack-down": 0.04, "step-known": 0.03},
    ),
    Cause(
        "cold-return", "colder return air", 0.08,
        "Look where the return air comes from.", ("return air duct",),
        given={"return-cold": 0.9, "oil-rate-down": 0.05, "air-low": 0.04},
    ),
))  # fmt: skip

OVERFIRING = Tree("overfiring", _SOURCE, (
    Cause(
        "wrong-nozzle", "a nozzle too large, or worn", 0.5,
        f"Check that the nozzle is the right one; {_TEST}.", ("nozzle size", "orifice wear"), power_off=True,
        given={"stack-up": 0.9, "oil-rate-up": 0.92, "oil-rate-always": 0.06, "leak-wet": 0.03, "idle-refills": 0.03,
               "nozzle-entry": 0.45, "air-high": 0.05, "seconds-down": 0.03},
    ),
    Cause(
        "air-high", "atomising air above its usual pressure", 0.08,
        "Read the air gauge against the log book.", ("regulator", "gauge"),
        given={"stack-up": 0.75, "oil-rate-up": 0.85, "air-high": 0.95, "oil-rate-always": 0.1},
    ),
    Cause(
        "leak", "oil lost while it burns: counted, but not burned", 0.16,
        "Look for oil in the tray, along the loop and in the chamber.", ("drip tray", "loop", "chamber"),
        power_off=True,
        given={"stack-up": 0.06, "oil-rate-up": 0.9, "leak-wet": 0.6, "idle-refills": 0.5, "oil-rate-always": 0.06,
               "nozzle-entry": 0.02},
    ),
    Cause(
        "profile", "float differential or rating in the profile is wrong", 0.16,
        "Measure the oil of one refill; compare the rating plate.", ("oil of one refill", "rating plate"),
        given={"stack-up": 0.05, "oil-rate-up": 0.05, "oil-rate-always": 0.9, "leak-wet": 0.03, "nozzle-entry": 0.02},
    ),
))  # fmt: skip

LIMIT_OPEN = Tree("limit-open", _SOURCE, (
    Cause(
        "belt", "blower belt slipping or broken, or the blower motor", 0.36,
        "Look at belt, pulleys and blower motor.", ("belt", "pulleys", "motor"), power_off=True,
        given={"air-rise-up": 0.95, "blower-off": 0.3, "step-known": 0.3, "oil-rate-up": 0.04, "rise-creeping": 0.12,
               "air-usual-when-open": 0.04},
    ),
    Cause(
        "air-filters", "air filters blocked, or outlets shut", 0.3,
        "Look at air filters and outlets.", ("air filters", "outlets"), power_off=True,
        given={"air-rise-up": 0.92, "blower-off": 0.02, "rise-creeping": 0.8, "oil-rate-up": 0.04,
               "air-usual-when-open": 0.06},
    ),
    Cause(
        "overfired", "overfired", 0.12,
        f"Check the nozzle; {_TEST}.", ("nozzle size", "refills per hour"), power_off=True,
        given={"oil-rate-up": 0.92, "air-rise-up": 0.7, "blower-off": 0.02, "nozzle-entry": 0.4},
    ),
    Cause(
        "limit-weak", "the limit control itself opens too early", 0.12,
        "Have the limit control tested; never bridge it.", ("limit control", "its bulb"), power_off=True,
        given={"air-rise-up": 0.05, "air-usual-when-open": 0.92, "blower-off": 0.02, "oil-rate-up": 0.04},
    ),
))  # fmt: skip

TREES = (STACK_HIGH, STACK_STEP, STACK_RISING, STACK_LOW, OVERFIRING, LIMIT_OPEN)
