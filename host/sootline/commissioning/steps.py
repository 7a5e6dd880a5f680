"""What to do at commissioning, in order; what each step asks for; and which verdicts wait for it."""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["number", "numbers", "text", "choice"]
TRADE_CAUTION = (
    "Mains and burner-cabinet work: licensed electrician or qualified technician only. Isolate, lock out, prove dead."
)
OIL_CAUTION = "Spill tray, gloves, no flame near; stay with it. Hot oil burns."


@dataclass(frozen=True, slots=True)
class Field:
    """One value a step asks for. `live`: the entry's own channel can fill it in."""

    name: str
    kind: Kind
    ask: str
    unit: str = ""
    live: bool = False
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """One step. `per` names what it is repeated for: nothing, a channel, or a load's channel."""

    key: str
    title: str
    how: str
    caution: str
    fields: tuple[Field, ...]
    per: Literal["", "channel"] = ""
    channels: tuple[str, ...] = ()
    yearly: bool = False
    qualified: bool = False


@dataclass(frozen=True, slots=True)
class Need:
    """A step a verdict waits for, for one channel where the step is repeated per channel."""

    step: str
    channel: str = ""
    or_step: str = ""


TEMPERATURES = ("tank", "nozzle", "stack", "return_air", "supply_air", "supply")
BOILED = ("nozzle", "stack")
STATES = ("pump", "float", "call", "burner", "tank_heater", "nozzle_heater")
_SENSOR = Field("sensor", "choice", "kind of probe", choices=("thermocouple", "pt1000", "1-wire"))

STEPS: tuple[Step, ...] = (
    Step(
        "bench",
        "Bench test",
        "On the bench, no burner near: short and open each input in turn; only the named channel may change. All "
        "inputs off must read off, all on read on. Then leave it running for 24 hours.",
        "Extra-low voltage only: nothing is connected to the furnace yet.",
        (
            Field("wrong_inputs", "number", "inputs that changed another channel"),
            Field("hours", "number", "length of the soak", "h"),
            Field("resets", "number", "resets during the soak"),
            Field("faults", "number", "sensor faults during the soak"),
            Field("rssi", "number", "weakest Wi-Fi signal", "dBm"),
        ),
    ),
    Step(
        "ice_point",
        "Ice point",
        "Crushed ice of clean water, drained so that no ice floats, probe 50 mm deep, stir for 5 minutes, then read.",
        "Wet hands: keep mains adapters away from the bath.",
        (_SENSOR, Field("reading_C", "number", "reading in ice", "°C", live=True)),
        per="channel",
        channels=TEMPERATURES,
        yearly=True,
    ),
    Step(
        "boiling_point",
        "Boiling point",
        "Probe in the steam just above, or in, a rolling boil, not touching the pot. Use the pressure at your own"
        " height, not the sea-level pressure of the weather report. Probes of the 1-Wire kind are not boiled: "
        "compare in a warm bath instead.",
        "Steam and boiling water scald: gloves, and a stable pot.",
        (
            Field("ice_C", "number", "reading in ice, from the step before", "°C"),
            Field("reading_C", "number", "reading at the boil", "°C", live=True),
            Field("station_hPa", "number", "air pressure at the station", "hPa"),
        ),
        per="channel",
        channels=BOILED,
    ),
    Step(
        "bath",
        "Warm bath",
        "Probe and a reference thermometer together in a stirred bath at 50 to 60 °C.",
        "Hot water or oil burns.",
        (
            _SENSOR,
            Field("reading_C", "number", "reading in the bath", "°C", live=True),
            Field("reference_C", "number", "reference thermometer", "°C"),
        ),
        per="channel",
        channels=TEMPERATURES,
    ),
    Step(
        "swap_test",
        "Swap test",
        "Two probes of one kind in one bath of 50 to 60 °C: read both, exchange them at the terminals, read again."
        " Where the kinds differ, compare each with a reference in the bath instead.",
        "Hot water or oil burns.",
        (
            Field("other_channel", "text", "the second channel"),
            Field("first_C", "numbers", "first and second probe, each on its own channel", "°C"),
            Field("swapped_C", "numbers", "first and second probe, exchanged", "°C"),
        ),
        per="channel",
        channels=TEMPERATURES,
    ),
    Step(
        "stack_reference",
        "Stack against a reference",
        "Steady fire at working heat: reference thermometer in the technician's test hole, read both. A "
        "difference over 5 K is written down and looked into, never corrected away.",
        "Hot flue: gloves, and let the technician do it.",
        (
            Field("reading_C", "number", "reading of the stack probe", "°C", live=True),
            Field("reference_C", "number", "reference thermometer", "°C"),
        ),
        per="channel",
        channels=("stack",),
        qualified=True,
    ),
    Step(
        "probe_geometry",
        "Probe geometry",
        "Measure the depth in the medium, the distance to breech and damper, mark the collar, take a photo. A "
        "probe that is moved later needs a new baseline.",
        "Hot flue: wait until it is cold.",
        (
            Field("insertion_mm", "number", "depth in the medium", "mm"),
            Field("distances", "text", "distances to breech, damper, heater"),
            Field("serial", "text", "serial or mark of the probe"),
            Field("photo", "text", "where the photo is kept"),
        ),
        per="channel",
        channels=("tank", "nozzle", "stack", "return_air"),
    ),
    Step(
        "refill_delivery",
        "Refill delivery",
        "Discharge into a measuring jug of 2 litres or more, 60 seconds in all, over several runs if the limiter "
        "stops the pump. Once with cold oil, once warm.",
        OIL_CAUTION,
        (
            Field("volume_l", "number", "oil caught", "l"),
            Field("time_s", "number", "time the pump ran", "s"),
            Field("runs", "number", "number of runs"),
            Field("oil_C", "number", "oil at the pump", "°C"),
            Field("pump_A", "number", "current of the pump", "A"),
        ),
    ),
    Step(
        "float_travel",
        "Float differential",
        "Refill pump off. Drain by jug from the float's stopping to call until it calls again, three times.",
        OIL_CAUTION,
        (Field("volumes_l", "numbers", "oil drained, each time", "l"),),
    ),
    Step(
        "air_flow",
        "Air pressure against oil flow",
        "Technician, inside the burner's rating: at three settings of the approved band, time 0.5 to 1 litre from"
        " a graduated vessel at a steady nozzle temperature.",
        TRADE_CAUTION,
        (
            Field("pressures_kPa", "numbers", "air pressure at each setting", "kPa"),
            Field("flows_l_per_h", "numbers", "oil flow at each setting", "l/h"),
            Field("nozzle_C", "number", "nozzle temperature", "°C"),
            Field("oil", "text", "which oil"),
        ),
        qualified=True,
    ),
    Step(
        "senses",
        "Current and voltage senses",
        "For each load: read the pin on, then off with the real load, then off with the load unplugged (a leaking"
        " solid-state relay shows here).",
        TRADE_CAUTION,
        (
            Field("on_V", "number", "pin with the load on", "V"),
            Field("off_V", "number", "pin with the load off", "V"),
            Field("unplugged_V", "number", "pin with the load off and unplugged", "V"),
        ),
        per="channel",
        channels=STATES,
        yearly=True,
        qualified=True,
    ),
    Step(
        "combustion",
        "Combustion set-up",
        "Qualified technician, after cleaning: draft, oxygen or carbon dioxide, smoke spot, carbon monoxide, net stack "
        "temperature.",
        "Burner adjustment: qualified technician only. CO alarms in place first.",
        (
            Field("draft_breech_Pa", "number", "draft at the breech", "Pa"),
            Field("oxygen_pct", "number", "oxygen in the dry gas", "%"),
            Field("smoke_spot", "number", "smoke spot number"),
            Field("co_ppm", "number", "carbon monoxide, air-free", "ppm"),
            Field("net_stack_K", "number", "net stack temperature", "K"),
        ),
        qualified=True,
    ),
    Step(
        "baseline",
        "Clean baseline",
        "After cleaning, same fuel: five firings of 20 minutes or more. Net stack temperature at minute 15 to 20 "
        "of each. Again after every cleaning, probe move, nozzle or fuel change.",
        "Let the furnace run as it always does; change nothing for the test.",
        (
            Field("net_K", "numbers", "net stack temperature of each firing", "K"),
            Field("firing_min", "numbers", "length of each firing", "min"),
            Field("fuel", "text", "which oil"),
            Field("outdoor_C", "number", "outdoor temperature", "°C"),
        ),
        yearly=True,
    ),
)

BY_KEY: dict[str, Step] = {step.key: step for step in STEPS}

_STACK = (
    Need("ice_point", "stack"),
    Need("boiling_point", "stack"),
    Need("probe_geometry", "stack"),
    Need("ice_point", "return_air"),
    Need("swap_test", "return_air", or_step="bath"),
)
NEEDS: dict[str, tuple[Need, ...]] = {
    "stack-rising": (*_STACK, Need("combustion"), Need("baseline")),
    "stack-step": (*_STACK, Need("baseline")),
    "stack-low": _STACK,
    "refill-slowing": (Need("senses", "pump"), Need("refill_delivery")),
    "oil-use-high": (Need("senses", "pump"), Need("float_travel")),
    "preheat-slow": (Need("ice_point", "tank"), Need("ice_point", "nozzle")),
    "overfiring": (Need("air_flow"), Need("float_travel")),
}
"""Alarm id of each trend verdict to the steps it waits for. Limit alarms wait for none."""


def unlocks(key: str) -> tuple[str, ...]:
    """The verdicts that wait for a step."""
    return tuple(verdict for verdict, needs in NEEDS.items() if any(key in (need.step, need.or_step) for need in needs))
