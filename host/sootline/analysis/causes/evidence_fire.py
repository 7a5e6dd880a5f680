"""Evidence from starts and flames: what the stack did, air, oil at the nozzle, timing."""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sootline.analysis.causes.recorder import Burn
from sootline.analysis.causes.scene import Finding, Scene, evidence
from sootline.series import Times

MINUTE_MS = 60_000
DAY_MS = 86_400_000
ALWAYS_SHARE = 2 / 3  # a refill comes every ten to twenty minutes of fire: one loss in six falls on it by chance
ROSE_K = 8.0  # a flame that lit moved the stack by at least this (common practice)


def _start_ms(scene: Scene) -> int:
    """When the start that failed began: when the burner came on, else the fire that has gone out, else a guess."""
    raised = scene.entry.raised_ms
    on_s = scene.number("waited_s")
    if on_s is not None:
        return raised - round(on_s * 1000)
    t, x = scene.plant.history.window("burner", raised - 15 * MINUTE_MS, raised)
    ons = [int(t[k]) for k in range(1, len(t)) if x[k] > 0.5 >= x[k - 1]]
    if ons:
        return ons[-1]
    lit = _lit_before(scene)
    return raised - 5 * MINUTE_MS if lit is None else lit.start_ms


def _lit_before(scene: Scene) -> Burn | None:
    """The last fire before the alarm, where it went out with the call on, within 20 min of it."""
    burns = [burn for burn in scene.seen.burns if burn.start_ms < scene.entry.raised_ms]
    if not burns or burns[-1].called is False or scene.entry.raised_ms - burns[-1].end_ms > 20 * MINUTE_MS:
        return None
    return burns[-1]


@evidence("stack-rose", 0.3)
def stack_rose(scene: Scene) -> Finding | None:
    """The stack rose at the start that failed: something burned."""
    start_ms = _start_ms(scene)
    end_ms = min(scene.now_ms, scene.entry.raised_ms + 3 * MINUTE_MS, _next_try_ms(scene, start_ms))
    t, x = scene.plant.history.window("stack", start_ms - 30_000, end_ms)
    if len(x) < 3 or t[-1] < start_ms + 20_000:
        return None
    rose = float(x[t >= start_ms].max() - x[0])
    return Finding(rose > ROSE_K, f"stack rose {rose:.0f} K, then fell" if rose > ROSE_K else "stack stayed flat")


def _next_try_ms(scene: Scene, start_ms: int) -> int:
    """When the next start began, or the fire was lit that burns now: what the stack does then is theirs."""
    t, x = scene.plant.history.window("burner", start_ms + 5000, scene.now_ms)
    on = np.flatnonzero((x[1:] > 0.5) & (x[:-1] <= 0.5))
    again = int(t[on[0] + 1]) if len(on) else scene.now_ms
    lit_ms = scene.fire.since_ms if scene.fire.on else None
    return again if lit_ms is None or lit_ms <= start_ms else min(again, lit_ms)


@evidence("lit-briefly", 0.1, once=True)
def lit_briefly(scene: Scene) -> Finding | None:
    """The last fire went out by itself after no longer than a trial for ignition: it lit, and the control did not see.

    Without a burner contact and without a call nobody knows that it was to burn on; then it says nothing.
    """
    lit = scene.seen.burns[-1] if scene.seen.burns else None
    if lit is None or lit.called is False or scene.now_ms - lit.end_ms > 20 * MINUTE_MS or scene.fire.on:
        return None
    if lit.called is None and not scene.plant.has("burner"):
        return None
    burned_s = (lit.end_ms - lit.start_ms) / 1000
    return Finding(burned_s < scene.plant.settings.trial_s, f"the last fire went out after {burned_s:.0f} s")


@evidence("air-low", 0.08)
def air_low(scene: Scene) -> Finding | None:
    """Atomising air more than 15 % under its set point while the burner ran, or known to be off."""
    if not scene.plant.has("air_pressure"):
        return None
    other = scene.standing("air-pressure", hours=2.0)
    set_kPa = scene.plant.profile.air.setpoint_kPa
    usual = scene.usual("air_Pa") if set_kPa is None else 1000 * set_kPa
    raised_ms = scene.entry.raised_ms
    t, x = scene.plant.history.window("air_pressure", raised_ms - 10 * MINUTE_MS, raised_ms + 15 * MINUTE_MS)
    running = x[_while_burner(scene, t)]
    lately = scene.now_ms - raised_ms < 30 * MINUTE_MS  # afterwards it may have been mended
    pressure = float(np.median(running)) if len(running) else scene.level("air_Pa") if lately else None
    if usual is None or pressure is None:
        return Finding(True, "atomising air off") if other and lately else None
    return Finding(pressure < 0.85 * usual, f"atomising air {pressure / 1000:.0f} kPa, usual {usual / 1000:.0f} kPa")


def _while_burner(scene: Scene, times: Times) -> NDArray[np.bool_]:
    """Whether the burner had been on for 3 s at each time; where it is not wired, whether it burns now."""
    if not len(times) or not scene.plant.has("burner"):
        return np.full(len(times), scene.fire.on is True)
    t, x = scene.plant.history.window("burner", int(times[0]) - 5 * MINUTE_MS, int(times[-1]))
    on = np.concatenate(([False], x > 0.5))
    known: NDArray[np.bool_] = on[np.searchsorted(t, times, "right")] & on[np.searchsorted(t, times - 3000, "right")]
    return known


@evidence("air-dipped", 0.08, once=True)
def air_dipped(scene: Scene) -> Finding | None:
    """Atomising air had sagged by 15 % in the two minutes before the flame was lost."""
    end_ms = scene.fire.last_end_ms
    if end_ms is None or scene.now_ms - end_ms > 2 * 3_600_000:
        return None
    x = scene.plant.history.window("air_pressure", end_ms - 2 * MINUTE_MS, end_ms - 3000)[1]
    usual = scene.usual("air_Pa")
    if usual is None or not len(x):
        return None
    return Finding(float(x.min()) < 0.85 * usual, f"air down to {x.min() / 1000:.0f} kPa, usual {usual / 1000:.0f} kPa")


@evidence("air-high", 0.05)
def air_high(scene: Scene) -> Finding | None:
    """Atomising air at least 6 % above its usual pressure."""
    change = scene.change("air_Pa")
    if change is None:
        return None
    return Finding(change[0] > 1.06 * change[1], f"air {change[0] / 1000:.0f} kPa, usual {change[1] / 1000:.0f} kPa")


@evidence("air-absent", 0.25)
def air_absent(scene: Scene) -> Finding | None:
    """Hardly any atomising air at all."""
    pressure, setpoint = scene.number("pressure_Pa"), scene.number("setpoint_Pa")
    if pressure is None or not setpoint:
        return None
    return Finding(pressure < 0.3 * setpoint, f"air {pressure / 1000:.0f} kPa of {setpoint / 1000:.0f} kPa")


@evidence("air-over", 0.1)
def air_over(scene: Scene) -> Finding | None:
    """The air is above its band, not below."""
    pressure, setpoint = scene.number("pressure_Pa"), scene.number("setpoint_Pa")
    if pressure is None or not setpoint:
        return None
    return Finding(pressure > setpoint, f"air {pressure / 1000:.0f} kPa of {setpoint / 1000:.0f} kPa")


@evidence("air-sinking", 0.25)
def air_sinking(scene: Scene) -> Finding | None:
    """The air had been sinking for days, not at once."""
    before, usual = scene.seen.daily["air_Pa"].day_before(scene.now_ms), scene.usual("air_Pa")
    if before is None or usual is None:
        return None
    holds = before < 0.96 * usual
    return Finding(holds, f"air {before / 1000:.0f} kPa the day before, usual {usual / 1000:.0f} kPa")


@evidence("nozzle-cold", 0.08)
def nozzle_cold(scene: Scene) -> Finding | None:
    """The oil at the nozzle was 8 K or more under its set point, or its usual, at the start."""
    at = scene.plant.history.at("nozzle", _start_ms(scene))
    usual = scene.plant.setpoint_C("nozzle")
    if usual is None:
        usual = scene.usual("lit_nozzle_C")
    if at is None or usual is None:
        return None
    holds = at < usual - 8.0
    return Finding(holds, f"oil at the nozzle {at:.0f} °C of {usual:.0f} °C")


@evidence("nozzle-colder", 0.12)
def nozzle_colder(scene: Scene) -> Finding | None:
    """The last flames were lit with oil at least 5 K colder at the nozzle than usual."""
    last, usual = scene.last("lit_nozzle_C", 3), scene.usual("lit_nozzle_C")
    if last is None or usual is None:
        return None
    return Finding(last < usual - 5.0, f"lit with the nozzle at {last:.0f} °C, usual {usual:.0f} °C")


@evidence("nozzle-falls", 0.08, once=True)
def nozzle_falls(scene: Scene) -> Finding | None:
    """The oil at the nozzle fell by 8 K or more while the fire burned: cold oil comes, or its heater lags."""
    end_ms, since = scene.fire.last_end_ms, scene.seen.burns[-1].start_ms if scene.seen.burns else None
    if end_ms is None or since is None or scene.now_ms - end_ms > 2 * 3_600_000:
        return None
    x = scene.plant.history.window("nozzle", max(since, end_ms - 3_600_000), end_ms)[1]
    if len(x) < 3:
        return None
    fell = float(x[: max(1, len(x) // 2)].max() - x[-1])
    return Finding(fell > 8.0, f"nozzle oil fell {fell:.0f} K in the fire" if fell > 8.0 else "nozzle oil stayed warm")


@evidence("late-drift", 0.4)
def late_drift(scene: Scene) -> Finding | None:
    """The time to flame had been creeping up over days, rather than jumped."""
    daily = scene.seen.daily["to_flame_s"]
    before, usual, last = daily.day_before(scene.now_ms), daily.usual(), daily.last(5)
    if before is None or usual is None or last is None or last - usual < 1.0:
        return None
    holds = before - usual > 0.25 * (last - usual)
    return Finding(holds, f"flame after {last:.0f} s; {before:.0f} s the day before, usual {usual:.0f} s")


@evidence("late-when-cold", 0.12)
def late_when_cold(scene: Scene) -> Finding | None:
    """Only the first flame after a long rest comes late."""
    first, others = scene.last("first_to_flame_s", 2), scene.last("to_flame_s", 3)
    if first is None or others is None:
        return None
    return Finding(first > others + 3.0, f"first of the day {first:.0f} s, others {others:.0f} s")


@evidence("at-refill", 0.3, once=True)
def at_refill(scene: Scene) -> Finding | None:
    """The flame was lost within 2 min of a refill: this time, and two times in three of the day before."""
    if scene.fire.last_end_ms is None or not scene.seen.runs:
        return None
    losses = [burn.end_ms for burn in scene.seen.burns if burn.called is not False]
    losses = [t for t in losses if scene.now_ms - t < DAY_MS] or [scene.fire.last_end_ms]
    near = sum(any(0 <= t - run.start_ms < 2 * MINUTE_MS for run in scene.seen.runs) for t in losses)
    words = "no refill just before" if not near else f"{near} of {len(losses)} times just after a refill"
    return Finding(near >= ALWAYS_SHARE * len(losses), words if len(losses) > 1 or not near else "just after a refill")


@evidence("came-back", 0.5)
def came_back(scene: Scene) -> Finding | None:
    """The fire came back by itself."""
    if scene.fire.on is None:
        return None
    if scene.standing("lockout"):
        return Finding(False, "it has locked out")
    back = scene.entry.detail.get("recovered") is True or scene.fire.on or not scene.entry.stands
    if not back and scene.plant.state("call") is False:
        return None  # nothing asks it to
    lost_ms = max(scene.entry.raised_ms, scene.fire.last_end_ms or 0)
    if not back and scene.now_ms - lost_ms < 3 * MINUTE_MS:  # too early to tell; but after the losses before it did
        return Finding(True, "it relit by itself before") if (scene.number("losses_1h") or 0) > 1 else None
    return Finding(bool(back), "it relit by itself" if back else "it has not relit")


@evidence("same-time", 0.08, once=True)
def same_time(scene: Scene) -> Finding | None:
    """Lost about the same time into each of the last three firings, with the call still on."""
    lost = [burn for burn in scene.seen.burns if burn.called is not False][-3:]
    if len(lost) < 3 or (scene.number("losses_1h") or 0) < 2:
        return None
    minutes = sorted((burn.end_ms - burn.start_ms) / MINUTE_MS for burn in lost)
    holds = minutes[-1] < 1.25 * minutes[0] and minutes[0] > 0.5
    return Finding(holds, f"lost after {minutes[0]:.0f} to {minutes[-1]:.0f} min each time")


@evidence("never-seen", 0.04, once=True)
def never_seen(scene: Scene) -> Finding | None:
    """The stack rose with the burner on, but the flame detector saw nothing."""
    fire = scene.fire
    if not scene.plant.has("flame") or not scene.plant.has("burner"):
        return None
    ended_ms = fire.last_end_ms
    if ended_ms is None or abs(scene.entry.raised_ms - ended_ms) > 5 * MINUTE_MS or not scene.seen.burns:
        return None
    start_ms = max(scene.seen.burns[-1].start_ms, ended_ms - 3_600_000) - 30_000
    seen = bool((scene.plant.history.window("flame", start_ms, ended_ms)[1] > 0.5).any())
    return Finding(not seen, "the detector saw the flame" if seen else "stack rose, the detector saw no flame")


@evidence("supply-dregs", 0.08)
def supply_dregs(scene: Scene) -> Finding | None:
    """The supply tank is nearly empty: water and sludge lie at the bottom."""
    level = scene.plant.value("supply_level")
    return None if level is None else Finding(level < 0.1, f"supply tank {100 * level:.0f} %")


@evidence("draft-reversed", 0.02, once=True)
def draft_reversed(scene: Scene) -> Finding | None:
    """The breech draft had gone to nothing or reversed in the three minutes before."""
    end_ms = scene.fire.last_end_ms
    if end_ms is None or scene.now_ms - end_ms > 2 * 3_600_000:
        return None
    x = scene.plant.history.window("draft_breech", end_ms - 3 * MINUTE_MS, end_ms - 5000)[1]
    return Finding(float(x.max()) > -1.0, f"breech draft up to {x.max():.0f} Pa") if len(x) else None


@evidence("burner-never", 0.2)
def burner_never(scene: Scene) -> Finding | None:
    """The burner has not come on since heat has been waited for."""
    if not scene.plant.has("burner"):
        return None
    called_ms, waited_min = scene.plant.changed_ms("call"), scene.number("waiting_min")
    if called_ms is None or scene.plant.state("call") is not True:
        return None
    # a call may have been answered first: it counts from the end of that fire
    since = (
        called_ms if waited_min is None else max(called_ms, scene.entry.raised_ms - round(waited_min - 1) * MINUTE_MS)
    )
    x = scene.plant.history.window("burner", max(since, scene.now_ms - 4 * 3_600_000), scene.now_ms)[1]
    tried = bool((x > 0.5).any())
    return Finding(not tried, "the burner has tried" if tried else "the burner never came on")


@evidence("oil-warm", 0.6)
def oil_warm(scene: Scene) -> Finding | None:
    """Day tank and nozzle oil are at their set points."""
    missing = [m for m in (heating.missing_K() for heating in scene.engine.heating.values()) if m is not None]
    if not missing:
        return None
    return Finding(max(missing) < 6.0, "oil is warm" if max(missing) < 6.0 else f"oil {max(missing):.0f} K too cold")


@evidence("burner-on", 0.5, once=True)
def burner_on(scene: Scene) -> Finding | None:
    """The burner is energised."""
    on = scene.plant.state("burner")
    return None if on is None else Finding(on, "burner energised" if on else "burner off")


@evidence("went-on", 0.35, once=True)
def went_on(scene: Scene) -> Finding | None:
    """The fire burned on past the end of a call; else it started with none."""
    called_off, since = scene.plant.changed_ms("call"), scene.fire.since_ms
    if called_off is None or scene.plant.state("call") is not False or since is None:
        return None
    never_cooled = scene.entry.detail.get("reason") == "the stack does not cool"
    holds = since < called_off if scene.fire.on else never_cooled
    return Finding(holds, "burned on after the call ended" if holds else "started with no call")


@evidence("stack-climbs-alone", 0.05, once=True)
def stack_climbs_alone(scene: Scene) -> Finding | None:
    """The stack heats up although the burner is off."""
    burner = scene.plant.state("burner")
    slope = scene.plant.slope_per_min("stack", 300_000)
    if burner is None or slope is None:
        return None
    return Finding(not burner and slope > 1.0, f"burner {'on' if burner else 'off'}, stack {slope:+.1f} K/min")


@evidence("call-ended-it", 0.5)
def call_ended_it(scene: Scene) -> Finding | None:
    """The short firings ended because the call did."""
    burns = [burn for burn in scene.seen.burns if burn.called is not None][-6:]
    if len(burns) < 4:
        return None
    ended = sum(burn.called is False for burn in burns)
    return Finding(ended >= 0.6 * len(burns), f"the call ended {ended} of the last {len(burns)} firings")


@evidence("brief-rests", 0.3)
def brief_rests(scene: Scene) -> Finding | None:
    """It rests only minutes between firings: the thermostat's own doing, not the room's."""
    burns = list(scene.seen.burns)[-6:]
    if len(burns) < 4:
        return None
    rests = sorted((b.start_ms - a.end_ms) / MINUTE_MS for a, b in pairwise(burns))
    middle = rests[len(rests) // 2]
    return Finding(middle < 6.0, f"rests {middle:.0f} min between firings")


@evidence("cycles-faster", 0.3)
def cycles_faster(scene: Scene) -> Finding | None:
    """It cycles over twice as fast as this thermostat does, load for load.

    A thermostat's cycles follow 4 N_max x (1 - x) of the share x it is on (ANSI/NEMA DC 3, from memory): N_max stays
    the same on mild and on cold days, however large the furnace.
    """
    last, usual = scene.last("cycles_most_per_h", 6), scene.usual("cycles_most_per_h")
    if last is None or usual is None:
        return None
    return Finding(last > 2.0 * usual, f"cycles of {60 / last:.0f} min at half load, usual {60 / usual:.0f} min")
