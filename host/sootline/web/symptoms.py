"""What a person sees, smells, hears or feels at a furnace, what to do at once, and which causes to look for then.

No sensor is needed for any of it. What to do first is common practice; order and warnings follow the NORA Oilheat
Technicians Manual: exhaust in the room and burning soot are for the fire service, pooled oil and puffs end the use.
"""

from dataclasses import dataclass

from sootline.alarms import Hazard

OUT = "Everybody out, then call the fire service from outside. Switch it off only if the switch is on your way."


@dataclass(frozen=True, slots=True)
class Symptom:
    """first: what to do at once, one line each; hazard: the caution; then: (alarm, words) whose causes come next.

    Without `then` nobody looks for a cause here: it is for the fire service and somebody licensed.
    """

    id: str
    title: str
    first: tuple[str, ...]
    hazard: Hazard = "none"
    then: tuple[tuple[str, str], ...] = ()


_ALL = (
    Symptom(
        "smoke-in-room", "Smoke or exhaust in the room, a CO alarm, or headaches",
        (OUT, "Carbon monoxide has no smell and comes without smoke, too: a headache or the CO alarm is enough.",
         "Leave it off until somebody licensed has tested heat exchanger, flue and draft."),
        "co",
    ),
    Symptom(
        "flue-fire", "Roaring or sparks from the chimney, or a hot stack with the burner off",
        ("Soot may burn in the flue: shut the furnace off, close its air, leave, call the fire service.",
         "Have the flue looked at by somebody licensed before there is a fire under it."),
        "fire",
    ),
    Symptom(
        "oil-smell", "Smell of oil, or oil where it should not be",
        ("Switch off at the breaker if you can reach it dry; shut the supply valve; keep flames away.",
         "Hands off while it is hot; then absorbent, and local law says who must hear of a spill."),
        "spill",
        (("leak", "Oil in the tray or on the floor"), ("refill-without-burning", "No oil to be seen, but it smells"),
         ("pump-overrun", "The refill pump runs on and on"), ("oil-overtemperature", "It smells of hot oil")),
    ),
    Symptom(
        "burning-smell", "Smell of burning, or something far too hot",
        ("Switch off at the breaker; the thermostat will not help.", "Any smoke: leave and call the fire service."),
        "fire",
        (("heater-stuck-on", "A heater, its wires or its relay"), ("oil-overtemperature", "The oil"),
         ("stack-high", "The stack, or the furnace itself"), ("heat-without-call", "It burns though nobody asked")),
    ),
    Symptom(
        "puff", "A puff or bang as it lights, or soot on the floor",
        ("Stop using it: switch it off and shut the oil valve. The next one can blow doors and soot out.",),
        "fire",
        (("ignition-delayed", "It lights late"), ("ignition-failure", "It lit only at a later try"),
         ("air-pressure", "The atomising air is off")),
    ),
    Symptom(
        "smoke-at-chimney", "Smoke from the chimney, or a smoke test that got worse",
        ("Thick or lasting smoke: turn the thermostat down and stop it; smoke leaves soot, and soot chokes the draft.",
         "Only a combustion test tells how it burns: have one done. A fire without smoke can make carbon monoxide."),
        "co",
        (("air-pressure", "Air gauge off: coarse spray"), ("ignition-delayed", "Oil cold or thick, nozzle dirty"),
         ("stack-rising", "Stack hotter for weeks: ash, weak draft"), ("overfiring", "Another nozzle, or more oil"),
         ("stack-low", "Stack cooler: nozzle plugging"), ("flame-loss", "It spits and goes out: water")),
    ),
    Symptom(
        "cold", "It is cold: no heat, or too little",
        ("See whether the thermostat calls and the service switch is on.",),
        "none",
        (("no-heat", "It does nothing, or I do not know"), ("ignition-failure", "It tries and does not light"),
         ("lockout", "The red lamp or button: locked out"), ("flame-loss", "It lights and goes out"),
         ("preheat-stalled", "The oil does not get warm"), ("refill-timeout", "The day tank gets no oil"),
         ("limit-open", "It burns, but little warm air comes"), ("short-cycling", "It starts and stops all the time")),
    ),
    Symptom(
        "never-stops", "It burns though nobody called for heat",
        ("Switch off and shut the oil valve.",),
        "fire",
        (("heat-without-call", "Look for the cause"),),
    ),
    Symptom(
        "pump-noise", "The refill pump sounds wrong, runs long or starts over and over",
        ("Look for oil on the floor first.",),
        "spill",
        (("pump-overrun", "It does not stop"), ("refill-timeout", "It ran long and stopped by itself"),
         ("float-chatter", "It starts over and over"), ("refill-slowing", "It runs longer than it used to")),
    ),
)  # fmt: skip

SYMPTOMS: dict[str, Symptom] = {symptom.id: symptom for symptom in _ALL}
