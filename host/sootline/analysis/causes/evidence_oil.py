"""Evidence from refills: pump seconds, dips, suction, intervals, float and levels."""

import numpy as np

from sootline.analysis.causes.scene import Finding, Scene, evidence
from sootline.analysis.follow.pump import Run

SMOOTH, CLEAR_SD = 5, 5.0  # readings to a mean; of a difference of two such means: none in a million is larger
NOTHING_SHARE = 0.1  # of its usual vacuum
COLD_K = 6.0  # colder than usual by this: VG 68 is then half as thick again (ASTM D341)


def _dip(scene: Scene) -> tuple[float, float] | None:
    """(fall at this alarm's pump run, usual fall from there) [K]; None while not measured or too small to judge."""
    runs = [run for run in scene.seen.runs if run.end_ms >= scene.entry.raised_ms - 60_000]
    usual_share = scene.usual("refill_fall_share")
    fall = scene.seen.fall(runs[0].start_ms, runs[0].end_ms) if runs else None
    if fall is None or usual_share is None:
        return None
    usual_K = usual_share * fall[1]
    return (fall[0], usual_K) if usual_K > 3 * scene.plant.settings.dip_noise_K else None


@evidence("no-dip", 0.4)
def no_dip(scene: Scene) -> Finding | None:
    """The pump ran, but the day tank did not dip: no oil came."""
    dip = _dip(scene)
    if dip is None:
        return None
    holds = dip[0] < 0.45 * dip[1]
    return Finding(holds, f"{'no dip' if holds else 'dip'}: {max(dip[0], 0.0):.1f} K of the usual {dip[1]:.1f} K")


@evidence("large-dip", 0.06)
def large_dip(scene: Scene) -> Finding | None:
    """The dip was far larger than usual: more oil came than the float asks for. Only where some oil came."""
    dip, none = _dip(scene), no_dip(scene)
    if dip is None or none is None or none.holds:
        return None
    return Finding(dip[0] > 1.4 * dip[1], f"dip {dip[0] / dip[1]:.1f} times the usual")


@evidence("seconds-up", 0.12)
def seconds_up(scene: Scene) -> Finding | None:
    """Refills before this one took at least 15 % longer than usual."""
    last, usual = scene.last("refill_s", 3), scene.usual("refill_s")
    if last is None or usual is None:
        return None
    return Finding(last > 1.15 * usual, f"refills before took {last:.1f} s, usual {usual:.1f} s")


@evidence("seconds-down", 0.05)
def seconds_down(scene: Scene) -> Finding | None:
    """Refills have become shorter by at least 20 %: sips, or a float differential that has shrunk."""
    last, usual = scene.last("refill_s", 5), scene.usual("refill_s")
    if last is None or usual is None:
        return None
    return Finding(last < 0.8 * usual, f"refills now take {last:.1f} s, usual {usual:.1f} s")


@evidence("slow-for-days", 0.5)
def slow_for_days(scene: Scene) -> Finding | None:
    """Where refills are slow now: they had been slow the day before as well."""
    now, usual = seconds_up(scene), scene.usual("refill_s")
    before = scene.seen.daily["refill_s"].day_before(scene.now_ms)
    if now is None or not now.holds or usual is None or before is None:
        return None
    holds = before > 1.08 * usual
    return Finding(holds, f"{before:.1f} s the day before" + ("" if holds else ": slow since today only"))


@evidence("oil-colder", 0.15)
def oil_colder(scene: Scene) -> Finding | None:
    """The oil at the pump (outdoor air where that is not measured) is 6 K colder than usual: thicker."""
    now = scene.plant.value("supply")
    where = "oil at the pump"
    if now is None:
        now, where = scene.plant.value("outdoor"), "outdoor"
    usual = scene.usual("refill_oil_C")
    if now is None or usual is None:
        return None
    colder = usual - now
    holds = colder > COLD_K
    words = f"{abs(colder):.0f} K colder than usual" if holds else "not much colder than usual"
    return Finding(holds, f"{where} {now:.0f} °C, {words}")


@evidence("suction-none", 0.15)
def suction_none(scene: Scene) -> Finding | None:
    """The pump pulls no more vacuum while it is on than the oil's own lift does at rest."""
    pulled, run = _suction(scene), _its_run(scene)
    if pulled is None or run is None:
        return None
    start_ms = run.start_ms
    rest = scene.plant.history.mean("suction", start_ms - 120_000, start_ms - 1) or 0.0
    least_Pa = max(800.0, NOTHING_SHARE * abs(pulled[1] or 0.0))
    return Finding(pulled[0] - rest > -least_Pa, f"suction {pulled[0] / 1000:.1f} kPa, at rest {rest / 1000:.1f} kPa")


@evidence("suction-weak", 0.25)
def suction_weak(scene: Scene) -> Finding | None:
    """The vacuum is less than half the usual: air comes in, or nothing is pumped."""
    pulled = _suction(scene)
    if pulled is None or pulled[1] is None or pulled[1] > -2000.0:
        return None
    holds = pulled[0] > 0.5 * pulled[1]
    return Finding(holds, f"suction {'' if holds else 'not '}weak: {_beside_usual(*pulled)}")


@evidence("suction-deep", 0.2)
def suction_deep(scene: Scene) -> Finding | None:
    """The vacuum is well above the usual: a restriction on the suction side, or thick oil."""
    pulled = _suction(scene)
    if pulled is None or pulled[1] is None:
        return None
    holds = pulled[0] < min(1.35 * pulled[1], pulled[1] - 3000.0)
    return Finding(holds, f"suction {'' if holds else 'not '}deeper than usual: {_beside_usual(*pulled)}")


@evidence("suction-shut", 0.05)
def suction_shut(scene: Scene) -> Finding | None:
    """The vacuum is as deep as a gear pump can pull: the line is shut."""
    pulled = _suction(scene)
    return None if pulled is None else Finding(pulled[0] < -65e3, f"suction {pulled[0] / 1000:.0f} kPa")


def _beside_usual(now_Pa: float, usual_Pa: float | None) -> str:
    return f"{now_Pa / 1000:.0f} kPa" + ("" if usual_Pa is None else f", usual {usual_Pa / 1000:.0f} kPa")


def _its_run(scene: Scene) -> Run | None:
    """The pump run an alarm is about. What comes after one that timed out may be tries, or the repair."""
    if scene.entry.alarm == "refill-timeout":
        return next((run for run in scene.seen.runs if run.end_ms >= scene.entry.raised_ms - 60_000), None)
    last = scene.seen.runs[-1] if scene.seen.runs else None
    return last if last is not None and scene.now_ms - last.end_ms < 3 * 3_600_000 else None


def _suction(scene: Scene) -> tuple[float, float | None] | None:
    """(vacuum of the run that timed out, else of the last one of late; usual vacuum) [Pa, gauge]."""
    run = _its_run(scene)
    if run is None:
        return None
    now = scene.seen.suction_Pa(run.start_ms, run.end_ms)
    return None if now is None else (now, scene.usual("suction_Pa"))


@evidence("supply-empty", 0.06)
def supply_empty(scene: Scene) -> Finding | None:
    """The supply tank is down to its dregs."""
    level = scene.plant.value("supply_level")
    if level is not None:
        return Finding(level < 0.06, f"supply tank {100 * level:.0f} %")
    return Finding(True, "supply tank was running low") if scene.standing("supply-low", hours=24.0) else None


@evidence("float-calls", 0.5)
def float_calls(scene: Scene) -> Finding | None:
    """The float calls for oil."""
    calls = scene.plant.state("float")
    return None if calls is None else Finding(calls, "float calls for oil" if calls else "float does not call")


@evidence("float-full", 0.3)
def float_full(scene: Scene) -> Finding | None:
    """The float did not call while the pump ran."""
    if scene.entry.detail.get("reason") == "float says full":
        return Finding(True, "the float says full, the pump ran on")
    calls = scene.plant.state("float")
    if calls is None:
        return None
    return Finding(not calls, "float still calls" if calls else "the float says full")


@evidence("past-limit", 0.5)
def past_limit(scene: Scene) -> Finding | None:
    """The pump ran past the limiter's time."""
    on_s, limit_s = scene.number("on_time_s"), scene.engine.refills.limit_s
    if limit_s is None:
        return None
    if scene.engine.pump.start_ms is not None:
        on_s = max(on_s or 0.0, (scene.now_ms - scene.engine.pump.start_ms) / 1000)
    elif scene.seen.runs:
        on_s = max(on_s or 0.0, scene.seen.runs[-1].on_s)
    if on_s is None:
        return None
    return Finding(on_s > limit_s + 2.0, f"pump on for {on_s:.0f} s, limit {limit_s:.0f} s")


@evidence("latched-out", 0.15)
def latched_out(scene: Scene) -> Finding | None:
    """The refill limiter is latched out, or a stalled refill was never followed by a good one."""
    locked = scene.plant.state("refill_lockout")
    if locked is not None:
        return Finding(locked, "refill limiter latched out" if locked else "refill limiter not latched")
    refill = scene.seen.last_refill
    if scene.standing("refill-timeout", hours=0.0) or (refill is not None and refill.features["stalled"]):
        return Finding(True, "the last refill stalled and none came since")
    return None if refill is None else Finding(False, "the last refill ended as usual")


@evidence("unseen-dips", 0.04, keeps=True)
def unseen_dips(scene: Scene) -> Finding | None:
    """The day tank dips as at a refill, though the pump is never seen to run."""
    usual, last_ms = scene.engine.refills.usual_dip_K, scene.engine.refills.last_end_ms
    if last_ms is not None and (rises := _level_rises(scene, last_ms)) is not None:
        return Finding(rises > 0, f"day-tank level rose {rises} times with no pump run seen")
    if usual.count < 5 or usual.median is None or usual.median < 1.2 or last_ms is None:
        return None
    start_ms = max(last_ms + 180_000, scene.now_ms - 3 * 3_600_000)
    t, x = scene.plant.history.window("tank", start_ms, scene.now_ms)
    if len(t) < 10:
        return None
    smooth = np.convolve(x, np.full(SMOOTH, 1 / SMOOTH), "valid")
    if 0.5 * usual.median < CLEAR_SD * scene.plant.noise("tank") * (2 / SMOOTH) ** 0.5:
        return None  # its noise alone makes such dips
    t = t[SMOOTH - 1 :]
    before = np.searchsorted(t, t - 60_000)
    fell = np.flatnonzero(smooth[before] - smooth > 0.5 * usual.median)
    dips = int((np.diff(t[fell]) > 120_000).sum()) + 1 if len(fell) else 0
    words = f"{dips} dips of the day tank with no pump run seen" if dips else "no dips of the day tank since"
    return Finding(dips > 0, words)


def _level_rises(scene: Scene, since_ms: int) -> int | None:
    """How often the day-tank level has risen as at a refill since then; None where it is not measured."""
    low, full = scene.usual("level_before"), scene.usual("level_after")
    if low is None or full is None or full - low < 0.02:
        return None
    t, x = scene.plant.history.window("tank_level", max(since_ms + 180_000, scene.now_ms - 3 * 3_600_000), scene.now_ms)
    if len(t) < 5:
        return None
    before = np.maximum(np.searchsorted(t, t - 60_000, "right") - 1, 0)
    rose = np.flatnonzero(x - x[before] > 0.6 * (full - low))
    return int((np.diff(t[rose]) > 120_000).sum()) + 1 if len(rose) else 0


@evidence("level-falls", 0.4)
def level_falls(scene: Scene) -> Finding | None:
    """The day tank really is below where the float usually calls."""
    level, low = scene.plant.value("tank_level"), scene.plant.state("low_level")
    if low:
        return Finding(True, "low-level switch on")
    usual = scene.usual("level_before")
    if level is None or usual is None:
        return None
    return Finding(level < usual - 0.05, f"day tank {100 * level:.0f} %, refilled at {100 * usual:.0f} % usually")


@evidence("oil-rate-up", 0.12)
def oil_rate_up(scene: Scene) -> Finding | None:
    """Refills follow each other at least 8 % sooner than usual, in burning time."""
    last, usual = scene.last("refill_interval_s", 4), scene.usual("refill_interval_s")
    if last is None or usual is None:
        return None
    return Finding(last < 0.92 * usual, f"a refill every {last / 60:.1f} min of fire, usual {usual / 60:.1f} min")


@evidence("oil-rate-down", 0.12)
def oil_rate_down(scene: Scene) -> Finding | None:
    """Refills follow each other at least 10 % later than usual, in burning time."""
    last, usual = scene.last("refill_interval_s", 3), scene.usual("refill_interval_s")
    if last is None or usual is None:
        return None
    return Finding(last > 1.10 * usual, f"a refill every {last / 60:.1f} min of fire, usual {usual / 60:.1f} min")


@evidence("oil-rate-always", 0.15)
def oil_rate_always(scene: Scene) -> Finding | None:
    """Refills come as often as they have from the first days on."""
    last, usual = scene.last("refill_interval_s", 4), scene.usual("refill_interval_s")
    if last is None or usual is None:
        return None
    words = f"a refill every {last / 60:.1f} min of fire, usual {usual / 60:.1f} min"
    return Finding(abs(last / usual - 1) < 0.04, words)


@evidence("idle-refills", 0.05)
def idle_refills(scene: Scene) -> Finding | None:
    """Refills with nothing burned between them."""
    other = scene.standing("refill-without-burning", hours=72.0)
    return Finding(other is not None, "refills with nothing burned" if other else "no refills without burning")


@evidence("short-runs", 0.06)
def short_runs(scene: Scene) -> Finding | None:
    """Pump runs of less than half the usual length are among the last ones."""
    usual = scene.usual("refill_s") or scene.engine.refills.usual_on_s.median
    runs = [run for run in scene.seen.runs if run.known][-8:]
    if usual is None or len(runs) < 4:
        return None
    short = sum(run.on_s < 0.5 * usual for run in runs)
    return Finding(short >= 3, f"{short} of the last {len(runs)} pump runs under half the usual {usual:.0f} s")


@evidence("even-sips", 0.4)
def even_sips(scene: Scene) -> Finding | None:
    """The short runs come at even distances, as from a float that still follows the oil."""
    short_s = scene.plant.settings.chatter_run_s
    starts = [run.start_ms for run in scene.seen.runs if run.on_s < short_s]
    if len(starts) < 5:
        return None
    low, middle, high = (float(q) / 1000 for q in np.quantile(np.diff(starts), (0.25, 0.5, 0.75)))
    holds = low > 0.45 * high  # of runs that come at random the quarters stand at 0.21
    return Finding(holds, f"short pump runs {middle:.0f} s apart, {'evenly' if holds else 'unevenly'}")


@evidence("while-burning", 0.5, once=True)
def while_burning(scene: Scene) -> Finding | None:
    """Oil was being burned at the time."""
    burns = scene.fire.on
    return None if burns is None else Finding(burns, "the fire burns" if burns else "no fire")


@evidence("refill-just", 0.3)
def refill_just(scene: Scene) -> Finding | None:
    """The pump runs, or has run within the last 15 min."""
    running = scene.engine.pump.start_ms is not None
    recent = scene.seen.runs and scene.entry.raised_ms - scene.seen.runs[-1].end_ms < 900_000
    return Finding(bool(running or recent), "the pump has just run" if running or recent else "no refill just before")
