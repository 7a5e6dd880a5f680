"""Channels a board can publish, with unit and decimals. Positions are stored on flash: append only."""

# SenML unit, decimals kept (values travel as integers of 10**-decimals)
_TEMPERATURE = ("Cel", 2)
_PRESSURE = ("Pa", 0)
_DRAFT = ("Pa", 1)
_LEVEL = ("/", 4)
_CURRENT = ("A", 2)

NUMERIC = (
    ("tank", _TEMPERATURE),
    ("nozzle", _TEMPERATURE),
    ("stack", _TEMPERATURE),
    ("return_air", _TEMPERATURE),
    ("supply_air", _TEMPERATURE),
    ("room", _TEMPERATURE),
    ("outdoor", _TEMPERATURE),
    ("combustion_air", _TEMPERATURE),
    ("supply", _TEMPERATURE),
    ("air_pressure", _PRESSURE),
    ("suction", _PRESSURE),
    ("draft_fire", _DRAFT),
    ("draft_breech", _DRAFT),
    ("supply_level", _LEVEL),
    ("tank_level", _LEVEL),
    ("tank_heater_current", _CURRENT),
    ("nozzle_heater_current", _CURRENT),
)

_PUMP = "pump"
_BURNER = "burner"
_TANK_HEATER = "tank_heater"
_NOZZLE_HEATER = "nozzle_heater"
_POWER = "power"

SWITCHED = (
    _PUMP,
    "float",
    "refill_lockout",
    "call",
    _BURNER,
    "flame",
    "lockout",
    "limit",
    _TANK_HEATER,
    _NOZZLE_HEATER,
    "low_level",
    "high_level",
    "leak",
    "circulation",
    "blower",
    _POWER,
)

# Switched channels whose seconds on since boot travel as the SenML sum.
SUMMED = (_PUMP, _BURNER, _TANK_HEATER, _NOZZLE_HEATER)

# A supply that is simply present is not activity.
PASSIVE = (_POWER,)

FAULTS = ("", "open", "short", "range", "crc", "absent")


def numeric(name):
    """Position in NUMERIC; None where the channel is not one of it."""
    for i, row in enumerate(NUMERIC):
        if row[0] == name:
            return i
    return None


def switched(name):
    """Position in SWITCHED; None where the channel is not one of it."""
    return SWITCHED.index(name) if name in SWITCHED else None


def scaled(i, value):
    """`value` in the unit of the channel at position `i` in NUMERIC, as the integer that is stored and sent."""
    scale = 10 ** NUMERIC[i][1][1]
    # floor(x + 1/2), since round() differs between interpreters
    shifted = value * scale + 0.5
    whole = int(shifted)
    return whole - 1 if shifted < whole else whole
