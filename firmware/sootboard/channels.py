"""Channels a board can publish, with unit and decimals. Positions are stored on flash: append only."""

# name, SenML unit, decimals kept (values travel as integers of 10**-decimals)
NUMERIC = (
    ("tank", "Cel", 2),
    ("nozzle", "Cel", 2),
    ("stack", "Cel", 2),
    ("return_air", "Cel", 2),
    ("supply_air", "Cel", 2),
    ("room", "Cel", 2),
    ("outdoor", "Cel", 2),
    ("combustion_air", "Cel", 2),
    ("supply", "Cel", 2),
    ("air_pressure", "Pa", 0),
    ("suction", "Pa", 0),
    ("draft_fire", "Pa", 1),
    ("draft_breech", "Pa", 1),
    ("supply_level", "/", 4),
    ("tank_level", "/", 4),
    ("tank_heater_current", "A", 2),
    ("nozzle_heater_current", "A", 2),
)

SWITCHED = (
    "pump",
    "float",
    "refill_lockout",
    "call",
    "burner",
    "flame",
    "lockout",
    "limit",
    "tank_heater",
    "nozzle_heater",
    "low_level",
    "high_level",
    "leak",
    "circulation",
    "blower",
    "power",
)

# Switched channels whose seconds on since boot travel as the SenML sum.
SUMMED = ("pump", "burner", "tank_heater", "nozzle_heater")

# A supply that is simply present is not activity.
PASSIVE = ("power",)

FAULTS = ("", "open", "short", "range", "crc", "absent")

NUMERIC_INDEX = {}
for _i, _row in enumerate(NUMERIC):
    NUMERIC_INDEX[_row[0]] = _i
SWITCHED_INDEX = {}
for _i, _name in enumerate(SWITCHED):
    SWITCHED_INDEX[_name] = _i


def scaled(name, value):
    """`value` in the channel's unit as the integer that is stored and sent."""
    scale = 10 ** NUMERIC[NUMERIC_INDEX[name]][2]
    # floor(x + 1/2), since round() differs between interpreters
    shifted = value * scale + 0.5
    whole = int(shifted)
    return whole - 1 if shifted < whole else whole
