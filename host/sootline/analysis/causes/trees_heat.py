"""Decision trees of oil heating. Priors and likelihoods: common practice, coarse on purpose (0.9 / 0.5 / 0.1)."""

from sootline.analysis.causes.tree import Cause, Tree

_SOURCE = "common practice; solid-state relays fail closed: heater makers' notes"

PREHEAT_SLOW = Tree("preheat-slow", _SOURCE, (
    Cause(
        "half-element", "one of two elements open, or the relay passes half waves only", 0.35,
        "Have both elements and the relay measured.", ("elements, cold, with a meter", "relay", "loose terminals"),
        power_off=True,
        given={"half-rate": 0.9, "usual-rate": 0.04, "current-half": 0.92, "other-slow": 0.06, "colder-start": 0.15,
               "flat-at-boiling": 0.02, "circulation-off": 0.03, "refills-in-climb": 0.15},
    ),
    Cause(
        "weather", "a colder start than usual, no fault", 0.1,
        "Compare the start temperature; nothing to mend if the rate is usual.", ("start temperature", "lagging"),
        given={"half-rate": 0.04, "usual-rate": 0.9, "current-half": 0.03, "colder-start": 0.95, "other-slow": 0.1},
    ),
    Cause(
        "water", "water boiling out of the oil", 0.08,
        "Stand clear: hot oil spits. Cool down, drain the water off the day tank.",
        ("drain of the day tank", "foam or spitting", "water in the supply tank"), power_off=True,
        given={"flat-at-boiling": 0.9, "half-rate": 0.2, "usual-rate": 0.2, "batch-entry": 0.4, "current-half": 0.03},
    ),
    Cause(
        "loop-pump", "the oil loop pump stands still or its line is clogged", 0.12,
        "See whether the loop pump turns; feel the loop for heat.", ("loop pump", "loop strainer"), power_off=True,
        given={"circulation-off": 0.7, "other-slow": 0.1, "half-rate": 0.4, "current-half": 0.03, "usual-rate": 0.05},
    ),
    Cause(
        "low-mains", "low mains voltage, or a common fault of both heaters", 0.08,
        "Have the voltage at the heaters measured under load.", ("voltage", "shared terminals", "other loads"),
        power_off=True, given={"other-slow": 0.9, "half-rate": 0.4, "usual-rate": 0.1, "current-half": 0.3},
    ),
    Cause(
        "cold-refills", "bigger or more cold refills during the climb", 0.08,
        "Look at the refills in the climb: oil may be lost, or the batch colder.", ("refills of that hour",),
        given={"refills-in-climb": 0.9, "usual-rate": 0.4, "half-rate": 0.25, "batch-entry": 0.3, "use-high": 0.3,
               "current-half": 0.03},
    ),
    Cause(
        "thick-oil", "thicker oil, sludge on the element or lagging off", 0.07,
        "Look at lagging and, cold and drained, at the element.", ("lagging", "sludge on the element"), power_off=True,
        given={"half-rate": 0.3, "usual-rate": 0.1, "batch-entry": 0.4, "current-half": 0.03, "other-slow": 0.4},
    ),
))  # fmt: skip

PREHEAT_STALLED = Tree("preheat-stalled", _SOURCE, (
    Cause(
        "low-oil", "the day tank is low: its heater is held off", 0.19,
        "Mend the refill first; the heater comes back with the oil.", ("day-tank level", "refill limiter", "supply"),
        given={"refill-trouble": 0.97, "low-level": 0.97, "drive-off": 0.9, "current-none": 0.1,
               "stopped-in-climb": 0.3, "stuck-heater": 0.03},
    ),
    Cause(
        "element-open", "element, fuse or lead open", 0.3,
        "Have fuse, lead and element measured.", ("fuse", "lead and terminals", "element"), power_off=True,
        given={"refill-trouble": 0.03, "low-level": 0.02, "drive-off": 0.04, "current-none": 0.97,
               "stopped-in-climb": 0.12, "was-too-hot": 0.02, "other-slow": 0.08, "circulation-off": 0.03,
               "stuck-heater": 0.03},
    ),
    Cause(
        "cut-out", "the over-temperature cut-out has tripped, or opens too early", 0.18,
        "Find out why it tripped before it is reset; let the oil cool.", ("cut-out button", "relay", "probe seat"),
        power_off=True,
        given={"refill-trouble": 0.03, "low-level": 0.02, "drive-off": 0.04, "current-none": 0.95,
               "stopped-in-climb": 0.8, "was-too-hot": 0.4, "other-slow": 0.05, "circulation-off": 0.03,
               "stuck-heater": 0.06},
    ),
    Cause(
        "relay-shorted", "the heater's relay had shorted, and the cut-out has opened on it", 0.05,
        "Leave it off; have the relay changed and the cut-out tested.", ("relay", "cut-out"), power_off=True,
        given={"stuck-heater": 0.9, "was-too-hot": 0.9, "refill-trouble": 0.03, "low-level": 0.02, "current-none": 0.9,
               "other-slow": 0.05, "circulation-off": 0.03},
    ),
    Cause(
        "thermostat", "thermostat or probe displaced: the drive stays off below the set point", 0.12,
        "See whether probe and thermostat bulb sit in the oil.", ("probe pocket", "thermostat bulb"), power_off=True,
        given={"refill-trouble": 0.03, "low-level": 0.02, "drive-off": 0.92, "probe-jumped": 0.5, "current-none": 0.1,
               "stopped-in-climb": 0.4, "stuck-heater": 0.05},
    ),
    Cause(
        "mains", "no mains at the heaters: switch, breaker or common fuse", 0.08,
        "Look at service switch and breaker; have the common fuse measured.", ("service switch", "breaker", "fuse"),
        power_off=True,
        given={"power-off": 0.7, "other-slow": 0.92, "current-none": 0.8, "refill-trouble": 0.03, "drive-off": 0.3,
               "stuck-heater": 0.03},
    ),
))  # fmt: skip

HEATER_STUCK_ON = Tree("heater-stuck-on", _SOURCE, (
    Cause(
        "relay-shorted", "the heater's solid-state relay is shorted", 0.62,
        "Leave it off; have the relay changed and the cut-out tested.", ("relay", "cut-out"), power_off=True,
        given={"drive-off": 0.92, "current-undriven": 0.97, "after-fire": 0.12, "heater-pace": 0.92,
               "probe-jumped": 0.02, "setpoint-entry": 0.02},
    ),
    Cause(
        "probe-out", "thermostat probe out of the oil: it never sees the heat", 0.14,
        "See whether probe and thermostat bulb sit in the oil.", ("thermostat bulb", "probe pocket"), power_off=True,
        given={"drive-off": 0.04, "current-undriven": 0.03, "heater-pace": 0.85, "probe-jumped": 0.5,
               "after-fire": 0.15},
    ),
    Cause(
        "soak", "chamber heat soaking into the block after a firing", 0.08,
        "Watch for 20 min: a soak dies away, a stuck heater does not. If it climbs on, switch off.",
        ("climb after 20 min",),
        given={"drive-off": 0.9, "current-undriven": 0.02, "after-fire": 0.97, "heater-pace": 0.08},
    ),
    Cause(
        "set-higher", "the thermostat was turned up", 0.08,
        "Ask who turned it; log the new set point.", ("thermostat", "log book"),
        given={"drive-off": 0.1, "current-undriven": 0.02, "heater-pace": 0.9, "setpoint-entry": 0.5,
               "after-fire": 0.15},
    ),
))  # fmt: skip

OIL_OVERTEMPERATURE = Tree("oil-overtemperature", _SOURCE, (
    Cause(
        "relay-shorted", "the heater's solid-state relay is shorted", 0.5,
        "Leave it off; have the relay changed and the cut-out tested.", ("relay", "cut-out"), power_off=True,
        # that it is stuck takes minutes to tell; a strong nozzle heater has passed the limit by then
        given={"stuck-heater": 0.6, "drive-off": 0.92, "current-undriven": 0.97, "after-fire": 0.2,
               "probe-jumped": 0.02, "never-so-hot": 0.92, "heater-pace": 0.9},
    ),
    Cause(
        "probe-out", "thermostat probe out of the oil: it never sees the heat", 0.2,
        "See whether probe and thermostat bulb sit in the oil.", ("thermostat bulb", "probe pocket"), power_off=True,
        given={"stuck-heater": 0.4, "drive-off": 0.04, "current-undriven": 0.02, "probe-jumped": 0.4,
               "after-fire": 0.2, "never-so-hot": 0.85, "heater-pace": 0.85},
    ),
    Cause(
        "soak", "chamber heat soaking into the block", 0.12,
        "Leave it to cool; look at blower run-on and the burner's air flap.", ("blower run-on", "air flap"),
        given={"stuck-heater": 0.04, "after-fire": 0.97, "current-undriven": 0.02, "never-so-hot": 0.06,
               "heater-pace": 0.1},
    ),
    Cause(
        "set-higher", "the thermostat was turned up", 0.08,
        "Ask who turned it; keep oil below its flash point.", ("thermostat", "log book"),
        given={"setpoint-entry": 0.6, "drive-off": 0.2, "current-undriven": 0.02, "heater-pace": 0.85,
               "after-fire": 0.2},
    ),
))  # fmt: skip

TREES = (PREHEAT_SLOW, PREHEAT_STALLED, HEATER_STUCK_ON, OIL_OVERTEMPERATURE)
