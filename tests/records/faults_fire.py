"""Faults of the fire side and of the controls: ignition, air, exchanger, blower, relays, thermostat."""

from __future__ import annotations

import numpy as np

from tests.records.controls import State
from tests.records.exchanger import steady_stack
from tests.records.oil import OILS, blend
from tests.records.simulate import Simulation
from tests.records.story import DAY, HOUR, Story
from tests.records.truth import EVERY_SET, MINUTE, Truth


def no_ignition(story: Story, day: float, hours: float, cause: str = "no-spark", resets: int = 1) -> None:
    """No spark, no fuel at the nozzle, or a blind detector: lockout, reset in vain, then repaired after ``hours``."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    name = {"no-spark": "no_spark", "no-fuel": "valve_shut", "detector-dirty": "blind"}[cause]
    story.set(t, **{name: True})
    for i in range(resets):
        story.at(t + (i + 1) * hours / (resets + 1.5) * HOUR, lambda sim: sim.primary.reset())
    story.set(fixed, **{name: False})
    story.reset_all(fixed)
    story.entry(fixed, "electrodes" if cause == "no-spark" else "repair")
    story.blame("lockout ignition-failure flame-loss", t, fixed + HOUR, cause)
    story.blame("no-heat", t, fixed + 2 * HOUR, cause, under="lockout")
    others = "ignition-failure flame-loss no-heat freeze-risk short-cycling lockout stack-low"
    story.tolerate(others, t, fixed + 3 * HOUR, "no fire, resets in vain")


def weak_spark(story: Story, day: float, days: float, share: float) -> None:
    """Worn electrodes: a share of the trials fails and the control tries again by itself."""
    t, fixed = day * DAY, (day + days) * DAY
    story.set(t, spark_fail=share)
    story.set(fixed, spark_fail=0.0)
    story.reset_all(fixed)
    story.entry(fixed, "electrodes")
    story.blame("ignition-failure lockout", t, fixed + HOUR, "electrodes-aged")
    story.tolerate(
        "ignition-failure ignition-delayed no-heat lockout flame-loss", t, fixed + DAY, "starts that fail at random"
    )


def electrodes_age(story: Story, day: float, days: float, delay_s: float) -> None:
    """The spark weakens over ``days`` until light-off comes ``delay_s`` later."""
    t, end = day * DAY, (day + days) * DAY
    story.ramp(t, end, "spark_delay_s", 0.0, delay_s)
    story.blame("ignition-failure lockout", t, story.end, "electrodes-aged")
    story.tolerate("ignition-failure ignition-delayed", t, story.end, "late light")

    def claim(truth: Truth) -> None:
        waits = [(f["lit"], f["lit"] - f["valve"]) for f in truth.log.firings]
        before = [w for moment, w in waits if moment < t]
        if len(before) < 20 or not {"burner", "flame"} & set(truth.channels["all"]):
            return
        usual, spread = float(np.median(before)), float(np.std(before))
        after = [(moment, w) for moment, w in waits if moment >= t]
        means = [(after[i][0], sum(w for _, w in after[i - 4 : i + 1]) / 5.0) for i in range(4, len(after))]
        over = [moment for moment, mean in means if mean > usual + max(3.0, 4.0 * spread)]
        strong = [moment for moment, mean in means if mean > usual + max(4.5, 6.0 * spread)]
        if over:
            late = max(over[0] + 2 * DAY, strong[0] + DAY if strong else 0.0)
            truth.expect(
                "ignition-delayed",
                t,
                over[0],
                {"all": late},
                truth.end,
                "electrodes-aged",
                gradual=True,
                severity="medium",
            )

    story.claims.append(claim)


def water_slugs(story: Story, day: float, slugs: int, minutes_apart: float) -> None:
    """Water in the oil puts the flame out some times; the control recovers it."""
    t = day * DAY
    left = [slugs]

    def slug(sim: Simulation) -> None:
        steady = sim.primary.state is State.RUN and sim.now - sim.primary.lit_at > 360.0
        if steady:
            sim.condition.slug_until = sim.now + 15.0
            left[0] -= 1
        if left[0] > 0:
            sim.later(sim.now + (minutes_apart * MINUTE if steady else 40.0), slug)

    story.at(t, slug)
    story.blame("flame-loss", t, t + 2 * DAY, "water-slug")
    story.tolerate(
        "flame-loss short-cycling stack-low stack-step no-heat ignition-failure",
        t,
        t + 2 * DAY,
        "a flame lost and found",
    )


def compressor(story: Story, day: float, hours: float, share: float) -> None:
    """Atomising air fails: at ``share`` of its pressure, or none at all for 0."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    story.set(t, **({"compressor_dead": True} if share <= 0.0 else {"pressure_share": share}))
    story.set(fixed, compressor_dead=False, pressure_share=1.0)
    story.reset_all(fixed)
    story.entry(fixed, "repair")
    story.blame("flame-loss ignition-failure", t, fixed + HOUR, "no-air", under="air-pressure")
    story.blame("lockout", t, fixed + HOUR, "no-air")
    story.blame("no-heat", t, fixed + HOUR, "no-air", under="lockout")
    others = (
        "flame-loss ignition-failure lockout no-heat stack-step stack-low refill-overdue freeze-risk ignition-delayed"
    )
    story.tolerate(others, t, fixed + DAY, "little or no atomising air")
    if share > 0.0:
        _steps(story, t, fixed, fuel=share**0.5, cause="no-air", expected=False)

    def claim(truth: Truth) -> None:
        starts = [s for s, _ in truth.log.spans("call" if share <= 0.0 else "flame", truth.end) if t < s < fixed]
        running = truth.log.state("flame", t)
        warming = share <= 0.0 and not running and truth.log.state("call", t)  # its compressor was never heard
        first = t if running or warming else (starts[0] if starts else truth.end)
        if "air_pressure" in truth.channels["all"] and "air" in truth.profile:
            wait = 15 * MINUTE if running or share > 0.0 else 60 * MINUTE
            truth.expect(
                "air-pressure",
                t,
                first + 30.0,
                {"all": first + wait},
                fixed + HOUR,
                "no-air",
                severity="medium",
                also="lockout ignition-failure" if warming else "",
            )

    story.claims.append(claim)


def compressor_wear(story: Story, day: float, days: float, share: float) -> None:
    """Air pressure sags over ``days`` to a share of its set value."""
    t, end = day * DAY, (day + days) * DAY
    story.ramp(t, end, "pressure_share", 1.0, share)
    story.tolerate("stack-step stack-low ignition-delayed", t, story.end, "less air and oil at the nozzle")

    def claim(truth: Truth) -> None:
        if "air_pressure" not in truth.channels["all"] or "air" not in truth.profile:
            return
        air = truth.profile["air"]
        c = truth.log.columns
        low = (c["fuel_kg_s"] > 0) & (c["t"] > t) & (c["air_kPa"] < air["setpoint_kPa"] - air["band_kPa"])
        lit = np.array([f["lit"] for f in truth.log.firings])
        for moment in c["t"][low].tolist():
            since = lit[lit <= moment]
            if len(since) and moment - since[-1] > 90.0:
                truth.expect(
                    "air-pressure",
                    t,
                    moment,
                    {"all": moment + 1.5 * DAY},
                    truth.end,
                    "compressor-worn",
                    earliest=moment - 2 * DAY,
                    gradual=True,
                    severity="medium",
                )
                return

    story.claims.append(claim)


def dead_primary(story: Story, day: float, hours: float) -> None:
    """The burner never starts though everything calls: dead control or an open safety chain."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    story.set(t, primary_dead=True)
    story.set(fixed, primary_dead=False)
    story.blame("no-heat", t, fixed, "primary-dead")
    story.tolerate("freeze-risk no-heat ignition-failure lockout", t, fixed + 6 * HOUR, "no start at all")
    story.claims.append(lambda truth: _freeze(truth, t, fixed))


def _freeze(truth: Truth, t: float, fixed: float) -> None:
    freeze_C = truth.profile.get("room", {}).get("freeze_C")
    if freeze_C is None:
        return
    c = truth.log.columns
    cold = c["t"][(c["t"] > t) & (c["t"] < fixed) & (c["room"] < freeze_C)]
    if len(cold):
        reached = float(cold[0])
        truth.expect(
            "freeze-risk", t, max(t, reached - 3 * HOUR), {"all": reached + 5 * MINUTE}, fixed + 12 * HOUR, "no-heat"
        )


def _steps(
    story: Story,
    t: float,
    fixed: float,
    fuel: float = 1.0,
    air: float = 1.0,
    blower: float = 1.0,
    cause: str = "",
    expected: bool = True,
) -> None:
    """Claims for a sudden change of the steady stack: stack-step, and stack-low where it ends that low."""

    def claim(truth: Truth) -> None:
        g = truth.plant.geometry
        foul = truth.log.value("foul", t)
        shift = steady_stack(g, foul, fuel, air, blower) - steady_stack(g, foul)
        truth.series.setdefault("stack_shift_K", []).append([t, shift])
        fifth, late = truth.nth_firing(t, 5), max(truth.nth_firing(t, 14), t + 1.5 * DAY)
        seen, sd = _seen_shift(truth, t, fixed)
        if min(abs(shift), seen) > max(20.0, 5.0 * sd) and expected and fifth < fixed:
            truth.expect(
                "stack-step", t, fifth, dict.fromkeys(EVERY_SET, late), fixed + 3 * DAY, cause, severity="medium"
            )
        else:
            truth.story.tolerate("stack-step", t, fixed + 3 * DAY, "a real but small change of the stack")
        net = steady_stack(g, foul, fuel, air, blower) - 20.0
        low = truth.nth_firing(t, 5, 15 * MINUTE)
        if net < 142.0 and low < fixed:
            truth.expect("stack-low", t, low, dict.fromkeys(EVERY_SET, late), fixed + 3 * DAY, cause, severity="low")
        elif net < 165.0:
            truth.story.tolerate("stack-low", t, fixed + 3 * DAY, "near the limit")
        truth.story.tolerate("stack-step", fixed, fixed + 3 * DAY, "the change back")
        if abs(shift) > 12.0:
            truth.story.tolerate("stack-rising", t, fixed + 6 * DAY, "the stack did rise")

    story.claims.append(claim)


def net_stack(truth: Truth) -> tuple[np.ndarray, np.ndarray]:
    """Ends [s] of firings of six minutes or more, and stack over return air [K] at ten minutes of fire."""
    c = truth.log.columns
    fires = [f for f in truth.log.firings if f["off"] - f["lit"] >= 6 * MINUTE]
    moments = np.array([min(f["off"] - 2.0, f["lit"] + 10 * MINUTE) for f in fires])
    net = np.interp(moments, c["t"], c["stack"]) - np.interp(moments, c["t"], c["return_air"])
    return np.array([f["off"] for f in fires]), net


def _seen_shift(truth: Truth, t: float, fixed: float) -> tuple[float, float]:
    """How far the stack at ten minutes of fire moved at ``t``, and its scatter from firing to firing before [K]."""
    times, values = net_stack(truth)
    before, after = values[times < t][-40:], values[(times > t) & (times < fixed)][1:15]
    if len(before) < 10 or len(after) < 4:
        return 0.0, 0.0
    usual = float(np.median(before))
    # from one firing to the next, as slow weather is no scatter to a median of five
    return abs(float(np.median(after)) - usual), 1.05 * float(np.median(np.abs(np.diff(before))))


def blower_slips(story: Story, day: float, days: float, share: float) -> None:
    """Belt slips or filters block: less warm air, hotter plenum, hotter stack, perhaps the limit."""
    t, fixed = day * DAY, (day + days) * DAY
    story.set(t, blower=share)
    story.set(fixed, blower=1.0)
    story.entry(fixed, "blower")
    story.blame("limit-open stack-high", t, fixed + HOUR, "blower-belt")
    story.blame("short-cycling", t, fixed + HOUR, "blower-belt", under="limit-open")
    story.tolerate("stack-rising stack-high short-cycling flame-loss limit-open", t, fixed + DAY, "little warm air")
    _steps(story, t, fixed, blower=share, cause="blower-belt")


def blower_dead(story: Story, day: float, hours: float) -> None:
    """The blower stops: the limit cycles the burner."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    story.set(t, blower=0.0)
    story.set(fixed, blower=1.0)
    story.entry(fixed, "blower")
    story.blame("limit-open stack-high no-heat", t, fixed + HOUR, "blower-dead")
    story.blame("short-cycling", t, fixed + HOUR, "blower-dead", under="limit-open")
    story.tolerate(
        "short-cycling flame-loss no-heat stack-step stack-high ignition-failure lockout stack-low freeze-risk "
        "stack-rising",
        t,
        fixed + DAY,
        "no warm air, limit cycling",
    )


def nozzle(
    story: Story, day: float, days: float, share: float, cause: str, logged: bool = False, air: float = 1.0
) -> None:
    """Another firing rate from one moment on: wrong nozzle (> 1) or a plugging one (< 1)."""
    t, fixed = day * DAY, min((day + days) * DAY, story.end + 1.0)
    story.set(t, fuel_share=share, air_share=air)
    story.set(fixed, fuel_share=1.0, air_share=1.0)
    if logged:
        story.entry(t, "nozzle")
    if fixed < story.end:
        story.entry(fixed, "nozzle")
    story.blame("stack-high limit-open", t, fixed + HOUR, cause)
    story.tolerate("refill-overdue", t, fixed + 2 * DAY, "burning time says nothing while the rate has changed")
    _steps(story, t, fixed, fuel=share, air=air, cause=cause, expected=not logged)
    if share > 1.1:
        story.claims.append(lambda truth: _overfiring(truth, t, fixed, share, cause, logged))


def _overfiring(truth: Truth, t: float, fixed: float, share: float, cause: str, logged: bool) -> None:
    truth.story.tolerate("oil-use-high overfiring", t, fixed + 3 * DAY, "more oil an hour")
    rated = truth.profile["furnace"].get("rated_input_kW")
    known = rated is not None and "differential_l" in truth.profile.get("refill", {})
    if known and truth.plant.rated_kW * share / rated > 1.13:
        condition, late = truth.after_burning(t, 2 * HOUR), truth.after_burning(t, 12 * HOUR)
        truth.expect(
            "overfiring", t, condition, dict.fromkeys(EVERY_SET, late + HOUR), fixed + 2 * DAY, cause, severity="medium"
        )
    condition, late = truth.after_burning(t, 10 * HOUR), truth.after_burning(t, 30 * HOUR)
    if share > 1.18 and not logged and condition < fixed:
        truth.expect(
            "oil-use-high",
            t,
            condition,
            dict.fromkeys(EVERY_SET, late + HOUR),
            fixed + 3 * DAY,
            cause,
            gradual=True,
            severity="medium",
        )


def nozzle_wear(story: Story, day: float, days: float, share: float) -> None:
    """The nozzle wears and passes more and more oil."""
    t, end = day * DAY, (day + days) * DAY
    story.ramp(t, end, "fuel_share", 1.0, share)
    story.tolerate("overfiring stack-step stack-rising stack-high", t, story.end, "firing rate creeps up")

    def claim(truth: Truth) -> None:
        def moment(goal: float) -> float:
            return t + (goal - 1.0) / (share - 1.0) * (end - t)

        condition = truth.after_burning(moment(1.15) - 0.5 * DAY, 10 * HOUR)
        late = max(truth.after_burning(moment(1.2), 12 * HOUR), condition + 2 * DAY)
        truth.expect(
            "oil-use-high",
            t,
            condition,
            dict.fromkeys(EVERY_SET, late),
            truth.end,
            "nozzle-worn",
            gradual=True,
            severity="medium",
        )

    story.claims.append(claim)


def shutter(story: Story, day: float, days: float, share: float) -> None:
    """The air shutter slips: more or less combustion air."""
    t, fixed = day * DAY, min((day + days) * DAY, story.end + 1.0)
    story.set(t, air_share=share)
    story.set(fixed, air_share=1.0)
    _steps(story, t, fixed, air=share, cause="air-shutter")


def too_hot(story: Story, day: float, hours: float) -> None:
    """Blower half dead and overfired: the stack passes its limit."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    story.set(t, blower=0.5, fuel_share=1.35)
    story.set(fixed, blower=1.0, fuel_share=1.0)
    story.entry(fixed, "repair")
    story.blame("stack-high limit-open", t, fixed + HOUR, "overfired")
    story.blame("short-cycling", t, fixed + HOUR, "overfired", under="limit-open")
    others = (
        "stack-step stack-rising limit-open short-cycling overfiring oil-use-high refill-without-burning flame-loss"
    )
    story.tolerate(others, t, fixed + 2 * DAY, "overfired without air to carry the heat away")


def ash(story: Story, clean_at: float | None = None) -> None:
    """Ash builds up at the plant's own pace; the owner cleans at day ``clean_at``."""
    if clean_at is not None:

        def clean(sim: Simulation) -> None:
            sim.fire.foul = sim.plant.foul(1.5)

        story.at(clean_at * DAY, clean)
        story.entry(clean_at * DAY, "cleaning")

    def claim(truth: Truth) -> None:
        stop = truth.end if clean_at is None else clean_at * DAY
        days, rises = rise_series(truth)
        mean = np.array([np.mean(rises[(days > d - 5.0) & (days <= d)]) for d in days])
        over = days[(mean > 20.0) & (days * DAY < stop)]
        strong = days[(mean > 32.0) & (days * DAY < stop)]
        slack = days[((mean > 14.0) | (_seen_rise(truth, days) > 14.0)) & (days * DAY < stop)]
        if len(slack):
            truth.story.tolerate("stack-rising", float(slack[0]) * DAY, stop + 8 * DAY, "nearly at the limit")
        if len(over):
            condition = float(over[0]) * DAY
            late = max(condition + 4 * DAY, float(strong[0]) * DAY if len(strong) else stop)
            truth.expect(
                "stack-rising",
                0.0,
                condition,
                dict.fromkeys(EVERY_SET, late),
                stop + 10 * DAY,
                "ash",
                earliest=float(slack[0]) * DAY,
                gradual=True,
                severity="low",
            )

    story.claims.append(claim)


def _seen_rise(truth: Truth, days: np.ndarray) -> np.ndarray:
    """Five-day median of the true net stack over that of the first three days [K]: draught and oil wander too."""
    times, net = net_stack(truth)
    first = net[times < 3 * DAY]
    usual = float(np.median(first)) if len(first) else np.inf
    last = [net[(times > (d - 5.0) * DAY) & (times <= d * DAY)] for d in days]
    return np.array(
        [float(np.median(x)) - usual if len(x) and d > 5.0 else 0.0 for x, d in zip(last, days, strict=True)]
    )


def rise_series(truth: Truth) -> tuple[np.ndarray, np.ndarray]:
    """Days and true rise of the steady stack over clean [K], every six hours."""
    days = np.arange(0.0, truth.end / DAY, 0.25)
    c = truth.log.columns
    foul = np.interp(days * DAY, c["t"], c["foul"])
    return days, np.array([truth.plant.rise_K(f) for f in foul])


def burner_weld(story: Story, day: float, hours: float, from_rest: bool = False) -> None:
    """Burner relay welds: the fire goes on after the call (or, ``from_rest``, starts without one)."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    story.set(t, **({"burner_weld": True} if from_rest else {"burner_weld_next": True}))
    story.set(fixed, burner_weld=False, burner_weld_next=False)
    story.entry(fixed, "repair")
    story.blame("limit-open stack-high", t, fixed, "burner-relay-welded")
    story.tolerate(
        "heat-without-call limit-open short-cycling overfiring stack-high stack-step stack-low",
        t,
        fixed + DAY,
        "fire nobody called for",
    )

    def claim(truth: Truth) -> None:
        for firing in truth.log.firings:
            start, off = firing["lit"], firing["off"]
            if off < t or start > fixed:
                continue
            called = [e for s, e in truth.log.spans("call", truth.end) if s - 1.0 <= start <= e]
            since = called[0] if called else start
            if off - since < 35 * MINUTE:
                continue
            condition = since + 30 * MINUTE if called else start + 2 * MINUTE
            latest = dict.fromkeys(("some", "all"), condition + 20 * MINUTE)
            if not called and not truth.plant.keep_warm:
                latest["four"] = condition + 40 * MINUTE
            truth.expect(
                "heat-without-call", since, condition, latest, fixed + DAY, "burner-relay-welded", severity="critical"
            )
            return

    story.claims.append(claim)


def draught(story: Story, day: float, days: float) -> None:
    """The thermostat hangs in the supply air or a draught: the burner starts and stops in minutes."""
    t, fixed = day * DAY, (day + days) * DAY
    story.set(t, thermostat_band=0.06, thermostat_tau=0.0)
    story.set(fixed, thermostat_band=1.0, thermostat_tau=1.0)
    story.blame("short-cycling", t, fixed + HOUR, "thermostat-position")
    story.tolerate(
        "short-cycling stack-step stack-low oil-use-high no-heat ignition-failure flame-loss",
        t,
        fixed + DAY,
        "very short firings",
    )


def batch(story: Story, day: float, oil: str, logged: bool) -> None:
    """Another batch of oil, logged or not."""
    story.at(day * DAY, lambda sim: sim.new_oil(OILS[oil]))
    if logged:
        story.entry(day * DAY, "batch")
    story.notes.append(f"batch of {oil} at day {day}" + ("" if logged else ", not logged"))


def batch_mixed(story: Story, day: float, days: float, oil: str, logged: bool) -> None:
    """Another oil poured onto what is left of the old: the mixture at the burner changes over days, in ten steps."""
    old = story.plant.oil
    for i in range(1, 11):
        share = i / 10.0
        story.at((day + days * share) * DAY, lambda sim, share=share: sim.new_oil(blend(old, OILS[oil], share)))
    if logged:
        story.entry(day * DAY, "batch")
    story.notes.append(f"{oil} mixed in from day {day:.1f} over {days:.1f} days" + ("" if logged else ", not logged"))
