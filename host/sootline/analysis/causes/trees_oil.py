"""Decision trees of the oil side. Priors and likelihoods: common practice, coarse on purpose (0.9 / 0.5 / 0.1)."""

from sootline.analysis.causes.tree import Cause, Tree

_SOURCE = "common practice; suction signs: NORA Oilheat Technicians Manual"
_RESET_ONCE = "mend the cause, then push the refill reset once."

REFILL_TIMEOUT = Tree("refill-timeout", _SOURCE, (
    Cause(
        "air-leak", "air drawn in at the filter bowl or a suction fitting", 0.25,
        f"Look at the supply level, then the filter bowl and fittings; {_RESET_ONCE}",
        ("bubbles in the filter bowl", "wet or loose suction fittings", "prime of the pump"),
        # air comes in by and by: some oil may come with it; a gear pump run dry pulls next to nothing
        given={"no-dip": 0.85, "large-dip": 0.02, "seconds-up": 0.08, "suction-weak": 0.9, "suction-none": 0.5,
               "suction-deep": 0.03, "suction-shut": 0.02, "supply-empty": 0.03, "filter-entry": 0.3, "overfull": 0.02,
               "float-calls": 0.95},
    ),
    Cause(
        "supply-empty", "supply tank empty, or its valve shut", 0.22,
        f"Dip the supply tank and open its valve; {_RESET_ONCE}",
        ("supply level by dip stick", "both supply valves", "foot valve and strainer"),
        # a tank may run out in the middle of a run
        given={"no-dip": 0.75, "large-dip": 0.02, "seconds-up": 0.1, "suction-weak": 0.25, "suction-none": 0.05,
               "suction-deep": 0.8, "suction-shut": 0.75, "supply-empty": 0.6, "batch-entry": 0.2, "overfull": 0.02,
               "float-calls": 0.95},
    ),
    Cause(
        "filter", "refill filter or strainer plugged", 0.18,
        f"Change or wash the refill filter and strainer; {_RESET_ONCE}",
        ("filter element", "pump strainer", "sludge in the bowl"),
        given={"no-dip": 0.15, "large-dip": 0.03, "seconds-up": 0.92, "slow-for-days": 0.85, "oil-colder": 0.15,
               "suction-weak": 0.03, "suction-none": 0.03, "suction-deep": 0.9, "suction-shut": 0.15,
               "overfull": 0.02,
               "float-calls": 0.95},
    ),
    Cause(
        "cold-oil", "oil too cold and thick for the pump", 0.1,
        f"Warm the supply tank or pump; {_RESET_ONCE}",
        ("oil temperature at the pump", "when it runs well again: afternoons"),
        given={"no-dip": 0.12, "large-dip": 0.05, "seconds-up": 0.8, "slow-for-days": 0.25, "oil-colder": 0.92,
               "suction-weak": 0.03, "suction-none": 0.03, "suction-deep": 0.85, "batch-entry": 0.3, "overfull": 0.02,
               "float-calls": 0.95},
    ),
    Cause(
        "float-stuck-down", "float stuck low: the day tank is being overfilled", 0.07,
        "Look for oil on the floor and in the tray first; then free the float.",
        ("drip tray and floor", "oil level in the day tank", "float arm and wire"), power_off=True,
        given={"no-dip": 0.04, "large-dip": 0.9, "seconds-up": 0.06, "suction-weak": 0.04, "suction-none": 0.03,
               "suction-deep": 0.05, "suction-shut": 0.02, "supply-empty": 0.03, "overfull": 0.9, "leak-wet": 0.35,
               "float-calls": 0.95},
    ),
    Cause(
        "pump-dead", "pump motor, its relay or thermal switch: energised but not turning", 0.1,
        "Feel whether the motor is hot or seized; have motor, relay and thermal switch tested.",
        ("does the motor hum or turn", "thermal switch", "coupling"), power_off=True,
        given={"no-dip": 0.95, "large-dip": 0.02, "seconds-up": 0.08, "suction-none": 0.95, "suction-weak": 0.95,
               "suction-deep": 0.02, "suction-shut": 0.02, "supply-empty": 0.03, "overfull": 0.02,
               "float-calls": 0.95},
    ),
))  # fmt: skip

REFILL_OVERDUE = Tree("refill-overdue", _SOURCE, (
    Cause(
        "float-stuck-up", "float stuck high: low oil is not seen", 0.38,
        "Check the oil in the day tank by eye; free the float.",
        ("day-tank sight level", "float arm", "float wire"), power_off=True,
        given={"unseen-dips": 0.03, "float-calls": 0.04, "latched-out": 0.03, "level-falls": 0.9, "oil-rate-down": 0.1,
               "stack-down": 0.05},
    ),
    Cause(
        "latched-out", "the refill limiter latched out and was never reset", 0.2,
        "Find why the last refill stalled and mend it; then push the refill reset once.",
        ("limiter's lamp", "last refill in the list", "supply level and filter"),
        given={"unseen-dips": 0.03, "float-calls": 0.95, "latched-out": 0.95, "level-falls": 0.8, "stack-down": 0.05},
    ),
    Cause(
        "pump-sensing", "the pump runs, but its sensing does not show it", 0.16,
        "Watch one refill by eye: if the pump runs, repair its sensing wires.",
        ("pump sensing contact", "its wires at the board"),
        given={"unseen-dips": 0.95, "float-calls": 0.15, "latched-out": 0.06, "level-falls": 0.06, "stack-down": 0.05},
    ),
    Cause(
        "underfiring", "it burns much less oil than usual: nozzle plugging, air pressure low", 0.14,
        "Compare the stack with last week; have nozzle and air looked at.",
        ("nozzle", "atomising air", "flame colour through the port"),
        given={"unseen-dips": 0.03, "float-calls": 0.05, "latched-out": 0.03, "level-falls": 0.15, "oil-rate-down": 0.7,
               "stack-down": 0.9, "air-low": 0.4},
    ),
))  # fmt: skip

REFILL_SLOWING = Tree("refill-slowing", _SOURCE, (
    Cause(
        "filter", "refill filter or strainer plugging", 0.6,
        "Change the refill filter and wash the strainer on the next visit; log it.",
        ("filter element", "pump strainer", "sludge in the bowl"),
        given={"slow-for-days": 0.95, "oil-colder": 0.15, "suction-deep": 0.9, "suction-weak": 0.03,
               "batch-entry": 0.08, "filter-entry": 0.02},
    ),
    Cause(
        "thick-batch", "a thicker batch of oil", 0.12,
        "Compare the batch with the last one; settle or blend before the next.",
        ("kind of oil in the batch", "oil temperature at the pump"),
        given={"slow-for-days": 0.6, "suction-deep": 0.85, "suction-weak": 0.03, "batch-entry": 0.9},
    ),
    Cause(
        "cold-oil", "colder oil than the correction allows for", 0.1,
        "Look again on a mild afternoon before the filter is opened.",
        ("oil temperature at the pump", "where the supply tank stands"),
        given={"slow-for-days": 0.4, "oil-colder": 0.92, "suction-deep": 0.8, "suction-weak": 0.03},
    ),
    Cause(
        "small-air-leak", "a small air leak on the suction side", 0.07,
        "Look for bubbles in the filter bowl while the pump runs.",
        ("filter bowl gasket", "suction fittings"),
        given={"suction-deep": 0.03, "suction-weak": 0.7, "filter-entry": 0.4},
    ),
    Cause(
        "pump-worn", "a worn pump or slipping coupling", 0.05,
        "Measure the oil of one refill; have the pump looked at.",
        ("coupling", "pump seal", "oil under the pump"), power_off=True,
        given={"slow-for-days": 0.9, "suction-deep": 0.04, "suction-weak": 0.5, "oil-colder": 0.15},
    ),
))  # fmt: skip

REFILL_WITHOUT_BURNING = Tree("refill-without-burning", _SOURCE, (
    Cause(
        "loop-leak", "a leak in the oil loop or a fitting", 0.42,
        "Shut the supply valve; look for oil in the tray and along the loop.",
        ("drip tray", "loop fittings and hoses", "pump seal"), power_off=True,
        given={"leak-wet": 0.5, "short-runs": 0.05, "overfull": 0.03},
    ),
    Cause(
        "siphon", "oil siphons out of the day tank or back to the supply tank", 0.15,
        "Shut the supply valve; look for a failed check valve.",
        ("check valve at the pump", "return line end", "vent of the day tank"),
        given={"leak-wet": 0.1, "short-runs": 0.05},
    ),
    Cause(
        "chamber-drip", "oil drips through the nozzle into the chamber", 0.15,
        "Look in the chamber for pooled oil, standing aside; leave it off if there is any.",
        ("pooled oil in the chamber", "oil valve", "soot or oil smell"), power_off=True,
        given={"leak-wet": 0.08, "short-runs": 0.05, "stack-warm": 0.5},
    ),
    Cause(
        "float-chatter", "the float chatters: short sips, no oil lost", 0.1,
        "Look at the float for dirt, foam or a loose wire.", ("float arm", "float wire", "loop return above the oil"),
        power_off=True, given={"leak-wet": 0.03, "short-runs": 0.9},
    ),
    Cause(
        "by-hand", "the day tank was drained or filled by hand", 0.1,
        "Ask who worked on it; write it down.", ("log book",), given={"leak-wet": 0.05, "service-entry": 0.8},
    ),
))  # fmt: skip

FLOAT_CHATTER = Tree("float-chatter", _SOURCE, (
    Cause(
        "float-waves", "the float rides on waves or foam: it follows the oil, in sips", 0.45,
        "Look at where the loop returns into the day tank, and for foam.",
        ("loop return below the oil", "foam: water in the oil", "float guide"), power_off=True,
        given={"even-sips": 0.9, "while-burning": 0.85, "circulation-off": 0.02},
    ),
    Cause(
        "float-loose-wire", "a loose wire or bad contact at float or relay", 0.35,
        "Check float and relay terminals for a loose wire.", ("float terminals", "relay contact", "cable in vibration"),
        power_off=True, given={"even-sips": 0.1, "while-burning": 0.5, "service-entry": 0.2},
    ),
    Cause(
        "tested-by-hand", "somebody moved the float by hand", 0.08,
        "Ask who worked on it; write it down.", ("log book",), given={"even-sips": 0.15, "service-entry": 0.8},
    ),
))  # fmt: skip

OIL_USE_HIGH = Tree("oil-use-high", _SOURCE, (
    Cause(
        "leak", "a leak: oil goes elsewhere while it burns as usual", 0.33,
        "Look for oil in the tray, along loop and pump, and in the chamber.",
        ("drip tray", "loop fittings", "pooled oil in the chamber"), power_off=True,
        # half of the places that leak stand under pressure in a firing only, and not all of them drip into the tray
        given={"stack-up": 0.06, "leak-wet": 0.45, "idle-refills": 0.35, "short-runs": 0.03, "seconds-down": 0.03,
               "nozzle-entry": 0.02, "air-high": 0.03},
    ),
    Cause(
        "overfiring", "it fires harder: wrong or worn nozzle", 0.35,
        "Check the nozzle's size; have a combustion test done.", ("nozzle size", "wear of the orifice", "stack trend"),
        power_off=True,
        given={"stack-up": 0.9, "leak-wet": 0.03, "idle-refills": 0.02, "short-runs": 0.03, "seconds-down": 0.03,
               "nozzle-entry": 0.4, "air-high": 0.1},
    ),
    Cause(
        "air-high", "atomising air above its usual pressure draws more oil", 0.08,
        "Read the atomising air gauge against the log book.", ("regulator", "gauge against the log"),
        given={"stack-up": 0.7, "air-high": 0.95, "leak-wet": 0.03, "idle-refills": 0.03, "short-runs": 0.03},
    ),
    Cause(
        "float-sips", "the float calls early: smaller refills, more of them", 0.15,
        "Look at the float for dirt or a bent arm; measure one refill.", ("float arm", "float guide"), power_off=True,
        given={"stack-up": 0.06, "leak-wet": 0.03, "short-runs": 0.6, "seconds-down": 0.9, "idle-refills": 0.1},
    ),
))  # fmt: skip

PUMP_OVERRUN = Tree("pump-overrun", _SOURCE, (
    Cause(
        "relay-welded", "the pump relay is welded: neither float nor limiter stop the pump", 0.45,
        "Shut the supply valve if it can be reached dry; have the relay changed. No reset.",
        ("pump relay", "drip tray and floor"), power_off=True,
        given={"float-full": 0.85, "past-limit": 0.9, "overfull": 0.5, "leak-wet": 0.3},
    ),
    Cause(
        "limiter-failed", "the limiter does not stop the pump while the float still calls", 0.2,
        "Find why no oil fills the tank; have the limiter tested. No reset.",
        ("limiter setting", "supply level", "oil level in the day tank"), power_off=True,
        given={"float-full": 0.05, "past-limit": 0.95, "overfull": 0.1},
    ),
    Cause(
        "float-stuck-down", "float stuck low: the day tank is overfilled", 0.2,
        "Look for oil on the floor and in the tray first; then free the float. No reset.",
        ("drip tray and floor", "float arm"), power_off=True,
        given={"float-full": 0.03, "past-limit": 0.2, "overfull": 0.9, "leak-wet": 0.4},
    ),
    Cause(
        "by-hand", "the pump was run by hand", 0.06,
        "Ask who worked on it; write it down.", ("log book",), given={"service-entry": 0.8, "float-full": 0.6},
    ),
))  # fmt: skip

SUPPLY_LOW = Tree("supply-low", "common practice", (
    Cause(
        "supply-empty", "the supply tank runs empty: its oil was burned, none was brought", 0.8,
        "Fetch oil, or change barrels; draw well above the bottom.",
        ("supply level by dip stick", "water at the bottom"), given={"use-high": 0.03, "leak-wet": 0.03},
    ),
    Cause(
        "lost", "oil is lost on the way: more is used than burned", 0.1,
        "Look for a leak along tank, line and pump.", ("tank and line", "drip tray"),
        given={"use-high": 0.85, "leak-wet": 0.5},
    ),
))  # fmt: skip

LEAK = Tree("leak", "common practice", (
    Cause(
        "relay-welded", "the refill pump does not stop: relay welded or limiter failed", 0.2,
        "Shut the supply valve if it can be reached dry; have the pump relay changed. No reset.",
        ("pump relay", "limiter", "day-tank level"), power_off=True,
        given={"overrun-known": 0.95, "overfull": 0.85, "refill-just": 0.95, "use-high": 0.05},
    ),
    Cause(
        "overfilled", "the day tank ran over at a refill: float stuck low", 0.15,
        "Shut the supply valve; look at the day tank's level and its float.",
        ("day-tank level", "float"), power_off=True,
        given={"overrun-known": 0.15, "overfull": 0.9, "refill-just": 0.85},
    ),
    Cause(
        "loop-leak", "a leak in the oil loop, pump or filter", 0.45,
        "Shut the supply valve; look along loop, pump and filter bowl.", ("loop fittings", "pump seal", "filter bowl"),
        power_off=True, given={"overfull": 0.03, "refill-just": 0.25, "use-high": 0.5},
    ),
    Cause(
        "water", "water or condensate in the tray, no oil", 0.1,
        "Look and smell whether it is water or oil; dry the tray and its sensor.", ("tray", "pipes above"),
        given={"overfull": 0.02, "use-high": 0.03},
    ),
))  # fmt: skip

TREES = (
    REFILL_TIMEOUT, REFILL_OVERDUE, REFILL_SLOWING, REFILL_WITHOUT_BURNING, FLOAT_CHATTER, OIL_USE_HIGH, PUMP_OVERRUN,
    SUPPLY_LOW, LEAK,
)  # fmt: skip
