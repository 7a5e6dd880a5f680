"""Plain trade words for everything people read: phases, alarms, hazards, priorities, channels, numbers with units.

Two rules hold for every text here: nothing ever says that a furnace is safe to run, and nothing ever advises a
setting of air or oil. The first step of an alarm comes from its record, not from here.
"""

from dataclasses import dataclass
from datetime import datetime

from sootline.alarms import Hazard, Priority
from sootline.now import Phase
from sootline.units import System, channel_value, duration, show

NOTHING_WRONG = "Nothing wrong seen by these sensors"
CO_NOTICE = "There is no room CO reading here on purpose: fit listed CO alarms."
WATCHES_ONLY = (
    "sootline only watches. It does not replace the primary control, the high limit, the over-temperature cut-out, "
    "the overflow or the CO alarm."
)


@dataclass(frozen=True, slots=True)
class PhaseWords:
    """word: what it does now; meaning: one sentence; look: which colour and shape stand for it."""

    word: str
    meaning: str
    look: str


PHASES: dict[Phase, PhaseWords] = {
    "off": PhaseWords("Switched off", "No mains after the service switch.", "off"),
    "standby": PhaseWords("Waiting", "No call for heat.", "idle"),
    "preheat": PhaseWords("Warming oil", "The oil is heated before it is lit.", "warm"),
    "purge": PhaseWords("Purging", "Air only, before the flame.", "start"),
    "ignition": PhaseWords("Lighting", "Trial for ignition: spark and oil, flame not proved yet.", "start"),
    "firing": PhaseWords("Firing", "The flame is burning.", "fire"),
    "recycle": PhaseWords("Flame lost", "Waiting to try again by itself.", "stop"),
    "limit": PhaseWords("Held by high limit", "Heat is called for, but the high limit is open.", "stop"),
    "cool-down": PhaseWords("Cooling down", "The burner is off; heat is still being taken out.", "cool"),
    "lockout": PhaseWords("Locked out", "The primary safety control has stopped the burner.", "stop"),
    "service": PhaseWords("In service", "Somebody is working on it.", "work"),
    "unknown": PhaseWords("Not known", "The readings do not tell what it does.", "gone"),
}


SILENT = PhaseWords("Not known", "Nothing has been heard from it lately.", "gone")


@dataclass(frozen=True, slots=True)
class AlarmWords:
    """title: at most 40 characters, so that a furnace name and a time fit before and after it; meaning: at most 320."""

    title: str
    meaning: str


ALARMS: dict[str, AlarmWords] = {
    "refill-timeout": AlarmWords(
        "Refill stalled",
        "The refill pump ran its full time and the day tank is not full. The fire goes out when the oil in the day "
        "tank is used up.",
    ),
    "pump-overrun": AlarmWords(
        "REFILL PUMP WON'T STOP",
        "The refill pump runs past its limit, or the tank is already full. Oil may be spilling. A relay or the limiter "
        "has failed.",
    ),
    "refill-overdue": AlarmWords(
        "Refill overdue",
        "More oil has burned since the last refill than ever before between two. The float may hang, the limiter may "
        "be latched out, or the pump sensing may be broken.",
    ),
    "refill-slowing": AlarmWords(
        "Refills take longer and longer",
        "A refill takes more pump seconds than usual for oil this cold. That is the way a filter or strainer plugs, or "
        "air gets into the suction line.",
    ),
    "refill-without-burning": AlarmWords(
        "Oil refilled that was not burned",
        "The day tank was filled again although hardly anything burned. The oil went somewhere: a leak, a siphon, or a "
        "drip into the chamber.",
    ),
    "float-chatter": AlarmWords(
        "Refill pump starts over and over",
        "Very short pump runs close together. The float switch or its wiring makes and breaks.",
    ),
    "oil-use-high": AlarmWords(
        "Burns more oil than usual",
        "More refills per burning hour than usual. Either it fires harder than it did, or oil is lost on the way.",
    ),
    "preheat-slow": AlarmWords(
        "Oil warms up too slowly",
        "Warming takes much longer than its own heater, history and starting temperature say. An element, its supply "
        "or the oil loop may be failing.",
    ),
    "preheat-stalled": AlarmWords(
        "Oil does not warm up",
        "The heater should be on, but the oil stays cold. Element, fuse, cut-out, low oil or a displaced probe.",
    ),
    "heater-stuck-on": AlarmWords(
        "HEATER STUCK ON",
        "The oil keeps climbing although its heater should be off. A shorted relay heats on until something stops it; "
        "the thermostat cannot.",
    ),
    "oil-overtemperature": AlarmWords(
        "OIL TOO HOT",
        "The oil is above its limit. Hot oil gives off vapour that can burn, and hot oil burns skin.",
    ),
    "ignition-failure": AlarmWords(
        "Did not light",
        "The trial for ignition ended without a flame. Unburned oil may lie in the chamber.",
    ),
    "ignition-delayed": AlarmWords(
        "Lights late",
        "The flame comes later than it used to. A late light can end in a puff that blows soot and doors out.",
    ),
    "lockout": AlarmWords(
        "Locked out",
        "The primary control has stopped the burner and waits for a person. Every reset can put more unburned oil into "
        "the chamber.",
    ),
    "flame-loss": AlarmWords(
        "Flame lost",
        "The stack cooled as after a shut-down while the burner should be firing. Water, air or cold oil in the line, "
        "failing air pressure or a dirty flame detector do that.",
    ),
    "no-heat": AlarmWords(
        "No heat",
        "Heat has been called for a long time and no firing was proved, whatever the cause.",
    ),
    "stack-high": AlarmWords(
        "STACK TOO HOT",
        "The flue gas is above the limit of furnace or vent. Do not watch it: stop it, then find out why.",
    ),
    "stack-rising": AlarmWords(
        "Stack temperature keeps rising",
        "The stack runs hotter than it did, with weather taken out. Ash and soot on the heat exchanger do that, and "
        "draft falls with them.",
    ),
    "stack-step": AlarmWords(
        "Stack temperature jumped",
        "From one firing to the next the stack settled at another temperature. Air, nozzle, fuel, draft or blower "
        "changed; ash does not come in a day.",
    ),
    "stack-low": AlarmWords(
        "Stack too cold",
        "Flue gas this cool condenses: acid eats heat exchanger and vent. It may be underfired.",
    ),
    "heat-without-call": AlarmWords(
        "HEAT WITHOUT A CALL",
        "The stack is hot and nothing asked for heat. A relay may be welded, oil may burn on after shut-off, or soot "
        "may burn in the flue.",
    ),
    "limit-open": AlarmWords(
        "High limit opened",
        "The furnace got too hot inside while heat was called for. Too little air is moving: blower, belt or filters.",
    ),
    "short-cycling": AlarmWords(
        "Starts too often",
        "Short firings close together. Starts make soot and wear the igniter.",
    ),
    "overfiring": AlarmWords(
        "Fires above its rating",
        "It burns more oil than the furnace is rated for: wrong or worn nozzle, or pressure off. The heat exchanger "
        "suffers.",
    ),
    "air-pressure": AlarmWords(
        "Atomising air off",
        "The air that breaks up the oil is outside its band. Coarse spray smokes, lights late and loses the flame.",
    ),
    "supply-low": AlarmWords(
        "Supply tank runs low",
        "At the present rate the supply tank runs out within your notice. The pump must not draw air or dregs.",
    ),
    "leak": AlarmWords(
        "LIQUID IN THE DRIP TRAY",
        "The sensor in the drip tray or containment is wet. Oil may be on the floor.",
    ),
    "freeze-risk": AlarmWords(
        "Room may freeze",
        "At the rate it cools, the room reaches its freeze limit within your notice.",
    ),
    "sensor-fault": AlarmWords(
        "Sensor failed",
        "A reading cannot be believed any more. Every alarm that reads it is blind until it is put right.",
    ),
    "board-offline": AlarmWords(
        "No word from the board",
        "Nothing has been heard from the furnace for too long. What it does now is not known.",
    ),
    "service-due": AlarmWords(
        "Service due",
        "The hours or the oil you set for this job are used up.",
    ),
}

HAZARDS: dict[Hazard, str] = {
    "none": "",
    "fire": "Fire: if you see flames or smell burning, leave and call the fire service.",
    "spill": "Spill: look before you step; keep flame away; stop the oil at the valve only if you can reach it dry.",
    "co": "Exhaust in the room: a CO alarm or a headache means everybody out, then call the emergency services.",
    "burn": "Burns: hot oil and hot metal. Let it cool, and let the pressure off before you open anything.",
    "mains": "Mains: off at the breaker and proved dead by a competent person before hands go in.",
}

HAZARD_WORD: dict[Hazard, str] = {
    "none": "", "fire": "Fire", "spill": "Spill", "co": "Exhaust", "burn": "Burns", "mains": "Mains",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class PriorityWords:
    """word: for a person deciding whether to go; look: colour and shape."""

    word: str
    look: str


PRIORITY_WORDS: dict[Priority, PriorityWords] = {
    "critical": PriorityWords("Act now", "now"),
    "high": PriorityWords("Act soon", "act"),
    "medium": PriorityWords("Look today", "look"),
    "low": PriorityWords("Next round", "note"),
}

CHANNEL_LABELS: dict[str, str] = {
    "tank": "Day tank",
    "nozzle": "Nozzle oil",
    "stack": "Stack",
    "return_air": "Return air",
    "supply_air": "Warm air out",
    "room": "Room",
    "outdoor": "Outdoors",
    "combustion_air": "Combustion air",
    "supply": "Oil at the pump",
    "air_pressure": "Atomising air",
    "suction": "Pump suction",
    "draft_fire": "Over-fire draft",
    "draft_breech": "Breech draft",
    "supply_level": "Supply tank",
    "tank_level": "Day tank level",
    "tank_heater_current": "Day tank heater current",
    "nozzle_heater_current": "Nozzle heater current",
    "pump": "Refill pump",
    "float": "Float calls for oil",
    "refill_lockout": "Refill limiter latched",
    "call": "Call for heat",
    "burner": "Burner",
    "flame": "Flame seen",
    "lockout": "Primary lockout",
    "limit": "High limit open",
    "tank_heater": "Day tank heater",
    "nozzle_heater": "Nozzle heater",
    "low_level": "Day tank too low",
    "high_level": "Day tank above full",
    "leak": "Drip tray wet",
    "circulation": "Oil loop pump",
    "blower": "Warm-air fan",
    "power": "Mains after switch",
}

FAULT_WORDS: dict[str, str] = {
    "open": "probe circuit open",
    "short": "probe shorted",
    "range": "out of range",
    "crc": "garbled reading",
    "absent": "sensor not found",
}

LOG_WORDS: dict[str, str] = {
    "cleaning": "Cleaned heat exchanger",
    "filter": "Changed oil filter",
    "nozzle": "Changed nozzle",
    "electrodes": "Electrodes done",
    "batch": "New batch of oil",
    "setpoint": "Changed a set point",
    "shutter": "Moved the air shutter",
    "blower": "Worked on the blower",
    "repair": "Repaired something",
    "service": "Other service",
}

EVENT_WORDS: dict[str, tuple[str, str]] = {
    "refill": ("Refill", "Refills"),
    "preheat": ("Warm-up", "Warm-ups"),
    "firing": ("Firing", "Firings"),
}

# suffix of a key in `detail` or `features` -> quantity; longest first
_SUFFIXES: tuple[tuple[str, str], ...] = (
    ("_K_per_min", "rate"),
    ("_K_per_100h", "growth"),
    ("_l_per_h", "flow"),
    ("_kPa", "kilopascal"),
    ("_Pa", "pressure"),
    ("_kW", "heat input"),
    ("_min", "minutes"),
    ("_days", "days"),
    ("_ratio", "ratio"),
    ("_C", "temperature"),
    ("_K", "fine difference"),
    ("_W", "power"),
    ("_A", "current"),
    ("_h", "hours"),
    ("_l", "small volume"),
    ("_s", "seconds"),
)

_KEY_WORDS: dict[str, str] = {
    "on_time_s": "pump ran",
    "usual_on_time_s": "pump usually runs",
    "limit_s": "limiter stops it at",
    "dip_K": "tank temperature dip",
    "usual_dip_K": "usual dip",
    "fire_left_min": "fire left",
    "act_within_min": "act within",
    "waiting_min": "waiting for",
    "freeze_at": "room freezes about",
    "runs_out_at": "runs out about",
    "days_left_days": "left",
    "limit_in_days": "limiter reached in",
    "slower_ratio": "pump time against usual",
    "use_ratio": "oil use against usual",
    "input_ratio": "heat input against rated",
    "level_ratio": "contents",
    "resets_24h": "resets in 24 h",
    "do_not_reset": "do not reset again",
    "clean_by": "clean by",
    "clean_from": "earliest",
    "clean_to": "latest",
    "binding": "what comes first",
    "slope_K_per_100h": "rises, per 100 h of firing",
    "residual_sd_K": "scatter from day to day",
    "climb_K_per_min": "climbs",
    "took_min": "took",
    "predicted_min": "should take",
    "burned_s": "burned",
    "burned_h": "burned",
    "time_to_flame_s": "time to flame",
    "start_C": "from",
    "end_C": "to",
    "tank_C": "day tank before",
    "supply_C": "oil at the pump",
    "outdoor_C": "outdoors",
    "stalled": "stalled",
    "repeats": "times again since",
    "escalated": "got worse",
    "worsened": "a fifth worse",
    "blind_to": "blind to",
    "health": "sensor health",
}


def furnace_name(furnace: str) -> str:
    """`engine-shed` -> `Engine shed`."""
    words = furnace.replace("-", " ").strip() or furnace
    return words[0].upper() + words[1:]


def phase_words(phase: Phase) -> PhaseWords:
    return PHASES[phase]


def alarm_title(alarm: str) -> str:
    """The title of an alarm id; an id from a newer host reads as its own words."""
    return ALARMS[alarm].title if alarm in ALARMS else furnace_name(alarm)


def alarm_meaning(alarm: str) -> str:
    return ALARMS[alarm].meaning if alarm in ALARMS else ""


def channel_label(channel: str) -> str:
    return CHANNEL_LABELS.get(channel, furnace_name(channel.replace("_", "-")))


def need_words(needs: str | None) -> str:
    """What would open the eyes of a blind alarm: a channel, or a key of the profile."""
    if needs is None:
        return "more readings"
    if needs in CHANNEL_LABELS:
        return f"a sensor for: {CHANNEL_LABELS[needs].lower()} ({needs})"
    return f"{needs} in the profile" if "." in needs else needs


def _split(key: str) -> tuple[str, str | None]:
    for suffix, quantity in _SUFFIXES:
        if key.endswith(suffix) and len(key) > len(suffix):
            return key[: -len(suffix)], quantity
    return key, None


def key_words(key: str) -> str:
    """The words of a key in `detail` or `features`: `fire_left_min` -> `fire left`."""
    if key in _KEY_WORDS:
        return _KEY_WORDS[key]
    if key.removesuffix("_end") in CHANNEL_LABELS:
        return f"{CHANNEL_LABELS[key.removesuffix('_end')].lower()} at the end"
    return _split(key)[0].replace("_", " ")


def key_value(key: str, value: object, system: System) -> str:
    """The value of such a key as people read it, with its unit; the unit is in the key.

    Times in ISO 8601 come back as they are: only the caller knows the zone.
    """
    if value is None:
        return "not measured"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return ", ".join(alarm_title(str(item)) if str(item) in ALARMS else str(item) for item in value)
    if not isinstance(value, int | float):
        return FAULT_WORDS.get(str(value)) or CHANNEL_LABELS.get(str(value), str(value))
    if key.removesuffix("_end") in CHANNEL_LABELS:
        return str(channel_value(key.removesuffix("_end"), float(value), system))
    quantity = _split(key)[1]
    if quantity == "kilopascal":
        return show(value * 1000, "pressure", system)
    if quantity in ("minutes", "hours", "days"):
        seconds = value * {"minutes": 60, "hours": 3600, "days": 86400}[quantity]
        return duration(seconds)
    if quantity == "growth":
        return show(value, "difference", system)
    if quantity is None:
        return f"{value:g}"
    return show(value, quantity, system)


def is_time(value: object) -> bool:
    """Whether a value is a date or moment in ISO 8601."""
    if not isinstance(value, str) or len(value) < 10:
        return False
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return False
    return True
