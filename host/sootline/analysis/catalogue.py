"""The alarms: hazard, first step, time to act, what they read, and which stand under which."""

from dataclasses import dataclass

from sootline.alarms import Hazard


@dataclass(frozen=True, slots=True)
class AlarmKind:
    """latched: stays on the list, gone or not, until a person has seen it
    reads: channels whose loss makes the alarm untrustworthy ("*": the alarm's own channel)
    number: the detail that says how bad it is, where there is one that grows while the alarm stands"""

    id: str
    hazard: Hazard
    act_within_min: float
    first_step: str
    reads: tuple[str, ...] = ()
    latched: bool = False
    number: str = ""


_KINDS = (
    AlarmKind("refill-timeout", "none", 40, "Look at the supply level and the filter bowl; mend the cause, then push the refill reset once.", ("pump",)),
    AlarmKind("pump-overrun", "spill", 1, "Switch the furnace off if you can reach the switch without stepping in oil; shut the supply valve. Do not reset.", ("pump",), latched=True),
    AlarmKind("refill-overdue", "none", 30, "Check the oil in the day tank by eye, then the float and whether the refill limiter has latched out.", ("pump",)),
    AlarmKind("refill-slowing", "none", 1440, "Look at the refill filter and strainer on the next visit.", ("pump",), number="slower_ratio"),
    AlarmKind("refill-without-burning", "spill", 30, "Switch off and look for oil: drip tray, loop fittings, then the chamber.", ("pump",)),
    AlarmKind("float-chatter", "none", 240, "Look at the float switch for dirt, foam or a loose wire.", ("pump",)),
    AlarmKind("oil-use-high", "spill", 240, "Look for a leak first, then ask whether nozzle or air was changed.", ("pump",), number="use_ratio"),
    AlarmKind("preheat-slow", "none", 240, "With the power off, check the heater's element and relay; is the loop pump turning?", ("*",)),
    AlarmKind("preheat-stalled", "none", 60, "See whether the day tank is low; then, power off, check heater, fuse and cut-out. Find out why before resetting one.", ("*",)),
    AlarmKind("heater-stuck-on", "fire", 5, "Switch off at the breaker; the thermostat will not help. Smoke: leave and call the fire service.", ("*",), latched=True),
    AlarmKind("oil-overtemperature", "fire", 5, "Switch off at the breaker and let it cool. Smoke: leave and call the fire service.", ("*",), latched=True),
    AlarmKind("ignition-failure", "fire", 60, "Do not reset yet: look in the chamber for pooled oil, door open, standing aside.", ("stack",)),
    AlarmKind("ignition-delayed", "fire", 1440, "Have electrodes and nozzle cleaned and gapped; a puff or soot on the floor: stop using it.", ("stack",), number="late_s"),
    AlarmKind("lockout", "fire", 60, "Look in the chamber for pooled oil before anything. One primary reset at most.", ("lockout",)),
    AlarmKind("flame-loss", "none", 60, "Check atomising air and look for water in the oil.", ("stack",)),
    AlarmKind("no-heat", "none", 120, "See what it waits for: call, limit, warm oil, air; then whether the limiter or the control has locked out.", ()),
    AlarmKind("stack-high", "fire", 5, "Turn the thermostat down and stop it; do not watch it. Then, power off and cool, look at blower, nozzle and ash.", ("stack",), latched=True),
    AlarmKind("stack-rising", "none", 10080, "Plan a cleaning; choose a mild day.", ("stack",), number="rise_now_K"),
    AlarmKind("stack-step", "none", 1440, "Ask what changed: air, nozzle, oil, draft or blower. Have a combustion test done.", ("stack",)),
    AlarmKind("stack-low", "none", 1440, "Check nozzle and oil flow; look for rust or wet soot in the flue when cool.", ("stack",)),
    AlarmKind("heat-without-call", "fire", 5, "Switch off and shut the oil valve. Stack hot with the burner off: close the air and call the fire service.", ("stack",), latched=True),
    AlarmKind("limit-open", "none", 60, "Check blower, belt and air filters.", ("limit",)),
    AlarmKind("short-cycling", "none", 1440, "Check the thermostat and the air filters.", ("stack",)),
    AlarmKind("overfiring", "fire", 240, "Check that the nozzle is the right one; have a combustion test done.", ("pump",), number="input_ratio"),
    AlarmKind("air-pressure", "none", 60, "Look at compressor, regulator and water drain.", ("air_pressure",)),
    AlarmKind("supply-low", "none", 1440, "Fetch oil or change barrels.", ("supply_level",)),
    AlarmKind("leak", "spill", 5, "Switch off, shut the supply valve, keep flames away, use absorbent.", ("leak",), latched=True),
    AlarmKind("freeze-risk", "none", 120, "Bring other heat, or drain what can freeze.", ("room",)),
    AlarmKind("sensor-fault", "none", 1440, "Check the probe, its plug and its lead.", ()),
    AlarmKind("board-offline", "none", 120, "Check the board's power supply and the Wi-Fi.", ()),
    AlarmKind("service-due", "none", 10080, "Do the service on the next visit and log it.", ()),
)  # fmt: skip

KINDS: dict[str, AlarmKind] = {kind.id: kind for kind in _KINDS}

NEVER_SUPPRESSED = frozenset({"leak", "stack-high", "oil-overtemperature", "pump-overrun", "heat-without-call"})

_NO_OIL = ("preheat-slow", "preheat-stalled", "ignition-failure", "flame-loss", "lockout", "no-heat")

SERVICE_MODE = "service-mode"  # what stands as the cause of an alarm that came up while somebody worked on the furnace

# cause -> the consequences that stand under it. `sensor-fault` (whatever reads that channel) is decided in `book`.
HIDES: dict[str, tuple[str, ...]] = {
    "board-offline": tuple(k.id for k in _KINDS if k.id != "board-offline" and k.id not in NEVER_SUPPRESSED),
    "pump-overrun": ("refill-timeout", "refill-overdue", "refill-slowing", "refill-without-burning", "oil-use-high"),
    "refill-timeout": ("refill-overdue", *_NO_OIL),
    "refill-overdue": _NO_OIL,
    "air-pressure": ("flame-loss", "ignition-failure", "stack-step"),
    "lockout": ("no-heat", "ignition-failure", "flame-loss"),
    "limit-open": ("short-cycling",),
}
# these causes starve the fire only once the day tank has run low
ONLY_WHEN_LOW = frozenset({"refill-timeout", "refill-overdue"})
