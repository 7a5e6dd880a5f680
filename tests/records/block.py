"""Blocks: recipes drawn by the dozen from one seed, two in five of them without any fault.

A recipe depends on its block's seed and its own number alone:
``python -m tests.records.write DIR --block SEED --count N``.
"""

from __future__ import annotations

import datetime as dt
import random
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tests.records import events as e
from tests.records import faults_fire as f
from tests.records import faults_oil as o
from tests.records.oil import OILS
from tests.records.record import Recipe
from tests.records.story import DAY, Story

Happening = Callable[[Story], None]
NAME = re.compile(r"b(\d+)-(\d+)-[a-z-]+")
REFILL = ("refill_lockout", "low_level")
FLAME = ("burner", "flame", "lockout")
# what an owner changes over to, from his oil: one grade away
NEXT_OIL = {
    "hydraulic-32": "hydraulic-46",
    "hydraulic-46": "engine-thin",
    "engine-thin": "hydraulic-68",
    "hydraulic-68": "engine-mixed",
    "engine-mixed": "hydraulic-68",
    "gear-hydraulic": "engine-mixed",
    "gear-150": "gear-hydraulic",
    "transmission": "hydraulic-32",
}


@dataclass
class Draw:
    """A fault drawn: what happens, what must hold of the furnace, from when to when [days]."""

    happenings: list[Happening]
    start: float
    end: float
    fixed: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Kind:
    """A fault that can be drawn: record length [days], how, and what else the record may be.

    ``even``: an even table can show it. ``bare``: it can be seen without any profile. ``wide``: must have the full one.
    """

    days: tuple[float, float]
    draw: Callable[[random.Random, float], Draw]
    even: bool = True
    bare: bool = False
    wide: bool = False


def does(function: Callable[..., None], *args: Any, **more: Any) -> Happening:
    """A happening with its particulars filled in."""

    def happen(story: Story) -> None:
        function(story, *args, **more)

    return happen


def _onset(dice: random.Random, days: float, evening: bool = False, first: float = 7.0, left: float = 3.0) -> float:
    day = dice.uniform(first, max(first + 0.5, days - left))
    return int(day) + dice.uniform(0.82, 0.97) if evening else day


def hours(
    function: Callable[..., None],
    span: tuple[float, float],
    *args: Any,
    evening: bool = False,
    need: tuple[str, ...] = (),
    **fixed: Any,
) -> Callable[[random.Random, float], Draw]:
    """Draw a sudden fault repaired after some hours; a pair of numbers in ``args`` is drawn between them."""

    def draw(dice: random.Random, days: float) -> Draw:
        day, long = _onset(dice, days, evening), dice.uniform(*span)
        return Draw(
            [does(function, day, long, *_between(dice, args))], day, day + long / 24.0, _wired(dice, need, fixed)
        )

    return draw


def lasting(
    function: Callable[..., None],
    first: tuple[float, float],
    span: tuple[float, float],
    *args: Any,
    need: tuple[str, ...] = (),
    **fixed: Any,
) -> Callable[[random.Random, float], Draw]:
    """Draw a fault that begins after its usual is learned, at a day of ``first``, and goes on for some days."""

    def draw(dice: random.Random, days: float) -> Draw:
        day = dice.uniform(*first)
        long = min(dice.uniform(*span), days - day - 0.5)
        return Draw([does(function, day, long, *_between(dice, args))], day, day + long, _wired(dice, need, fixed))

    return draw


def _between(dice: random.Random, args: tuple[Any, ...]) -> list[Any]:
    return [dice.uniform(*a) if isinstance(a, tuple) else a for a in args]


def _wired(dice: random.Random, need: tuple[str, ...], fixed: dict[str, Any]) -> dict[str, Any]:
    """What must hold of the plant; its owner has wired the telling contacts more often than not."""
    pairs = {name for name, value in fixed.items() if isinstance(value, tuple) and isinstance(value[0], float)}
    drawn = {name: dice.uniform(*value) if name in pairs else value for name, value in fixed.items()}
    return drawn | ({"must_have": need} if need and dice.random() < 0.7 else {})


def _ignition(cause: str) -> Callable[[random.Random, float], Draw]:
    def draw(dice: random.Random, days: float) -> Draw:
        day, long = _onset(dice, days), dice.uniform(4.0, 12.0)
        happening = does(f.no_ignition, day, long, cause, dice.choice([0, 1, 1, 2]))
        return Draw([happening], day, day + long / 24.0, _wired(dice, FLAME, {}))

    return draw


def _water(dice: random.Random, days: float) -> Draw:
    day = _onset(dice, days)
    happening = does(f.water_slugs, day, dice.randint(2, 6), dice.uniform(8.0, 25.0))
    return Draw([happening], day, day + 2.0, _wired(dice, FLAME, {}))


def _loop_leak(dice: random.Random, days: float) -> Draw:
    day = dice.uniform(11.0, 14.0)
    return Draw([does(o.loop_leak, day, dice.uniform(0.22, 0.4))], day, days)


def _supply(dice: random.Random, days: float) -> Draw:
    fixed = {"rated_kW": dice.uniform(40.0, 55.0), "supply_l": 620.0, "load": 0.6, "must_have": ("supply_level",)}
    return Draw([does(o.supply_runs_low, 5.0, 27.0)], 5.0, 32.0, fixed)


def _wrong_nozzle(dice: random.Random, days: float) -> Draw:
    day, long = dice.uniform(11.0, 14.0), dice.uniform(5.0, 9.0)
    happening = does(f.nozzle, day, long, dice.uniform(1.22, 1.4), "wrong-nozzle", False, 1.05)
    return Draw([happening], day, day + long, {"stack_C": dice.uniform(200.0, 250.0)})


def _plugged_nozzle(dice: random.Random, days: float) -> Draw:
    day = dice.uniform(12.0, 15.0)
    happening = does(f.nozzle, day, 99.0, dice.uniform(0.6, 0.74), "nozzle-plugged")
    return Draw([happening], day, days, {"stack_C": dice.uniform(188.0, 260.0)})


def _shutter(dice: random.Random, days: float) -> Draw:
    day = dice.uniform(12.0, 15.0)
    share = dice.choice([dice.uniform(0.68, 0.78), dice.uniform(1.3, 1.45)])
    return Draw([does(f.shutter, day, 99.0, share)], day, days)


def _hot(dice: random.Random, days: float) -> Draw:
    day, long = _onset(dice, days), dice.uniform(5.0, 10.0)
    stack = dice.uniform(265.0, 300.0)
    fixed = {"stack_C": stack, "stack_limit_C": round(stack + 42.0), "load": 0.7}
    return Draw([does(f.too_hot, day, long)], day, day + long / 24.0, fixed)


def _ash(dice: random.Random, days: float) -> Draw:
    cleaned = days - dice.uniform(2.5, 5.0) if dice.random() < 0.3 else None
    fixed = {"ash_K_100h": dice.uniform(10.0, 26.0), "load": dice.uniform(0.5, 0.7)}
    return Draw([does(f.ash, cleaned)], 0.0, days, fixed)


def _rest_weld(dice: random.Random, days: float) -> Draw:
    day, long = _onset(dice, days, evening=True), dice.uniform(3.0, 6.0)
    fixed = {"keep_warm": dice.random() < 0.5, "setback": True, "january_C": dice.uniform(-2.0, 3.0)}
    return Draw([does(f.burner_weld, day, long, True)], day, day + long / 24.0, fixed)


def _control(dice: random.Random, days: float) -> Draw:
    day, long = _onset(dice, days), dice.uniform(8.0, 30.0)
    happenings = [does(f.dead_primary, day, long)]
    if dice.random() < 0.5:
        happenings.append(does(e.cold_snap, day - 1.0, 4.0, dice.uniform(-12.0, -6.0)))
    return Draw(happenings, day, day + long / 24.0, {"freeze_C": float(dice.choice([3.0, 5.0, 6.0]))})


def _probe(channels: tuple[str, ...], kinds: tuple[str, ...]) -> Callable[[random.Random, float], Draw]:
    def draw(dice: random.Random, days: float) -> Draw:
        channel, kind = dice.choice(channels), dice.choice(kinds)
        day, long = _onset(dice, days, first=8.0), dice.uniform(9.0, 30.0)
        size = dice.choice([-1.0, 1.0]) * dice.uniform(40.0, 120.0) if kind == "spikes" else 0.0
        return Draw([does(e.sensor, day, long, channel, kind, size)], day, day + long / 24.0, {"must_have": channels})

    return draw


def _drift(dice: random.Random, days: float) -> Draw:
    day = dice.uniform(11.0, 14.0)
    shift = dice.choice([-1.0, 1.0]) * dice.uniform(11.0, 18.0)
    happening = does(e.sensor, day, 15 * 24.0, dice.choice(["tank", "nozzle"]), "drift", shift)
    fixed = {"keep_warm": False, "setback": True, "loop": False, "january_C": 0.0}
    return Draw([happening], day, day + 15.0, fixed)


def _silence(dice: random.Random, days: float) -> Draw:
    day, minutes = _onset(dice, days), dice.choice([dice.uniform(20.0, 110.0), dice.uniform(130.0, 600.0)])
    return Draw([does(e.gap, day, minutes, "lost", dice.random() < 0.5)], day, day + minutes / 1440.0)


def _minutes(dice: random.Random, days: float) -> Draw:
    day, minutes = _onset(dice, days), dice.uniform(3.0, 12.0)
    return Draw([does(o.pump_weld, day, minutes)], day, day + 1.0, _wired(dice, ("leak", "high_level"), {}))


SHORT, MIDDLE, LONG = (14.0, 26.0), (24.0, 32.0), (38.0, 45.0)
ON_CALL: dict[str, Any] = {"keep_warm": False, "loop": False, "setback": True}
WEAK_BLOCK: dict[str, Any] = {
    **ON_CALL,
    "tank_heater_W": 1500.0,
    "nozzle_set_C": 80.0,
    "tank_set_C": 50.0,
    "nozzle_heater_W": 200.0,
}
KINDS: dict[str, Kind] = {
    "air-leak": Kind(SHORT, hours(o.no_oil, (4.0, 24.0), "suction-air-leak", need=REFILL)),
    "closed-valve": Kind(SHORT, hours(o.no_oil, (4.0, 24.0), "closed-valve", need=REFILL)),
    "pump-motor": Kind(SHORT, hours(o.no_oil, (4.0, 24.0), "pump-motor-dead", need=REFILL)),
    "float-down": Kind(SHORT, hours(o.float_stuck_down, (4.0, 18.0), need=("high_level",))),
    "float-up": Kind(SHORT, hours(o.float_stuck_up, (9.0, 22.0), need=("low_level",))),
    "pump-weld": Kind(SHORT, _minutes),
    "filter": Kind(
        (28.0, 45.0),
        lasting(
            o.filter_plugging, (11.0, 14.0), (6.0, 24.0), (1.8, 3.2), need=REFILL, refill_share=(0.3, 0.42), load=0.6
        ),
        even=False,
    ),
    "tray-leak": Kind(SHORT, hours(o.idle_leak, (5.0, 12.0), (0.7, 1.6), evening=True, need=("leak",), setback=True)),
    "siphon": Kind(SHORT, hours(o.idle_leak, (5.0, 12.0), (0.7, 1.6), False, evening=True, setback=True)),
    "weeping": Kind(SHORT, hours(o.tray_leak, (2.0, 9.0), must_have=("leak",))),
    "chatter": Kind(SHORT, hours(o.float_chatter, (5.0, 14.0)), even=False),
    "loop-leak": Kind(MIDDLE, _loop_leak),
    "supply-low": Kind((34.0, 36.0), _supply, wide=True),
    "pump-unseen": Kind(SHORT, hours(o.pump_unseen, (16.0, 36.0))),
    "half-tank": Kind(
        MIDDLE, lasting(o.weak_element, (11.0, 14.0), (5.0, 9.0), "tank", (0.42, 0.55), **ON_CALL, tank_set_C=60.0)
    ),
    "half-block": Kind(MIDDLE, lasting(o.weak_element, (11.0, 14.0), (5.0, 9.0), "nozzle", (0.42, 0.58), **WEAK_BLOCK)),
    "dead-tank": Kind(SHORT, hours(o.dead_heater, (5.0, 14.0), "tank")),
    "dead-block": Kind(SHORT, hours(o.dead_heater, (5.0, 14.0), "nozzle")),
    "cut-out": Kind(
        SHORT, hours(o.dead_heater, (12.0, 30.0), "tank", "cut-out-tripped", keep_warm=False, setback=True)
    ),
    "short-tank": Kind(
        SHORT, hours(o.shorted_relay, (5.0, 10.0), "tank", evening=True, need=("tank_heater",), setback=True)
    ),
    "short-block": Kind(
        SHORT,
        hours(
            o.shorted_relay,
            (5.0, 9.0),
            "nozzle",
            evening=True,
            need=("nozzle_heater",),
            **ON_CALL,
            nozzle_heater_W=300.0,
        ),
    ),
    "no-spark": Kind(SHORT, _ignition("no-spark"), bare=True),
    "no-fuel": Kind(SHORT, _ignition("no-fuel"), bare=True),
    "blind": Kind(SHORT, _ignition("detector-dirty"), bare=True),
    "weak-spark": Kind(MIDDLE, lasting(f.weak_spark, (11.0, 14.0), (4.0, 7.0), (0.18, 0.3), need=FLAME, retries=3)),
    "electrodes": Kind(
        LONG,
        lasting(f.electrodes_age, (12.0, 14.0), (18.0, 25.0), (7.0, 12.0), need=FLAME, trial_s=45.0, retries=1),
        even=False,
    ),
    "water": Kind(SHORT, _water, bare=True),
    "air-sags": Kind(SHORT, hours(f.compressor, (8.0, 30.0), (0.55, 0.7), need=("air_pressure",)), wide=True),
    "air-lost": Kind(SHORT, hours(f.compressor, (5.0, 12.0), 0.0, need=("air_pressure", *FLAME)), wide=True),
    "air-wears": Kind(
        LONG, lasting(f.compressor_wear, (11.0, 13.0), (16.0, 24.0), (0.74, 0.84), need=("air_pressure",)), wide=True
    ),
    "control": Kind(SHORT, _control, bare=True),
    "belt": Kind(MIDDLE, lasting(f.blower_slips, (13.0, 15.0), (5.0, 8.0), (0.38, 0.5), need=("limit",))),
    "blower": Kind(SHORT, hours(f.blower_dead, (4.0, 12.0), need=("limit", "blower"))),
    "too-hot": Kind(SHORT, _hot),
    "wrong-nozzle": Kind(MIDDLE, _wrong_nozzle),
    "plugged-nozzle": Kind(MIDDLE, _plugged_nozzle),
    "worn-nozzle": Kind(LONG, lasting(f.nozzle_wear, (11.0, 13.0), (22.0, 30.0), (1.3, 1.42), load=0.6)),
    "shutter": Kind(MIDDLE, _shutter, bare=True),
    "ash": Kind(LONG, _ash),
    "runs-on": Kind(SHORT, hours(f.burner_weld, (3.0, 9.0), january_C=(-5.0, 2.0))),
    "fire-at-rest": Kind(SHORT, _rest_weld),
    "draught": Kind(SHORT, lasting(f.draught, (8.0, 11.0), (1.0, 3.0))),
    "probe-oil": Kind(SHORT, _probe(("tank", "nozzle"), ("open", "short", "absent", "frozen", "spikes")), bare=True),
    "probe-stack": Kind(SHORT, _probe(("stack",), ("open", "short", "frozen", "spikes")), bare=True),
    "probe-air": Kind(SHORT, _probe(("return_air", "room", "supply_air"), ("open", "short", "absent")), bare=True),
    "drift": Kind((30.0, 34.0), _drift),
    "silence": Kind(SHORT, _silence, bare=True),
}


def recipe(seed: int, number: int) -> Recipe:
    """The ``number``-th recipe (from 0) of a block."""
    dice = random.Random(f"block {seed} {number}")
    clean = _clean_places(seed, number // 5)[number % 5]
    if clean:
        return _clean_recipe(dice, seed, number)
    before = sum(not c for place in range(number // 5) for c in _clean_places(seed, place))
    before += sum(not c for c in _clean_places(seed, number // 5)[: number % 5])
    deck = list(KINDS)
    random.Random(f"deck {seed} {before // len(deck)}").shuffle(deck)
    name = deck[before % len(deck)]
    kind = KINDS[name]
    days = round(dice.uniform(*kind.days), 1)
    drawn = kind.draw(dice, days)
    profile = dice.choice(["full", "full", "typical", "sparse", "bare" if kind.bare else "typical"])
    form = dice.choices(["parquet", "csv", "uniform"], [0.8, 0.05, 0.15 if kind.even else 0.0])[0]
    return Recipe(
        f"b{seed}-{number:02d}-{name}",
        seed * 1000 + number,
        days,
        form=form,
        start=_date(dice, dt.date(2025, 11, 15), 95),
        zone_h=float(dice.choice([-8.0, -6.0, -5.0, 0.0, 1.0, 2.0])),
        profile="full" if kind.wide else profile,
        fixed=drawn.fixed,
        happenings=(*drawn.happenings, *_beside(dice, drawn, days)),
        declared_clean=profile != "bare" and (name == "ash" or dice.random() < 0.85),
        varied=True,
    )


def find(name: str) -> Recipe | None:
    """The recipe of a block by its name; None for a name of another form."""
    match = NAME.fullmatch(name)
    made = recipe(int(match[1]), int(match[2])) if match else None
    return made if made is not None and made.name == name else None


def names(seed: int, count: int) -> list[str]:
    """Names of the first ``count`` recipes of a block."""
    return [recipe(seed, number).name for number in range(count)]


def _clean_places(seed: int, group: int) -> list[bool]:
    places = [True, True, False, False, False]
    random.Random(f"clean {seed} {group}").shuffle(places)
    return places


def _date(dice: random.Random, first: dt.date, span: int) -> str:
    return (first + dt.timedelta(days=dice.randrange(span))).isoformat()


def _clean_recipe(dice: random.Random, seed: int, number: int) -> Recipe:
    days = round(dice.uniform(14.0, 45.0), 1)
    profile = dice.choice(["full", "full", "typical", "typical", "sparse", "bare"])
    fixed: dict[str, Any] = {}
    if dice.random() < 0.25:
        fixed["ash_K_100h"] = dice.uniform(0.0, 3.0)
    wanted = dice.sample(list(HARMLESS), dice.randint(1, 3))
    return Recipe(
        f"b{seed}-{number:02d}-clean",
        seed * 1000 + number,
        days,
        form=dice.choices(["parquet", "csv", "uniform"], [0.75, 0.05, 0.2])[0],
        start=_date(dice, dt.date(2025, 9, 28), 205),
        zone_h=float(dice.choice([-8.0, -6.0, -5.0, 0.0, 1.0, 2.0])),
        profile=profile,
        fixed=fixed,
        happenings=tuple(HARMLESS[name](dice, dice.uniform(3.0, days - 2.0), days) for name in wanted),
        clean=True,
        declared_clean=profile != "bare" and dice.random() < 0.85,
        varied=True,
    )


def _beside(dice: random.Random, drawn: Draw, days: float) -> list[Happening]:
    """Harmless happenings beside a fault: weather at any time, what would hide or feign it well apart from it."""
    out = [
        HARMLESS[name](dice, dice.uniform(2.0, days - 1.0), days) for name in dice.sample(ANY_TIME, dice.randint(0, 2))
    ]
    room = [(3.0, drawn.start - 4.0), (drawn.end + 2.5, days - 2.0)]
    room = [(a, b) for a, b in room if b - a > 0.5]
    if room and dice.random() < 0.5:
        first, last = dice.choice(room)
        out.append(HARMLESS[dice.choice(APART)](dice, dice.uniform(first, last), days))
    return out


def oil_change(story: Story, day: float, days: float, logged: bool) -> None:
    """Over to the next grade, at once or mixed in over ``days``; who does not write it down may hear of it."""
    old = story.plant.oil
    new = OILS[NEXT_OIL[old.name]]
    if days > 0.0:
        f.batch_mixed(story, day, days, new.name, logged)
    else:
        f.batch(story, day, new.name, logged)
    if not logged:
        if new.v40 > 1.15 * old.v40:
            story.tolerate("refill-slowing ignition-delayed", day * DAY, story.end, "thicker oil nobody wrote down")
        story.tolerate("stack-step oil-use-high", day * DAY, (day + days + 6.0) * DAY, "another oil nobody wrote down")


def _pause(dice: random.Random, day: float, days: float) -> Happening:
    return does(e.summer, day, min(dice.uniform(2.0, 14.0), days - day - 0.5), dice.random() < 0.4)


def _setpoint(dice: random.Random, day: float, days: float) -> Happening:
    return does(e.setpoint, day, dice.choice(["tank", "nozzle"]), dice.choice([-5.0, -4.0, 3.0, 5.0]))


def _gap(dice: random.Random, day: float, days: float) -> Happening:
    return does(e.gap, day, dice.choice([3.0, 7.0, 25.0, 90.0, 300.0, 900.0]), "lost", dice.random() < 0.3)


def _oil(dice: random.Random, day: float, days: float) -> Happening:
    return does(oil_change, day, dice.choice([0.0, 0.5, 3.0]), dice.random() < 0.6)


def _turn(dice: random.Random, day: float, days: float) -> Happening:
    return does(e.thermostat, day, dice.uniform(0.3, 4.0), dice.choice([-3.0, -2.0, 2.0, 3.0]))


HARMLESS: dict[str, Callable[[random.Random, float, float], Happening]] = {
    "cold snap": lambda dice, day, days: does(e.cold_snap, day, dice.uniform(2.0, 5.0), dice.uniform(-13.0, -6.0)),
    "mild spell": lambda dice, day, days: does(e.cold_snap, day, dice.uniform(2.0, 5.0), dice.uniform(5.0, 10.0)),
    "doors": lambda dice, day, days: does(e.doors, dice.randint(3, 30), dice.randrange(10**6)),
    "fidgets": lambda dice, day, days: does(e.fidgets, dice.randint(2, 8), dice.randrange(10**6)),
    "reboots": lambda dice, day, days: does(
        e.reboots, sorted(dice.uniform(0.5, days - 0.5) for _ in range(dice.randint(1, 5)))
    ),
    "short gap": lambda dice, day, days: does(e.gap, day, dice.uniform(1.0, 8.0)),
    "gap": _gap,
    "clock": lambda dice, day, days: does(
        e.clock_step, day, dice.uniform(0.5, 20.0), dice.choice([-1.0, 1.0]) * dice.uniform(5.0, 90.0)
    ),
    "set point": _setpoint,
    "thermostat": _turn,
    "absence": lambda dice, day, days: does(e.absence, day, min(dice.uniform(3.0, 9.0), days - day - 0.5)),
    "pause": _pause,
    "oil": _oil,
    "service": lambda dice, day, days: does(e.service, int(day) + dice.uniform(0.36, 0.6), "service"),
    "cleaning": lambda dice, day, days: does(e.service, int(day) + dice.uniform(0.36, 0.6), "cleaning"),
    "mains": lambda dice, day, days: does(e.mains, day, dice.uniform(0.5, 3.0), dice.uniform(0.8, 0.9)),
}
ANY_TIME = ("cold snap", "mild spell", "doors", "reboots", "short gap")
APART = ("gap", "clock", "set point", "thermostat", "service", "mains", "fidgets")
