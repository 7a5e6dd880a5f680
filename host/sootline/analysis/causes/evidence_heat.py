"""Evidence from the heating of day tank and nozzle block: rates, currents, drives."""

import numpy as np

from sootline.analysis.causes.scene import Finding, Scene, evidence
from sootline.analysis.follow.heating import Heating

OTHER = {"tank": "nozzle", "nozzle": "tank"}
WORDS = {"tank": "day tank", "nozzle": "nozzle block"}
HOUR_MS = 3_600_000


def _heating(scene: Scene) -> Heating | None:
    return scene.engine.heating.get(scene.entry.channel or "")


def _climb(scene: Scene) -> tuple[float, float] | None:
    """(rate of the climb under way, usual rate) [K/min], without the pauses that refills make."""
    heating = _heating(scene)
    usual = None if heating is None else heating.usual_K_per_min.median
    if heating is None or usual is None or usual <= 0 or heating.start_ms is None:
        return None
    start_ms = max(heating.start_ms + 120_000, scene.now_ms - 3 * HOUR_MS)
    t, x = scene.plant.history.window(heating.channel, start_ms, scene.now_ms)
    if len(t) < 4 or t[-1] - t[0] < 240_000:
        return None
    steps = np.searchsorted(t, np.arange(t[0], t[-1], 120_000))
    rates = np.diff(x[steps]) / np.diff(t[steps]) * 60_000
    return (float(np.median(rates)), usual) if len(rates) else None


@evidence("half-rate", 0.25, once=True)
def half_rate(scene: Scene) -> Finding | None:
    """It climbs at about half its usual rate, losses to the room counted: 30 to 66 %."""
    climb = _climb(scene)
    if climb is None:
        return None
    share = climb[0] / climb[1]
    return Finding(0.3 <= share <= 0.66, f"climbs {climb[0]:.1f} K/min, usual {climb[1]:.1f} K/min")


@evidence("usual-rate", 0.15, once=True)
def usual_rate(scene: Scene) -> Finding | None:
    """It climbs about as fast as usual; only the way is longer or was interrupted."""
    climb = _climb(scene)
    if climb is None:
        return None
    return Finding(climb[0] >= 0.8 * climb[1], f"climbs {climb[0]:.1f} K/min, usual {climb[1]:.1f} K/min")


@evidence("colder-start", 0.2, once=True)
def colder_start(scene: Scene) -> Finding | None:
    """The climb began at least 6 K colder than usual."""
    heating = _heating(scene)
    if heating is None or heating.start_ms is None:
        return None
    usual = scene.usual(f"{heating.channel}_start_C")
    if usual is None:
        return None
    holds = heating.start_C < usual - 6.0
    return Finding(holds, f"started at {heating.start_C:.0f} °C, usual {usual:.0f} °C")


@evidence("flat-at-boiling", 0.03)
def flat_at_boiling(scene: Scene) -> Finding | None:
    """It stood still for minutes between 88 and 106 °C, as oil does while water boils out of it."""
    heating = _heating(scene)
    if heating is None:
        return None
    x = scene.plant.history.window(heating.channel, scene.now_ms - 600_000, scene.now_ms)[1]
    target = heating.target_C()
    if len(x) < 5 or target is None or target < 90.0:
        return None
    flat = float(np.median(x))
    holds = 88.0 < flat < min(106.0, target - 2.0) and float(x.max() - x.min()) < 3.0
    return Finding(holds, f"stands at {flat:.0f} °C" if holds else "no stand near the boiling point of water")


@evidence("other-slow", 0.15)
def other_slow(scene: Scene) -> Finding | None:
    """The other heated oil is in trouble too: a common cause, such as mains."""
    channel = OTHER.get(scene.entry.channel or "")
    if channel is None:
        return None
    other = scene.engine.heating[channel]
    for entry in scene.plant.book.all_standing():
        if entry.alarm in ("preheat-slow", "preheat-stalled") and entry.channel == channel:
            return Finding(True, f"{WORDS[channel]} heats badly too")
    value, target = scene.plant.value(channel), other.target_C()
    if value is None or target is None:
        return None
    if value > target - 8.0:
        return Finding(False, f"{WORDS[channel]} is warm")
    slope, usual = scene.plant.slope_per_min(channel, 300_000), other.usual_K_per_min.median
    if other.start_ms is None or slope is None or usual is None:
        return None
    return Finding(slope < 0.7 * usual, f"{WORDS[channel]} climbs {slope:.1f} K/min, usual {usual:.1f} K/min")


@evidence("refills-in-climb", 0.15)
def refills_in_climb(scene: Scene) -> Finding | None:
    """Cold oil was pumped in during the climb, twice or more."""
    heating = _heating(scene)
    if heating is None or heating.start_ms is None:
        return None
    n = sum(run.end_ms > heating.start_ms and run.on_s > 3.0 for run in scene.seen.runs)
    return Finding(n >= 2, f"{n} refills during the climb")


def _heater_A(scene: Scene, window_ms: int) -> float | None:
    channel = scene.entry.channel or ""
    return scene.seen.heater_A(channel, scene.now_ms - window_ms, scene.now_ms) if channel in OTHER else None


@evidence("current-half", 0.15, once=True)
def current_half(scene: Scene) -> Finding | None:
    """The heater draws 30 to 70 % of its usual current."""
    now = _heater_A(scene, 300_000)
    usual = None if now is None else scene.usual(f"{scene.entry.channel}_heater_A")
    if now is None or usual is None or usual <= 0:
        return None
    return Finding(0.3 < now / usual < 0.7, f"heater draws {abs(now):.1f} A, usual {usual:.1f} A")


@evidence("current-none", 0.2, once=True)
def current_none(scene: Scene) -> Finding | None:
    """No heater current flows while its drive is on."""
    now = _heater_A(scene, 60_000)
    if now is None or not scene.plant.state(f"{scene.entry.channel}_heater"):
        return None
    return Finding(now < 0.2, f"drive on, heater draws {abs(now):.1f} A")


@evidence("current-undriven", 0.05, once=True)
def current_undriven(scene: Scene) -> Finding | None:
    """Current flows though the drive is off."""
    channel = scene.entry.channel or ""
    if channel not in OTHER or scene.plant.state(f"{channel}_heater") is not False:
        return None
    now = scene.plant.value(f"{channel}_heater_current")
    return None if now is None else Finding(now > 0.2, f"drive off, heater draws {abs(now):.1f} A")


@evidence("drive-off", 0.4, once=True)
def drive_off(scene: Scene) -> Finding | None:
    """The heater's drive is off."""
    drive = scene.plant.state(f"{scene.entry.channel}_heater") if scene.entry.channel in OTHER else None
    return None if drive is None else Finding(not drive, "heater drive on" if drive else "heater drive off")


@evidence("stopped-in-climb", 0.2, once=True)
def stopped_in_climb(scene: Scene) -> Finding | None:
    """It climbed by 8 K or more as usual, then stopped short of its set point."""
    heating = _heating(scene)
    if heating is None or heating.start_ms is None:
        return None
    start_ms = max(heating.start_ms, scene.now_ms - 3 * HOUR_MS)
    x = scene.plant.history.window(heating.channel, start_ms, scene.now_ms)[1]
    if not len(x):
        return None
    rose = float(x.max() - x[0])
    return Finding(rose > 8.0, f"climbed {max(rose, 0.0):.0f} K, then stopped at {x.max():.0f} °C" if rose > 8 else
                   f"has climbed {max(rose, 0.0):.0f} K only")  # fmt: skip


@evidence("was-too-hot", 0.04, once=True)
def was_too_hot(scene: Scene) -> Finding | None:
    """In the 4 h before it had been 12 K or more above its set point."""
    heating = _heating(scene)
    target = None if heating is None else heating.target_C()
    if heating is None or target is None:
        return None
    x = scene.plant.history.window(heating.channel, scene.now_ms - 4 * HOUR_MS, scene.now_ms)[1]
    if not len(x):
        return None
    return Finding(float(x.max()) > target + 12.0, f"highest in 4 h {x.max():.0f} °C, set point {target:.0f} °C")


@evidence("probe-jumped", 0.03, once=True)
def probe_jumped(scene: Scene) -> Finding | None:
    """The reading fell faster than oil can cool, with no refill: the probe has moved, not the oil."""
    channel = scene.entry.channel or ""
    if channel not in OTHER:
        return None
    t, x = scene.plant.history.window(channel, scene.now_ms - 3 * HOUR_MS, scene.now_ms)
    if len(x) < 3:
        return None
    steps = np.diff(x)
    fast = (steps < -6.0) & (np.diff(t) < 90_000)
    for k in np.flatnonzero(fast):
        if not any(run.start_ms - 30_000 < t[k] < run.end_ms + 120_000 for run in scene.seen.runs):
            return Finding(True, f"reading fell {-steps[k]:.0f} K at once")
    return Finding(False, "no jump of the reading")


@evidence("after-fire", 0.15, once=True)
def after_fire(scene: Scene) -> Finding | None:
    """A fire burns or has ended less than 25 min before: chamber heat soaks into the block (not into the day tank)."""
    fire = scene.fire
    if scene.entry.channel == "tank":
        return Finding(False, "chamber heat does not reach the day tank")
    if fire.on is None:
        return None
    if fire.on:
        return Finding(True, "the fire burns")
    if fire.last_end_ms is None:
        return Finding(False, "no fire before")
    minutes = (scene.now_ms - fire.last_end_ms) / 60_000
    return Finding(minutes < 25.0, f"last fire ended {minutes:.0f} min before")


@evidence("heater-pace", 0.4, once=True)
def heater_pace(scene: Scene) -> Finding | None:
    """It climbs at least half as fast as its heater usually makes it."""
    heating = _heating(scene)
    usual = None if heating is None else heating.usual_K_per_min.median
    rate = scene.number("climb_K_per_min")
    if rate is None and heating is not None:
        rate = scene.plant.slope_per_min(heating.channel, 180_000)
    if usual is None or rate is None:
        return None
    return Finding(rate > 0.5 * usual, f"climbs {rate:.1f} K/min, with its heater usually {usual:.1f} K/min")


@evidence("stuck-heater", 0.3, once=True)
def stuck_heater(scene: Scene) -> Finding | None:
    """In the day before the heater was known to be stuck on, or had heated the oil past its limit."""
    signs = {"heater-stuck-on", "oil-overtemperature"} - {scene.entry.alarm}
    for entry in scene.plant.book.entries[-40:]:
        recent = scene.now_ms - max(entry.raised_ms, entry.cleared_ms or 0) < 24 * HOUR_MS
        if recent and entry.alarm in signs and entry.channel == scene.entry.channel and entry is not scene.entry:
            stuck = entry.alarm == "heater-stuck-on"
            return Finding(True, "the heater was stuck on before" if stuck else "the oil had passed its limit before")
    return Finding(False, "heater not known to be stuck on")


@evidence("never-so-hot", 0.5, once=True)
def never_so_hot(scene: Scene) -> Finding | None:
    """It is 12 K hotter than after any of its firings so far: chamber heat has never taken it there."""
    heating = _heating(scene)
    value = scene.plant.value(scene.entry.channel or "")
    highest = None if heating is None else heating.band_top_C()
    if value is None or highest is None:
        return None
    return Finding(value > highest + 12.0, f"{value:.0f} °C, highest before {highest:.0f} °C")
