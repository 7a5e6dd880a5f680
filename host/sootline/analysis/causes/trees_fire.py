"""Decision trees of starts and flames. Priors and likelihoods: common practice, coarse (0.9 / 0.5 / 0.1)."""

from sootline.analysis.causes.tree import Cause, Tree

_SOURCE = "common practice; order of checks: NORA Oilheat Technicians Manual"
_LOOK_FIRST = "Look in the chamber for pooled oil, door open, standing aside"


def _no_flame(share: float) -> tuple[Cause, ...]:
    """The branches that a failed start and the lockout after it have in common; their priors sum to `share`."""
    return (
        Cause(
            "no-spark", "no spark: electrodes, cable or transformer", 0.34 * share,
            f"{_LOOK_FIRST}; then have electrodes and transformer tested.",
            ("pooled oil in the chamber", "electrode gap and soot", "cable and transformer"), power_off=True,
            given={"stack-rose": 0.05, "never-seen": 0.02, "lit-briefly": 0.03, "air-low": 0.03, "nozzle-cold": 0.04,
                   "refill-trouble": 0.03, "lit-late": 0.5, "flame-lost": 0.06, "electrodes-entry": 0.15,
                   "batch-entry": 0.05, "circulation-off": 0.02},
        ),
        Cause(
            "no-oil", "no oil reaches the nozzle: day tank low, valve shut, line or nozzle blocked", 0.21 * share,
            f"{_LOOK_FIRST}; then day-tank level, oil valve and nozzle.",
            ("day-tank level", "oil valve", "nozzle strainer"), power_off=True,
            given={"stack-rose": 0.06, "never-seen": 0.02, "lit-briefly": 0.1, "air-low": 0.04, "nozzle-cold": 0.15,
                   "refill-trouble": 0.6, "lit-late": 0.08, "flame-lost": 0.2, "nozzle-entry": 0.15},
        ),
        Cause(
            "detector", "flame detector dirty or blind: it lit, but was not seen", 0.18 * share,
            f"{_LOOK_FIRST}; then clean the flame detector.",
            ("flame detector lens", "its sight tube", "its wires"), power_off=True,
            given={"stack-rose": 0.9, "never-seen": 0.7, "lit-briefly": 0.85, "air-low": 0.04, "nozzle-cold": 0.05,
                   "refill-trouble": 0.03, "lit-late": 0.05, "flame-lost": 0.3, "batch-entry": 0.06},
        ),
        Cause(
            "air-pressure", "no or too little atomising air", 0.1 * share,
            f"{_LOOK_FIRST}; then compressor, regulator and water drain.",
            ("air gauge while it tries", "compressor and belt", "water drain"),
            given={"stack-rose": 0.15, "lit-briefly": 0.2, "air-low": 0.96, "lit-late": 0.3, "flame-lost": 0.35},
        ),
        Cause(
            "cold-oil", "oil at the nozzle too cold to atomise", 0.1 * share,
            f"{_LOOK_FIRST}; then nozzle heater and loop pump.",
            ("nozzle heater", "loop pump", "oil temperature at the nozzle"),
            given={"stack-rose": 0.25, "lit-briefly": 0.25, "air-low": 0.04, "nozzle-cold": 0.85, "lit-late": 0.4,
                   "batch-entry": 0.3, "circulation-off": 0.4, "flame-lost": 0.3},
        ),
        Cause(
            "water", "water or air in the oil at the nozzle", 0.07 * share,
            f"{_LOOK_FIRST}; then drain the water from the day tank.",
            ("drain of the day tank", "settling of the batch"),
            given={"stack-rose": 0.3, "lit-briefly": 0.3, "air-low": 0.04, "flame-lost": 0.75, "batch-entry": 0.35,
                   "supply-dregs": 0.4, "lit-late": 0.06},
        ),
    )  # fmt: skip


IGNITION_FAILURE = Tree("ignition-failure", _SOURCE, (
    *_no_flame(0.85),
    Cause(
        "control", "primary control, relay or motor does not answer: it never tried", 0.06,
        f"{_LOOK_FIRST}; then have control, relay and motor tested.", ("control lamp", "burner motor", "relay"),
        power_off=True, given={"burner-never": 0.95, "locked-out": 0.03, "stack-rose": 0.03, "lit-briefly": 0.03},
    ),
))  # fmt: skip

LOCKOUT = Tree("lockout", _SOURCE, _no_flame(0.88))

IGNITION_DELAYED = Tree("ignition-delayed", _SOURCE, (
    Cause(
        "electrode-wear", "electrodes worn or fouled, or a weak transformer", 0.42,
        "Have electrodes cleaned and gapped, transformer tested. A puff or soot on the floor: stop using it.",
        ("electrode gap and soot", "porcelain cracks", "transformer"), power_off=True,
        given={"late-drift": 0.7, "batch-entry": 0.06, "nozzle-colder": 0.05, "late-when-cold": 0.12, "air-low": 0.03,
               "air-dipped": 0.03, "oil-rate-down": 0.06},
    ),
    Cause(
        "nozzle-carbon", "carbon on the nozzle", 0.2,
        "Have the nozzle cleaned or changed.", ("nozzle face", "spray"), power_off=True,
        given={"late-drift": 0.75, "batch-entry": 0.1, "nozzle-colder": 0.05, "oil-rate-down": 0.5, "air-low": 0.03,
               "stack-down": 0.4},
    ),
    Cause(
        "thick-oil", "oil too thick at the nozzle: colder, or a thicker batch", 0.16,
        "Compare the nozzle temperature and the batch; let it soak longer.",
        ("nozzle temperature at light-off", "kind of oil in the batch"),
        given={"late-drift": 0.12, "batch-entry": 0.7, "nozzle-colder": 0.6, "air-low": 0.03},
    ),
    Cause(
        "short-soak", "only the first flame of the day: the oil has not soaked long enough", 0.08,
        "Let the oil soak longer before the first start of the day.", ("time between oil warm and start",),
        given={"late-when-cold": 0.92, "late-drift": 0.2, "nozzle-colder": 0.4, "air-low": 0.03},
    ),
    Cause(
        "air-pressure", "low atomising air", 0.08,
        "Read the air gauge while it starts; look at compressor and regulator.", ("regulator", "compressor"),
        given={"air-low": 0.95, "late-drift": 0.35, "oil-rate-down": 0.5, "stack-down": 0.5},
    ),
))  # fmt: skip

FLAME_LOSS = Tree("flame-loss", _SOURCE, (
    Cause(
        "water", "a slug of water in the oil", 0.28,
        "Drain the water from day tank and filter bowl; let the batch settle.",
        ("drain of the day tank", "filter bowl", "how long the batch settled"),
        given={"came-back": 0.85, "at-refill": 0.25, "air-low": 0.03, "air-dipped": 0.03, "batch-entry": 0.4,
               "supply-dregs": 0.35, "same-time": 0.04, "refill-trouble": 0.03, "nozzle-falls": 0.06,
               "circulation-off": 0.02},
    ),
    Cause(
        "refill-slug", "cold oil or air bubbles at a refill", 0.14,
        "See whether it always follows a refill; look for air at the filter bowl.",
        ("refills just before", "bubbles in the loop"),
        given={"came-back": 0.85, "at-refill": 0.95, "air-low": 0.03, "air-dipped": 0.03, "refill-trouble": 0.06,
               "nozzle-falls": 0.25},
    ),
    Cause(
        "air-pressure", "atomising air sagging", 0.14,
        "Read the air gauge in a firing; look at compressor, belt and drain.",
        ("compressor cut-in", "belt", "water drain"),
        given={"air-low": 0.8, "air-dipped": 0.92, "came-back": 0.4, "refill-trouble": 0.03},
    ),
    Cause(
        "detector", "flame detector dirty or overheating", 0.16,
        "Clean the flame detector and its sight tube.", ("detector lens", "sight tube", "its wires"), power_off=True,
        given={"same-time": 0.4, "lit-briefly": 0.6, "never-seen": 0.6, "came-back": 0.3, "at-refill": 0.2,
               "air-low": 0.03, "air-dipped": 0.03, "refill-trouble": 0.03, "nozzle-falls": 0.05,
               "circulation-off": 0.02, "batch-entry": 0.05},
    ),
    Cause(
        "no-oil", "the day tank runs dry", 0.1,
        "Mend the refill first; look at the day-tank level.", ("day-tank level", "refill limiter", "supply"),
        given={"refill-trouble": 0.95, "low-level": 0.9, "came-back": 0.1, "lit-briefly": 0.4, "air-low": 0.04,
               "air-dipped": 0.04},
    ),
    Cause(
        "loop", "cold oil at the nozzle: loop pump or nozzle heater", 0.07,
        "See whether the loop pump turns and the nozzle heater heats.", ("loop pump", "nozzle heater"), power_off=True,
        given={"circulation-off": 0.8, "nozzle-falls": 0.85, "came-back": 0.3, "air-low": 0.04, "air-dipped": 0.04},
    ),
    Cause(
        "downdraft", "downdraft on a windy day", 0.05,
        "Look at chimney cap and draft regulator; note the wind.", ("chimney cap", "draft regulator", "wind"),
        given={"draft-reversed": 0.7, "came-back": 0.85, "air-low": 0.04, "air-dipped": 0.04},
    ),
))  # fmt: skip

NO_HEAT = Tree("no-heat", _SOURCE, (
    Cause(
        "lockout", "the start failed and the primary control has locked out", 0.28,
        f"{_LOOK_FIRST}. Find out why it did not light before any reset.",
        ("pooled oil in the chamber", "lockout lamp"),
        given={"ignition-trouble": 0.97, "locked-out": 0.95, "refill-trouble": 0.04, "preheat-trouble": 0.04,
               "limit-opened": 0.03, "burner-never": 0.1, "power-off": 0.02, "oil-warm": 0.9},
        behind=("lockout", "ignition-failure"),
    ),
    Cause(
        "no-oil", "no oil: the refill failed and the day tank has run low", 0.18,
        "Mend the refill first.", ("supply level", "filter bowl", "refill limiter"),
        given={"refill-trouble": 0.97, "low-level": 0.95, "ignition-trouble": 0.3, "preheat-trouble": 0.4,
               "power-off": 0.02, "oil-warm": 0.4},
        behind=("refill-timeout", "refill-overdue"),
    ),
    Cause(
        "cold-oil", "the oil does not get warm, so the burner may not start", 0.2,
        "Mend the heating first.", ("heater", "fuse", "cut-out"), power_off=True,
        given={"preheat-trouble": 0.85, "locked-out": 0.05, "oil-warm": 0.04, "ignition-trouble": 0.05,
               "refill-trouble": 0.04, "burner-never": 0.9, "power-off": 0.02},
        behind=("preheat-stalled", "preheat-slow"),
    ),
    Cause(
        "limit", "the high limit is open", 0.08,
        "Find out why it overheated: blower, belt, filters.", ("blower", "belt", "air filters"), power_off=True,
        given={"limit-opened": 0.97, "locked-out": 0.05, "oil-warm": 0.9, "ignition-trouble": 0.05, "burner-never": 0.3,
               "power-off": 0.02},
        behind=("limit-open",),
    ),
    Cause(
        "power", "no mains: service switch or breaker off", 0.08,
        "Look at the service switch and the breaker.", ("service switch", "breaker"),
        given={"power-off": 0.9, "locked-out": 0.03, "preheat-trouble": 0.4, "ignition-trouble": 0.05,
               "burner-never": 0.9, "oil-warm": 0.3},
    ),
    Cause(
        "control", "primary control or burner relay does not answer the call", 0.1,
        "Have control, relay and motor tested.", ("control lamp", "burner motor", "relay"), power_off=True,
        given={"burner-never": 0.92, "locked-out": 0.04, "oil-warm": 0.95, "ignition-trouble": 0.08,
               "refill-trouble": 0.03, "preheat-trouble": 0.03, "limit-opened": 0.02, "power-off": 0.02},
    ),
))  # fmt: skip

HEAT_WITHOUT_CALL = Tree("heat-without-call", _SOURCE, (
    Cause(
        "thermostat-shorted", "thermostat wires shorted at the burner, or held by hand", 0.35,
        "Leave it off; look for a short across the thermostat wires.", ("thermostat wires", "terminals at the burner"),
        power_off=True,
        given={"burner-on": 0.95, "went-on": 0.2, "stack-climbs-alone": 0.02},
    ),
    Cause(
        "relay-welded", "the burner's primary relay is welded: it burned on after the call", 0.28,
        "Leave it off; have the primary control changed.", ("primary control",), power_off=True,
        given={"burner-on": 0.95, "went-on": 0.92, "stack-climbs-alone": 0.02},
    ),
    Cause(
        "burning-on", "oil burning on after shut-off: a leaking oil valve or nozzle drip", 0.14,
        "Shut the oil valve; leave it off until valve and nozzle are mended.", ("oil valve", "pooled oil"),
        power_off=True,
        given={"burner-on": 0.04, "went-on": 0.9, "stack-climbs-alone": 0.3},
    ),
    Cause(
        "soot-fire", "soot burning in the flue", 0.1,
        "Shut off, close the air, leave, call the fire service.", ("from outside only: sparks at the chimney",),
        given={"burner-on": 0.05, "went-on": 0.3, "stack-climbs-alone": 0.92, "ash-known": 0.5},
    ),
))  # fmt: skip

SHORT_CYCLING = Tree("short-cycling", _SOURCE, (
    Cause(
        "thermostat", "the thermostat: draught, warm air on it, or its anticipator", 0.42,
        "Look where draught or warm air reaches the thermostat.", ("an open door", "warm air outlet", "anticipator"),
        given={"call-ended-it": 0.95, "brief-rests": 0.6, "limit-opened": 0.03, "flame-lost": 0.04,
               "air-rise-up": 0.06, "cycles-faster": 0.9},
    ),
    Cause(
        "limit", "the high limit opens: blower, belt or air filters", 0.2,
        "Look at blower, belt and air filters.", ("belt", "air filters", "blower"), power_off=True,
        # a limit closes again within minutes (common practice), with the call still on
        given={"limit-opened": 0.97, "call-ended-it": 0.08, "air-rise-up": 0.8, "flame-lost": 0.06,
               "brief-rests": 0.85, "cycles-faster": 0.9},
    ),
    Cause(
        "flame-dropping", "the flame is dropped again and again: detector, water, air", 0.18,
        "Mend the flame losses first; clean the flame detector.", ("flame detector", "atomising air", "water"),
        power_off=True,
        given={"flame-lost": 0.92, "call-ended-it": 0.06, "limit-opened": 0.03, "brief-rests": 0.85,
               "cycles-faster": 0.9},
    ),
    Cause(
        "oversize", "more furnace than the day needs", 0.12,
        "Nothing is broken; fewer and longer calls make less soot.", ("thermostat differential",),
        given={"call-ended-it": 0.95, "mild-day": 0.85, "brief-rests": 0.15, "limit-opened": 0.03, "flame-lost": 0.03,
               "cycles-faster": 0.06},
    ),
))  # fmt: skip

AIR_PRESSURE = Tree("air-pressure", "common practice", (
    Cause(
        "compressor", "the compressor: belt, valves, cut-in or its breaker", 0.45,
        "Look whether the compressor runs and holds; belt, valves, breaker.", ("belt", "cut-in pressure", "breaker"),
        power_off=True, given={"air-absent": 0.6, "air-over": 0.02, "air-sinking": 0.25},
    ),
    Cause(
        "air-line", "a leaking or blocked air line, or water in it", 0.25,
        "Drain the water; listen for leaks from receiver to nozzle.", ("water drain", "hose and fittings", "strainer"),
        given={"air-absent": 0.15, "air-over": 0.02, "air-sinking": 0.35},
    ),
    Cause(
        "regulator", "the regulator has moved or is worn", 0.2,
        "Read the gauge against the log book; have a combustion test done after any change.", ("regulator", "gauge"),
        given={"air-absent": 0.03, "air-over": 0.5, "air-sinking": 0.4},
    ),
))  # fmt: skip

FREEZE_RISK = Tree("freeze-risk", "common practice", (
    Cause(
        "no-fire", "the furnace gives no heat", 0.5,
        "Mend what keeps it from firing; bring other heat meanwhile.", ("the other alarms",),
        given={"no-fire": 0.95, "not-called": 0.15},
        behind=("no-heat", "lockout", "refill-timeout", "refill-overdue", "preheat-stalled", "ignition-failure",
                "limit-open"),
    ),
    Cause(
        "not-called", "heat is not called for: set back or switched off", 0.25,
        "Turn the thermostat up or bring other heat.", ("thermostat", "service switch"),
        given={"no-fire": 0.05, "not-called": 0.95},
    ),
    Cause(
        "losing", "more heat is lost than it can give: door open, deep cold", 0.17,
        "Look for an open door; bring other heat.", ("doors", "outdoor temperature"),
        given={"no-fire": 0.05, "not-called": 0.05, "while-burning": 0.9},
    ),
))  # fmt: skip

TREES = (
    IGNITION_FAILURE, LOCKOUT, IGNITION_DELAYED, FLAME_LOSS, NO_HEAT, HEAT_WITHOUT_CALL, SHORT_CYCLING, AIR_PRESSURE,
    FREEZE_RISK,
)  # fmt: skip
