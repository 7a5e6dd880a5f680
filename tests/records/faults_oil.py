"""Faults of the oil side: supply, refill, day tank, heaters."""

from __future__ import annotations

import numpy as np

from tests.records.simulate import Simulation
from tests.records.story import DAY, HOUR, SensorFault, Story
from tests.records.truth import EVERY_SET, MINUTE, Truth

STARVED = "preheat-slow preheat-stalled ignition-failure flame-loss lockout no-heat"


def no_oil(story: Story, day: float, hours: float, cause: str = "suction-air-leak") -> None:
    """Refill pump runs and nothing comes: air leak, closed valve, dead motor; repaired after ``hours``."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    story.set(t, **({"pump_dead": True} if cause == "pump-motor-dead" else {"supply_ok": 0.0}))
    story.set(fixed, pump_dead=False, supply_ok=1.0)
    story.reset_all(fixed)
    fill_up(story, fixed)
    story.entry(fixed, "repair")
    story.blame("refill-timeout", t, fixed - 1.0, cause)
    story.blame(STARVED, t, fixed + 2 * HOUR, cause, under="refill-timeout")
    after = fixed + 12 * HOUR
    story.tolerate("refill-overdue freeze-risk short-cycling stack-low supply-low", t, after, "a day tank run dry")
    story.blame("refill-without-burning", fixed, fixed + 6 * HOUR, cause, under="refill-timeout")
    story.blame("refill-timeout", fixed, fixed + HOUR, cause, under="refill-timeout")
    story.tolerate(STARVED, fixed, after, "coming back from a dry day tank")


def push_until_full(sim: Simulation) -> None:
    """The owner pushes the refill reset until the day tank is full again, as it takes more than one run."""
    sim.limiter.latched = False
    if sim.tank.level_l < sim.plant.tank.full_l - 1.1 * sim.plant.tank.differential_l:
        sim.later(sim.now + 100.0, push_until_full)


def fill_up(story: Story, t: float) -> None:
    """Push the refill reset from ``t`` on until the tank is full."""
    story.at(t + 5.0, push_until_full)


def float_stuck_down(story: Story, day: float, hours: float) -> None:
    """Float keeps calling: the pump overfills until its limiter stops it."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    story.set(t, float_stuck="down")
    story.set(fixed, float_stuck="")
    story.reset_all(fixed)
    fill_up(story, fixed)
    story.entry(fixed, "repair")
    story.blame(STARVED, t, fixed + 2 * HOUR, "float-stuck-down", under="refill-timeout")
    story.tolerate(
        STARVED + " freeze-risk short-cycling", t, fixed + 6 * HOUR, "limiter left latched, day tank run low"
    )
    story.blame("refill-timeout pump-overrun", t, fixed - 1.0, "float-stuck-down")
    story.blame(
        "refill-timeout refill-without-burning", fixed, fixed + 2 * HOUR, "float-stuck-down", under="refill-timeout"
    )
    story.tolerate("pump-overrun refill-without-burning preheat-slow preheat-stalled", t, fixed + DAY, "overfilled")
    story.tolerate("refill-overdue", t, fixed + DAY, "more oil than usual to burn before the next refill")


def pump_weld(story: Story, day: float, minutes: float) -> None:
    """Pump relay welds in the next refill; somebody shuts the valve and stops it after ``minutes``."""
    t = day * DAY
    story.set(t, weld_next=True)

    def watch(sim: Simulation) -> None:
        if sim.condition.pump_weld:
            sim.later(sim.now + minutes * MINUTE, stop)
        else:
            sim.later(sim.now + 30.0, watch)

    def stop(sim: Simulation) -> None:
        sim.condition.pump_weld = False
        sim.limiter.latched = False

    def dry(sim: Simulation) -> None:
        sim.tray_l = 0.0

    story.at(t, watch)
    story.at(t + DAY, dry)
    story.blame("pump-overrun refill-timeout", t, t + DAY, "pump-relay-welded")
    others = "refill-timeout refill-overdue refill-slowing refill-without-burning oil-use-high"
    story.tolerate(
        others + " preheat-slow preheat-stalled stack-step", t, t + 2 * DAY, "a day tank flooded with cold oil"
    )

    def claim(truth: Truth) -> None:
        for start, end in truth.log.spans("leak", truth.end):
            if "leak" in truth.channels["all"] and t <= start <= t + DAY:
                truth.expect(
                    "leak",
                    start,
                    start + 5.0,
                    {"all": start + 90.0},
                    end + DAY,
                    "pump-relay-welded",
                    severity="critical",
                )

    story.claims.append(claim)


def float_stuck_up(story: Story, day: float, hours: float) -> None:
    """Float never calls: the day tank is burned empty."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    story.set(t, float_stuck="up")
    story.set(fixed, float_stuck="")
    story.reset_all(fixed)
    fill_up(story, fixed)
    story.entry(fixed, "repair")
    story.blame(STARVED, t, fixed + 2 * HOUR, "float-stuck-up", under="refill-overdue")
    story.blame("refill-timeout", t, fixed + 2 * HOUR, "float-stuck-up", under="refill-overdue")
    story.tolerate("refill-without-burning", fixed, fixed + 6 * HOUR, "filling an empty day tank takes several runs")
    story.tolerate(
        "freeze-risk short-cycling stack-low refill-timeout refill-slowing", t, fixed + 12 * HOUR, "a day tank run dry"
    )
    story.tolerate(STARVED, fixed, fixed + 12 * HOUR, "coming back from a dry day tank")
    story.claims.append(lambda truth: _overdue(truth, t, fixed, "float-stuck-up"))


def pump_unseen(story: Story, day: float, hours: float) -> None:
    """The pump's sensing contact fails open: refills go on, the channel says never."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    story.sensors.append(SensorFault("pump", "stuck-off", t, fixed))
    story.tolerate("sensor-fault refill-overdue refill-without-burning", t, fixed + DAY, "the pump is not seen")
    story.claims.append(lambda truth: _overdue(truth, t, fixed, "pump-sensing-broken", also="sensor-fault"))


def _overdue(truth: Truth, t: float, fixed: float, cause: str, also: str = "") -> None:
    times, litres = truth.burned()
    ends = [float(r["off"]) for r in truth.log.pump_runs if float(r["off"]) < t]
    if len(ends) < 10:
        return
    at = np.interp(ends, times, litres)
    usual = float(np.median(np.diff(at[-60:])))
    condition = float(np.interp(at[-1] + 1.6 * usual, litres, times))
    latest = float(np.interp(at[-1] + 2.2 * usual, litres, times)) + 20 * MINUTE
    if condition < fixed:
        truth.expect(
            "refill-overdue", ends[-1], condition, dict.fromkeys(EVERY_SET, latest), fixed + HOUR, cause, also=also
        )


def filter_plugging(story: Story, day: float, days: float, slower: float) -> None:
    """Refill filter plugs over ``days`` until a refill takes ``slower`` times its clean seconds; then it is changed.

    Ten hours after a run has reached the limiter's limit it is changed too.
    """
    t, end = day * DAY, (day + days) * DAY
    line, thick = story.plant.line, story.plant.oil.viscosity(12.0)
    clean = line.flow(thick, 0.0)[0]
    low, high = 0.0, 1e5
    for _ in range(60):
        plug = 0.5 * (low + high)
        low, high = (plug, high) if clean / max(line.flow(thick, plug)[0], 1e-9) < slower else (low, plug)
    story.ramp(t, end, "plug", 0.0, plug)
    changed = [end + 700.0]

    def change(sim: Simulation) -> None:
        if sim.condition.plug > 0.0 and sim.now <= changed[0] + 1.0:
            changed[0] = sim.now
            sim.ramps.clear()
            sim.condition.plug = 0.0
            sim.limiter.latched = False
            sim.primary.reset()
            sim.later(sim.now + 60.0, push_until_full)

    def watch(sim: Simulation) -> None:
        if sim.limiter.latched:
            sim.later(sim.now + 10 * HOUR, change)
        elif sim.condition.plug > 0.0 or sim.now < t + HOUR:
            sim.later(sim.now + 300.0, watch)

    story.at(t, watch)
    story.at(end + 700.0, change)
    story.blame("refill-timeout", t, end + HOUR, "filter-plugged")
    story.blame(STARVED, t, end + 2 * HOUR, "filter-plugged", under="refill-timeout")
    story.tolerate("refill-overdue", t, end + DAY, "near the limiter's limit")
    story.tolerate("refill-timeout", t, end + DAY, "near the limiter's limit")

    def claim(truth: Truth) -> None:
        stop = changed[0]
        story.entry(stop + 120.0, "filter")
        truth.suppressed.append(
            {"alarm": "refill-timeout", "under": "refill-timeout", "start": stop, "end": stop + HOUR}
        )

        def ratio(moment: float) -> float:
            return clean / max(line.flow(thick, plug * min(1.0, max(0.0, (moment - t) / (end - t))))[0], 1e-6)

        grid = np.arange(t, min(end, stop, truth.end), HOUR)
        ratios = np.array([ratio(moment) for moment in grid])
        truth.series["refill_seconds_ratio"] = [
            [float(m), float(r)] for m, r in zip(grid[::6], ratios[::6], strict=True)
        ]
        ends = np.array([float(r["off"]) for r in truth.log.pump_runs])
        past = grid[ratios > 1.3]
        strong = grid[ratios > 1.6]
        if len(past) == 0 or np.sum(ends > past[0]) < 40:
            return
        condition = float(ends[ends > past[0]][19])
        late = max(condition + 2.5 * DAY, float(strong[0]) + DAY if len(strong) else 0.0)
        late = min(late, stop)
        truth.expect(
            "refill-slowing",
            t,
            condition,
            dict.fromkeys(EVERY_SET, late),
            stop + 2 * DAY,
            "filter-plugged",
            gradual=True,
            severity="low",
        )

    story.claims.append(claim)


def idle_leak(story: Story, day: float, hours: float, per_hour: float = 0.9, tray: bool = True) -> None:
    """Oil leaves the day tank with nothing burning, ``per_hour`` differentials an hour: a fitting, or a siphon."""
    t, fixed = day * DAY, day * DAY + hours * HOUR

    def start(sim: Simulation) -> None:
        sim.condition.leak_l_h = per_hour * sim.plant.tank.differential_l

    story.at(t, start)
    story.set(fixed, leak_l_h=0.0, tray_wet=False)
    if tray:
        story.set(t + 15 * MINUTE, tray_wet=True)
    cause = "oil-leak" if tray else "siphon"
    story.blame("refill-without-burning", t, fixed + HOUR, cause)
    story.tolerate("oil-use-high refill-without-burning float-chatter", t, fixed + DAY, "oil goes elsewhere")

    def claim(truth: Truth) -> None:
        if tray and "leak" in truth.channels["all"]:
            wet = t + 15 * MINUTE
            truth.expect("leak", wet, wet + 5.0, {"all": wet + 120.0}, fixed + DAY, cause, severity="critical")

    story.claims.append(claim)


def tray_leak(story: Story, day: float, hours: float) -> None:
    """A weeping fitting: oil in the drip tray and nothing else to see."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    story.set(t, tray_wet=True)
    story.set(fixed, tray_wet=False)
    story.claims.append(
        lambda truth: (
            truth.expect("leak", t, t + 5.0, {"all": t + 120.0}, fixed + DAY, "oil-leak", severity="critical")
            if "leak" in truth.channels["all"]
            else None
        )
    )


def float_chatter(story: Story, day: float, hours: float) -> None:
    """The float loses its differential and bounces around its upper point."""
    t, fixed = day * DAY, day * DAY + hours * HOUR

    def remark(sim: Simulation, share: float) -> None:
        sim.condition.differential_share = share
        sim.limiter.new_marks(sim.plant.tank.full_l, sim.plant.tank.differential_l * share, 0.004, sim.dice)

    story.at(t, lambda sim: remark(sim, 0.11))
    story.at(fixed, lambda sim: remark(sim, 1.0))
    story.blame("float-chatter", t, fixed, "float-bounce")
    story.blame("refill-without-burning", t, fixed, "float-bounce", under="float-chatter")
    others = "oil-use-high refill-without-burning refill-slowing float-chatter refill-overdue"
    story.tolerate(others, t, fixed + DAY, "counts of refills say nothing while the float bounces")


def loop_leak(story: Story, day: float, share: float, days: float = 99.0) -> None:
    """While firing, a share of the oil drawn never burns (leaking loop fitting, dripping return)."""
    t, fixed = day * DAY, min((day + days) * DAY, story.end)
    story.set(t, loop_leak_share=share)
    story.set(fixed, loop_leak_share=0.0)
    story.tolerate("overfiring", t, fixed + 2 * DAY, "oil counted as burned")

    def claim(truth: Truth) -> None:
        condition, late = truth.after_burning(t, 10 * HOUR), truth.after_burning(t, 32 * HOUR)
        truth.expect(
            "oil-use-high",
            t,
            condition,
            dict.fromkeys(EVERY_SET, late + HOUR),
            fixed + 3 * DAY,
            "oil-leak",
            gradual=True,
            severity="medium",
        )

    story.claims.append(claim)


def _preheats(truth: Truth, channel: str) -> list[tuple[float, float, float]]:
    """Starts from cold: start [s], end [s] and kelvins heated, of the true probe while the heater is wanted."""
    log = truth.log
    t, x = log.columns["t"], log.columns[channel]
    out = []
    for start, end in log.spans("call", truth.end):
        i, j = np.searchsorted(t, [start, end])
        begin, setpoint = float(np.interp(start, t, x)), truth.setpoint_C(channel, start)
        if begin < setpoint - 20.0:
            above = np.flatnonzero(x[i:j] > setpoint - 8.0)  # below where the burner may start and cool it
            if len(above):
                out.append((start, float(t[i + above[0]]), setpoint - 8.0 - begin))
    return out


def weak_element(story: Story, day: float, days: float, channel: str, share: float = 0.5) -> None:
    """Half an element, or a half-wave relay: the heater gives a share of its power."""
    t, fixed = day * DAY, (day + days) * DAY
    story.set(t, **{f"{channel}_element": share})
    story.set(fixed, **{f"{channel}_element": 1.0})
    story.entry(fixed, "repair")
    story.tolerate("no-heat preheat-stalled preheat-slow", t, fixed + DAY, "heating takes long")

    def claim(truth: Truth) -> None:
        heats = _preheats(truth, channel)
        usual = [(b - a) / k for a, b, k in heats if b < t]
        if len(usual) < 5:
            return
        pace = float(np.median(usual))
        slow = [(a + 1.5 * pace * k, b) for a, b, k in heats if t <= a < fixed and b - a > 1.6 * pace * k]
        if len(slow) >= 3:
            truth.expect(
                "preheat-slow",
                t,
                slow[0][0],
                dict.fromkeys(EVERY_SET, slow[2][1] + 30 * MINUTE),
                fixed + 2 * DAY,
                "half-element",
                channel=channel,
                severity="medium",
            )

    story.claims.append(claim)


def dead_heater(story: Story, day: float, hours: float, channel: str, cause: str = "element-open") -> None:
    """A heater stops: open element or fuse, or (while it heats up) a tripped cut-out."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    trips: list[float] = []
    if cause == "cut-out-tripped":
        _trip_while_heating(story, t, channel, trips)
    else:
        story.set(t, **{f"{channel}_element": 0.0})
        story.set(fixed, **{f"{channel}_element": 1.0})
    story.reset_all(fixed)
    story.entry(fixed, "repair")
    story.blame("no-heat", t, fixed, cause)
    story.tolerate(
        "preheat-slow preheat-stalled no-heat ignition-failure freeze-risk", t, fixed + 6 * HOUR, "cold oil, no fire"
    )

    def claim(truth: Truth) -> None:
        heater = truth.plant.tank_heater if channel == "tank" else truth.plant.nozzle_heater
        c = truth.log.columns
        window = (c["t"] > (trips[0] if trips else t)) & (c["t"] < fixed)
        ts, x = c["t"][window], c[channel][window]
        wanted = np.array([truth.plant.keep_warm or truth.log.state("call", float(moment)) for moment in ts])
        low = (x < truth.setpoint_C(channel, t) - heater.hysteresis_K / 2 - 3.0) & wanted
        # calls that end soon show it only together: forty minutes of cold oil and a wish for heat are due
        wished = np.cumsum(np.where(low, np.diff(ts, prepend=ts[:1]), 0.0))
        if len(ts) == 0 or wished[-1] < 40 * MINUTE:
            return
        plain = float(ts[int(np.argmax(wished >= 40 * MINUTE))])
        since: float | None = None
        for moment, cold in zip(ts.tolist(), low.tolist(), strict=True):
            since = (since if since is not None else moment) if cold else None
            if since is not None and moment - since > 6 * MINUTE:
                sets = EVERY_SET if truth.plant.keep_warm or trips else ("some", "all")
                truth.expect(
                    "preheat-stalled",
                    t,
                    moment - MINUTE,
                    dict.fromkeys(sets, max(moment + 45 * MINUTE, plain)),
                    fixed + HOUR,
                    cause,
                    channel=channel,
                )
                return

    story.claims.append(claim)


def _trip_while_heating(story: Story, t: float, channel: str, trips: list[float]) -> None:
    def watch(sim: Simulation) -> None:
        switch = sim.tank_switch if channel == "tank" else sim.nozzle_switch
        now = sim.tank.temperature if channel == "tank" else sim.block.temperature
        setpoint = sim.tank_set if channel == "tank" else sim.nozzle_set
        if switch.drive and setpoint - 24.0 < now < setpoint - 14.0:
            switch.tripped = True
            trips.append(sim.now)
        else:
            sim.later(sim.now + 20.0, watch)

    story.at(t, watch)


def shorted_relay(story: Story, day: float, hours: float, channel: str) -> None:
    """A heater's relay fails closed; the hand-reset cut-out ends the climb."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    story.set(t, **{f"{channel}_short": True})
    story.set(fixed, **{f"{channel}_short": False})
    story.reset_all(fixed)
    story.entry(fixed, "repair")
    story.blame("oil-overtemperature", t, fixed, "heater-relay-shorted")
    story.blame("no-heat ignition-failure", t, fixed + 2 * HOUR, "heater-relay-shorted")
    story.blame("refill-without-burning", t, fixed + 12 * HOUR, "thermal-contraction", under="heater-stuck-on")
    story.tolerate(
        "preheat-slow preheat-stalled no-heat heater-stuck-on sensor-fault",
        t,
        fixed + 6 * HOUR,
        "runaway, then the cut-out opens",
    )

    def claim(truth: Truth) -> None:
        plant, c = truth.plant, truth.log.columns
        heater = plant.tank_heater if channel == "tank" else plant.nozzle_heater
        window = (c["t"] >= t) & (c["t"] <= fixed)
        ts, x = c["t"][window], c[channel][window]
        over = ts[x > truth.setpoint_C(channel, t) + heater.hysteresis_K / 2 + 5.0]
        latest: dict[str, float] = {}
        if len(over):
            latest = dict.fromkeys(EVERY_SET, float(over[0]) + 10 * MINUTE)
        early = float(over[0]) if len(over) else fixed
        for name, witness in (("some", "call"), ("all", f"{channel}_heater")):
            if witness not in truth.channels[name] or (witness == "call" and plant.keep_warm):
                continue
            climbing = _climb_while_off(truth, ts, x, witness)
            if climbing is not None and climbing < early + 10 * MINUTE:
                latest[name] = min(latest.get(name, truth.end), climbing + 10 * MINUTE)
                early = min(early, climbing)
        if channel == "nozzle":  # who cannot see the drive must first rule out the soak of twenty minutes after a fire
            fires = [f["off"] for f in truth.log.firings if f["lit"] < early]
            soaked = fires[-1] + 25 * MINUTE if fires else 0.0
            unseen = [s for s in latest if s != "all" or "nozzle_heater" not in truth.channels["all"]]
            latest |= {name: max(latest[name], soaked) for name in unseen}
        if latest:
            truth.expect(
                "heater-stuck-on",
                t,
                early,
                latest,
                fixed + DAY,
                "heater-relay-shorted",
                channel=channel,
                severity="critical",
            )

    story.claims.append(claim)


def _climb_while_off(truth: Truth, ts: np.ndarray, x: np.ndarray, witness: str) -> float | None:
    """First moment the temperature has climbed over 0.5 K/min for a minute, 3 min after ``witness`` went off."""
    since = None
    for moment in np.arange(ts[0], ts[-1], 15.0).tolist():
        if truth.log.state(witness, moment):
            since = None
            continue
        since = moment if since is None else since
        if moment - since > 240.0:
            now, before = np.interp([moment, moment - 60.0], ts, x)
            if now - before > 0.55:
                return float(moment)
    return None


def supply_runs_low(story: Story, day: float, days: float) -> None:
    """Nobody brings oil until a day after the supply tank has run dry, ``days`` after ``day`` at the latest."""
    t, filled = day * DAY, (day + days) * DAY

    def start(sim: Simulation) -> None:
        sim.condition.deliveries = False
        sim.supply_l = 0.9 * sim.plant.supply_volume_l
        sim.later(t, watch)

    def watch(sim: Simulation) -> None:
        sim.later(sim.now + (1.1 * DAY if sim.supply_l <= 0.0 else HOUR), fill if sim.supply_l <= 0.0 else watch)

    def fill(sim: Simulation) -> None:
        if sim.condition.deliveries:
            return
        sim.later(sim.now + 60.0, push_until_full)
        sim.condition.deliveries = True
        sim.supply_l = 0.95 * sim.plant.supply_volume_l
        sim.limiter.latched = False
        sim.primary.reset()

    story.at(0.0, start)
    story.at(filled, fill)
    story.blame("refill-timeout", t, filled + HOUR, "supply-empty")
    story.blame(STARVED, t, filled + 2 * HOUR, "supply-empty", under="refill-timeout")
    story.tolerate(
        "refill-timeout refill-overdue freeze-risk refill-slowing short-cycling stack-low",
        t,
        filled + DAY,
        "an empty supply tank",
    )
    story.claims.append(lambda truth: _supply_low(truth, t, filled))


def _supply_low(truth: Truth, t: float, filled: float) -> None:
    if "supply_level" not in truth.channels["all"]:
        return
    c = truth.log.columns
    notice = float(truth.profile.get("supply", {}).get("notice_days", 3.0))
    for moment in np.arange(max(t, 3 * DAY), filled, HOUR).tolist():
        now, before = np.interp([moment, moment - 3 * DAY], c["t"], c["supply_l"])
        a_day = (before - now) / 3.0
        if a_day > 0.0 and now / a_day < notice:
            truth.expect(
                "supply-low",
                t,
                moment,
                {"all": moment + 1.2 * DAY},
                filled + 6 * HOUR,
                "supply-empty",
                earliest=moment - 2.5 * DAY,
                severity="medium",
            )
            return
