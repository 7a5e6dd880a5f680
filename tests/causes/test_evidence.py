"""Single pieces of evidence, on readings made by hand."""

import numpy as np
import pytest

from sootline.analysis.book import Entry
from sootline.analysis.causes.finder import likely
from sootline.analysis.causes.recorder import Burn
from sootline.analysis.causes.scene import EVIDENCE, Finding, Scene
from sootline.analysis.causes.search import beginning
from sootline.analysis.causes.trees import TREES
from sootline.analysis.engine import Engine
from sootline.analysis.follow.pump import Run
from sootline.profile import parse
from sootline.series import Rows

PROFILE = '[furnace]\nid = "shed"\n[tank]\nsetpoint_C = 60.0\n[nozzle]\nsetpoint_C = 85.0\n'
START_MS = 1_767_600_000_000
S, MIN, HOUR, DAY = 1000, 60_000, 3_600_000, 86_400_000


def watched(seconds: int, **channels: np.ndarray | float) -> Engine:
    """An engine that has read these channels every 5 s for so long."""
    t_ms = START_MS + np.arange(0, seconds, 5) * S
    engine = Engine(parse(PROFILE))
    values = {name: np.broadcast_to(np.asarray(x, float), t_ms.shape).copy() for name, x in channels.items()}
    engine.feed(Rows(t_ms, values, {}, ()))
    return engine


def scene(engine: Engine, alarm: str, raised_ms: int, channel: str | None = None, **detail: object) -> Scene:
    return Scene(engine, engine.causes.seen, Entry(alarm, channel, "high", raised_ms, raised_ms, dict(detail)))


def finding(name: str, at: Scene) -> Finding | None:
    return EVIDENCE[name].test(at)


def burned(engine: Engine, *minutes: tuple[float, float], called: bool | None = True) -> None:
    """Firings that began and ended so many minutes before now."""
    now = engine.plant.now_ms
    engine.causes.seen.burns.extend(Burn(now - round(a * MIN), now - round(b * MIN), called, False) for a, b in minutes)


@pytest.mark.parametrize(("rises_s", "rose"), [(130, True), (300, False)])
def test_the_stack_of_the_next_try_is_not_that_of_the_failed_one(rises_s: int, rose: bool) -> None:
    """Tries from 100 s to 200 s and from 280 s on; the alarm comes at 200 s."""
    s = np.arange(0, 420, 5)
    burner = ((s >= 100) & (s < 200)) | (s >= 280)
    stack = 40.0 + np.clip(s - rises_s, 0, 60) * 0.5
    engine = watched(420, tank=60.0, nozzle=85.0, stack=stack, burner=burner, flame=0.0, call=1.0)
    found = finding("stack-rose", scene(engine, "ignition-failure", START_MS + 200 * S, waited_s=100))
    assert found is not None and found.holds is rose


def test_a_burner_that_has_burned_in_this_call_can_still_be_dead_now() -> None:
    s = np.arange(0, 7200, 5)
    engine = watched(7200, tank=60.0, nozzle=85.0, stack=60.0, burner=s < 3000, call=s > 60)
    raised_ms = START_MS + (3000 + 2700) * S
    found = finding("burner-never", scene(engine, "no-heat", raised_ms, waiting_min=45))
    assert found is not None and found.holds
    tried = watched(
        7200, tank=60.0, nozzle=85.0, stack=60.0, burner=(s < 3000) | ((s > 4000) & (s < 4030)), call=s > 60
    )
    found = finding("burner-never", scene(tried, "no-heat", raised_ms, waiting_min=45))
    assert found is not None and not found.holds


@pytest.mark.parametrize(("at_refills", "holds"), [((0, 1, 2), True), ((0, 1), True), ((2,), False)])
def test_refills_put_a_flame_out_only_if_it_is_always_they(at_refills: tuple[int, ...], holds: bool) -> None:
    engine = watched(600, tank=60.0, nozzle=85.0, stack=60.0, pump=0.0, flame=0.0)
    lost_min = (90.0, 50.0, 10.0)
    burned(engine, *((minutes + 8, minutes) for minutes in lost_min))
    engine.fire.last_end_ms = engine.plant.now_ms - 10 * MIN
    for k in at_refills:
        start_ms = engine.plant.now_ms - round(lost_min[k] * MIN) - 60 * S
        engine.causes.seen.runs.append(Run(start_ms, start_ms + 9 * S, 9.0, True))
    engine.causes.seen.runs.append(
        Run(engine.plant.now_ms - 70 * MIN, engine.plant.now_ms - 70 * MIN + 9 * S, 9.0, True)
    )
    found = finding("at-refill", scene(engine, "flame-loss", engine.plant.now_ms - 9 * MIN, losses_1h=2))
    assert found is not None and found.holds is holds


def test_a_flame_lost_again_just_now_has_come_back_before() -> None:
    engine = watched(600, tank=60.0, nozzle=85.0, stack=60.0, flame=0.0)
    engine.fire.on, engine.fire.last_end_ms = False, engine.plant.now_ms - 30 * S
    again = scene(engine, "flame-loss", engine.plant.now_ms - 40 * MIN, losses_1h=2)
    assert (found := finding("came-back", again)) is not None and found.holds
    first = scene(engine, "flame-loss", engine.plant.now_ms - 20 * S, losses_1h=1)
    assert finding("came-back", first) is None
    engine.fire.last_end_ms = engine.plant.now_ms - 5 * MIN
    assert (found := finding("came-back", again)) is not None and not found.holds


def test_cycles_are_compared_load_for_load() -> None:
    """Cycles of 4 N x (1 - x): 30 min on and off is N = 1/h, and so is 16.7 min in 100; 5 min on and off is N = 6/h."""
    engine = watched(600, tank=60.0, nozzle=85.0, stack=60.0)
    seen = engine.causes.seen

    def cycle(start_ms: int, rest_min: float, on_min: float) -> None:
        seen.burns.append(Burn(start_ms - 1, start_ms, True, False))
        begun = start_ms + round(rest_min * MIN)
        seen.burns.append(Burn(begun, begun + round(on_min * MIN), True, False))
        seen._cycled()

    for day in range(5):
        for k in range(6):
            cycle(START_MS + day * DAY + k * HOUR, 30, 30)
    assert seen.daily["cycles_most_per_h"].last() == pytest.approx(1.0, rel=1e-3)
    for k in range(6):
        cycle(START_MS + 5 * DAY + 2 * k * HOUR, 90, 18)  # a mild day
    found = finding("cycles-faster", scene(engine, "short-cycling", START_MS))
    assert found is not None and not found.holds
    for k in range(6):
        cycle(START_MS + 5 * DAY + 12 * HOUR + k * 10 * MIN, 5, 5)
    found = finding("cycles-faster", scene(engine, "short-cycling", START_MS))
    assert found is not None and found.holds


def test_a_level_that_rises_shows_refills_whose_pump_was_not_seen() -> None:
    s = np.arange(0, 7200, 5)
    level = 0.9 - 0.2 * ((s % 2400) / 2400)  # every 40 min from 70 to 90 %
    engine = watched(7200, tank=60.0, nozzle=85.0, stack=60.0, pump=0.0, tank_level=level)
    for _ in range(8):
        engine.causes.seen.daily["level_before"].add(START_MS, 0.7)
        engine.causes.seen.daily["level_after"].add(START_MS, 0.9)
    engine.refills.last_end_ms = START_MS - 400 * S
    at = scene(engine, "refill-overdue", engine.plant.now_ms)
    assert (found := finding("unseen-dips", at)) is not None and found.holds
    assert (found := finding("level-falls", at)) is not None and not found.holds


@pytest.mark.parametrize(("suction_Pa", "weak"), [(-22e3, False), (-4e3, True), (None, None)])
def test_the_suction_is_that_of_the_run_that_stalled(suction_Pa: float | None, weak: bool | None) -> None:
    """A run of 10 s at -21 kPa twenty minutes before one of 20 s; the vacuum of that one is not always measured."""
    s = np.arange(0, 3000, 5)
    before, stalled = (s >= 1200) & (s < 1210), (s >= 2400) & (s < 2420)
    suction = np.where(before, -21e3, 0.0)
    suction[stalled] = np.nan if suction_Pa is None else suction_Pa
    engine = watched(3000, tank=60.0, nozzle=85.0, stack=60.0, pump=before | stalled, suction=suction)
    for _ in range(8):
        engine.causes.seen.daily["suction_Pa"].add(START_MS, -21e3)
    found = finding("suction-weak", scene(engine, "refill-timeout", START_MS + 2420 * S))
    assert (found and found.holds) is weak


def test_an_alarm_about_a_run_is_raised_with_that_run_before_the_eyes() -> None:
    s = np.arange(0, 1800, 5)
    engine = Engine(parse(PROFILE + "[refill]\nlimit_s = 20.0\n"))
    ends: list[int] = []
    engine.plant.on_raise(lambda entry: ends.append(engine.causes.seen.runs[-1].end_ms))
    pump = ((s >= 300) & (s < 310)) | ((s >= 1200) & (s < 1220))
    engine.feed(Rows(START_MS + s * S, {"pump": pump.astype(float), "float": np.ones(len(s))}, {}, ()))
    assert [alarm.alarm for alarm in engine.alarms][:1] == ["refill-timeout"]
    assert ends[0] > START_MS + 1200 * S


def test_a_room_still_cold_after_the_fire_is_back_does_not_change_why_it_was_cold() -> None:
    engine = watched(600, tank=60.0, nozzle=85.0, stack=60.0)
    engine.plant.raise_("freeze-risk", "high")
    entry = engine.plant.raise_("no-heat", "high")
    engine.plant.history.now_ms += 20 * HOUR
    engine.plant.clear("no-heat")
    engine.plant.history.now_ms += 3 * HOUR
    cold = engine.plant.book.standing("freeze-risk")
    assert cold is not None and not entry.stands
    found = finding("no-fire", Scene(engine, engine.causes.seen, cold))
    assert found is not None and found.holds


@pytest.mark.parametrize("alarm", ["heater-stuck-on", "oil-overtemperature"])
@pytest.mark.parametrize(("hours", "holds"), [(6, True), (72, False)])
def test_a_heater_that_ran_away_long_ago_explains_no_cold_tank(alarm: str, hours: int, holds: bool) -> None:
    engine = watched(600, tank=60.0, nozzle=85.0, stack=60.0)
    engine.plant.raise_(alarm, "critical", channel="tank")
    engine.plant.clear(alarm, "tank")
    engine.plant.history.now_ms += hours * HOUR
    found = finding("stuck-heater", scene(engine, "preheat-stalled", engine.plant.now_ms, "tank"))
    assert found is not None and found.holds is holds


@pytest.mark.parametrize(
    ("step_K", "air_step_K", "same", "opposes"),
    [(-27.0, 2.4, False, True), (-27.0, 0.5, True, False), (-27.0, -3.0, False, False), (30.0, -2.0, False, True)],
)
def test_the_warm_air_tells_whether_the_fire_has_changed(
    step_K: float, air_step_K: float, same: bool, opposes: bool
) -> None:
    engine = watched(600, tank=60.0, nozzle=85.0, stack=60.0)
    for _ in range(8):
        engine.causes.seen.daily["supply_rise_K"].add(START_MS, 30.0)
    at = scene(engine, "stack-step", START_MS, step_K=step_K, supply_air_step_K=air_step_K)
    found = [finding(name, at) for name in ("warm-air-same", "warm-air-opposes")]
    assert [f is not None and f.holds for f in found] == [same, opposes]
    assert finding("warm-air-same", scene(engine, "stack-step", START_MS, step_K=20.0, supply_air_step_K=None)) is None


# what comes of them


def test_what_stands_behind_an_alarm_shares_the_probability_of_its_branch() -> None:
    """The law of total probability, by hand: the branch has p, the alarm behind it 0.7 and 0.2, and 0.1 unnamed."""
    findings = {"preheat-trouble": Finding(True, "stalled"), "oil-warm": Finding(False, "cold")}
    entry = Entry("no-heat", None, "high", START_MS, START_MS, {})
    plain = {item["id"]: item["probability"] for item in likely(entry, findings)}
    told = [
        {"id": "element-open", "cause": "element open", "probability": 0.7, "evidence": [], "first": "Measure it."},
        {"id": "cut-out", "cause": "cut-out tripped", "probability": 0.2, "evidence": [], "first": "Find out why."},
    ]
    named = likely(entry, findings, {"cold-oil": told})
    share = {item["id"]: item["probability"] for item in named}
    p = plain["cold-oil"]
    assert p > 0.6 and share["element-open"] == pytest.approx(0.7 * p, abs=0.011)
    assert share["cut-out"] == pytest.approx(0.2 * p, abs=0.011) and share["cold-oil"] == pytest.approx(
        0.1 * p, abs=0.011
    )
    assert named[0]["id"] == "element-open" and named[0]["branch"] == "cold-oil" and "branch" not in named[-1]
    start = beginning("no-heat", named)
    assert start["cold-oil"] == pytest.approx(p, abs=0.05)


def test_what_is_something_else_is_no_cause_to_be_looked_for() -> None:
    entry = Entry("oil-use-high", None, "medium", START_MS, START_MS, {})
    findings = {name: Finding(False, "not so") for name in TREES["oil-use-high"].evidence}
    named = likely(entry, findings)
    assert {item["id"] for item in named} <= {cause.id for cause in TREES["oil-use-high"].causes}
    assert sum(item["probability"] for item in named) < 0.9


def test_with_the_stack_as_usual_more_oil_than_usual_is_lost_somewhere() -> None:
    """The symptom tree: refills up and stack up is overfiring; refills up and stack the same is a leak or sips."""
    entry = Entry("oil-use-high", None, "medium", START_MS, START_MS, {})
    quiet = {name: Finding(False, "not so") for name in ("leak-wet", "idle-refills", "short-runs", "seconds-down")}
    assert likely(entry, {**quiet, "stack-up": Finding(False, "as usual")})[0]["id"] == "leak"
    assert likely(entry, {**quiet, "stack-up": Finding(True, "hotter")})[0]["id"] == "overfiring"


def test_a_stack_that_falls_while_the_warm_air_gains_is_the_combustion_air() -> None:
    entry = Entry("stack-step", None, "medium", START_MS, START_MS, {})
    down = {"step-up": Finding(False, "-27 K"), "oil-rate-down": Finding(False, "the same")}
    gains = {"warm-air-same": Finding(False, "more"), "warm-air-opposes": Finding(True, "more")}
    same = {"warm-air-same": Finding(True, "the same"), "warm-air-opposes": Finding(False, "the same")}
    assert likely(entry, down | gains)[0]["id"] == "air-shutter"
    assert likely(entry, down | same)[0]["id"] == "probe"


def test_a_tank_that_was_too_hot_and_then_goes_cold_has_a_shorted_relay() -> None:
    entry = Entry("preheat-stalled", "tank", "high", START_MS, START_MS, {})
    dead = {
        "refill-trouble": Finding(False, "no"),
        "current-none": Finding(True, "0 A"),
        "drive-off": Finding(False, "on"),
    }
    stuck = {"stuck-heater": Finding(True, "yes"), "was-too-hot": Finding(True, "95 °C")}
    cold = {"stuck-heater": Finding(False, "no"), "was-too-hot": Finding(False, "60 °C")}
    assert likely(entry, dead | stuck)[0]["id"] == "relay-shorted"
    assert likely(entry, dead | cold)[0]["id"] == "element-open"


@pytest.mark.parametrize(("lasted_s", "called", "holds"), [(45, True, True), (400, True, False), (45, False, None)])
def test_a_fire_no_longer_than_a_trial_was_lit_and_not_seen(lasted_s: int, called: bool, holds: bool | None) -> None:
    """Without a burner contact, ten minutes after it locked out: the fire itself tells when the start was."""
    s = np.arange(0, 1800, 5)
    stack = 60.0 + 2.0 * np.clip(s - 900, 0, lasted_s) * np.exp(-np.maximum(s - 900 - lasted_s, 0) / 200)
    engine = watched(1800, tank=60.0, nozzle=85.0, stack=stack, call=1.0)
    lit_ms = START_MS + 900 * S
    engine.causes.seen.burns.append(Burn(lit_ms, lit_ms + lasted_s * S, called, False))
    engine.fire.on = False
    at = scene(engine, "lockout", lit_ms + (lasted_s + 600) * S)
    found = finding("lit-briefly", at)
    assert (None if found is None else found.holds) is holds
    if called:
        assert (rose := finding("stack-rose", at)) is not None and rose.holds


def test_a_second_loss_is_looked_at_afresh() -> None:
    """What is looked for only once is looked for again when the alarm has become worse."""
    engine = watched(1800, tank=60.0, nozzle=85.0, stack=60.0, call=1.0)
    engine.fire.on = False
    burned(engine, (20, 5))
    engine.fire.last_end_ms = engine.plant.now_ms - 5 * MIN
    entry = engine.plant.raise_("flame-loss", "medium", losses_1h=1)
    assert not engine.causes._found[("flame-loss", None)][1]["lit-briefly"].holds
    burned(engine, (2, 1.25))
    engine.plant.raise_("flame-loss", "high", losses_1h=2)
    assert engine.causes._found[("flame-loss", None)][1]["lit-briefly"].holds
    assert "detector" in [item["id"] for item in entry.detail["causes"]][:2]


def test_a_control_that_has_locked_out_has_not_relit() -> None:
    engine = watched(600, tank=60.0, nozzle=85.0, stack=60.0)
    engine.fire.on, engine.fire.last_end_ms = False, engine.plant.now_ms - 30 * S
    engine.plant.raise_("lockout", "high")
    found = finding("came-back", scene(engine, "flame-loss", engine.plant.now_ms - 60 * S, losses_1h=2))
    assert found is not None and not found.holds


def test_a_dip_seen_once_is_still_known_when_it_has_passed_out_of_sight() -> None:
    """The alarm comes back the next morning, with no dip in the hours that are remembered."""
    s = np.arange(0, 7200, 5)
    level = 0.9 - 0.2 * ((s % 2400) / 2400)
    engine = watched(7200, tank=60.0, nozzle=85.0, stack=60.0, pump=0.0, tank_level=level, float=0.0)
    for _ in range(8):
        engine.causes.seen.daily["level_before"].add(START_MS, 0.7)
        engine.causes.seen.daily["level_after"].add(START_MS, 0.9)
    engine.refills.last_end_ms = START_MS - 400 * S
    entry = engine.plant.raise_("refill-overdue", "high")
    assert entry.detail["causes"][0]["id"] == "pump-sensing"
    engine.plant.clear("refill-overdue")
    t_ms = engine.plant.now_ms + np.arange(5, 1500, 5) * S
    calm = {"tank": 60.0, "nozzle": 85.0, "stack": 60.0, "pump": 0.0, "tank_level": 0.7, "float": 0.0}
    engine.feed(Rows(t_ms, {name: np.full(len(t_ms), value) for name, value in calm.items()}, {}, ()))
    engine.refills.last_end_ms = engine.plant.now_ms - 400 * S
    assert engine.plant.raise_("refill-overdue", "high") is entry and entry.detail["repeats"] == 1
    assert entry.detail["causes"][0]["id"] == "pump-sensing"


def test_a_fire_under_way_is_compared_once_it_is_as_old_as_they_usually_get() -> None:
    """The flue climbs for as long as a fire lasts: ten minutes into one it is cooler than at the end of the others."""
    s = np.arange(0, 2400, 5)
    stack = 60.0 + 190.0 * (1 - np.exp(-np.maximum(s - 600, 0) / 400.0)) * (s > 600)
    engine = watched(2400, tank=60.0, nozzle=85.0, stack=stack, flame=s > 600, burner=s > 600)
    for _ in range(8):
        engine.causes.seen.daily["stack_net_K"].add(START_MS, 225.0)
        engine.causes.seen.daily["fire_s"].add(START_MS, 1200.0)
    engine.plant.history.now_ms = START_MS + (600 + 660) * S
    early = scene(engine, "refill-overdue", engine.plant.now_ms)
    assert engine.fire.on and (found := finding("stack-down", early)) is not None and not found.holds
    engine.plant.history.now_ms = START_MS + (600 + 1700) * S
    late = scene(engine, "refill-overdue", engine.plant.now_ms)
    assert (found := finding("stack-down", late)) is not None and not found.holds
    assert "225" not in found.words.partition(",")[0]


@pytest.mark.parametrize(("usual", "ran", "holds"), [(1.0, 1.0, False), (1.0, 0.0, True), (0.0, 0.0, None)])
def test_a_loop_pump_that_rests_with_the_burner_is_not_stopped(usual: float, ran: float, holds: bool | None) -> None:
    """It runs with the burner: what counts is the fire that was lost, not the rest after it."""
    s = np.arange(0, 1200, 5)
    engine = watched(1200, tank=60.0, nozzle=85.0, stack=60.0, call=1.0, burner=s < 900, circulation=(s < 900) * ran)
    engine.fire.on, engine.fire.last_end_ms = False, START_MS + 900 * S
    for _ in range(8):
        engine.causes.seen.daily["loop_firing"].add(START_MS, usual)
    found = finding("circulation-off", scene(engine, "flame-loss", engine.plant.now_ms))
    assert (None if found is None else found.holds) is holds


def test_a_call_that_has_ended_asks_for_no_fire() -> None:
    s = np.arange(0, 1200, 5)
    engine = watched(1200, tank=60.0, nozzle=85.0, stack=60.0, call=s < 600)
    engine.fire.on, engine.fire.last_end_ms = False, START_MS + 500 * S
    assert finding("came-back", scene(engine, "flame-loss", START_MS + 500 * S, losses_1h=1)) is None


def test_air_that_is_back_hours_later_was_still_missing_then() -> None:
    engine = watched(600, tank=60.0, nozzle=85.0, stack=60.0, air_pressure=107_000.0, burner=1.0)
    for _ in range(8):
        engine.causes.seen.daily["air_Pa"].add(START_MS, 111_000.0)
    assert finding("air-low", scene(engine, "lockout", engine.plant.now_ms - 6 * HOUR)) is None
    now = finding("air-low", scene(engine, "lockout", engine.plant.now_ms - 60 * S))
    assert now is not None and not now.holds


@pytest.mark.parametrize(("now_C", "cause"), [(138.0, "relay-shorted"), (101.0, "soak")])
def test_chamber_heat_takes_a_block_no_further_than_it_ever_has(now_C: float, cause: str) -> None:
    """Two minutes after a fire, on the required four; the hottest of its hours so far was 96 degC."""
    s = np.arange(0, 900, 5)
    pace = 10.0 if cause == "relay-shorted" else 1.0
    nozzle = now_C - pace * (900 - s) / 60.0
    engine = watched(900, tank=60.0, nozzle=nozzle, stack=150.0)
    engine.fire.on, engine.fire.last_end_ms = False, engine.plant.now_ms - 2 * MIN
    for _ in range(8):
        engine.heating["nozzle"].hourly_peak_C.add(96.0)
        engine.heating["nozzle"].usual_K_per_min.add(15.0)
    entry = engine.plant.raise_("oil-overtemperature", "critical", channel="nozzle")
    assert entry.detail["causes"][0]["id"] == cause


def test_a_control_that_never_tried_has_not_locked_out() -> None:
    """Call and warm oil, no burner contact; the primary's own contact says that it has not locked out."""
    engine = watched(4000, tank=60.0, nozzle=85.0, stack=20.0, call=1.0, lockout=0.0, flame=0.0)
    engine.fire.on = False
    engine.plant.raise_("ignition-failure", "high")
    entry = engine.plant.raise_("no-heat", "high", waiting_min=45)
    assert entry.detail["causes"][0]["id"] == "control"
    at = scene(engine, "no-heat", engine.plant.now_ms, waiting_min=45)
    assert (found := finding("ignition-trouble", at)) is not None and not found.holds
    s = np.arange(0, 4000, 5)
    locked = watched(4000, tank=60.0, nozzle=85.0, stack=20.0, call=1.0, lockout=(s > 2000) & (s < 3000), flame=0.0)
    found = finding("locked-out", scene(locked, "no-heat", locked.plant.now_ms, waiting_min=45))
    assert found is not None and found.holds


@pytest.mark.parametrize(("noise_K", "dips", "holds"), [(0.4, 0, False), (0.4, 2, True), (1.2, 0, None)])
def test_noise_makes_no_dips(noise_K: float, dips: int, holds: bool | None) -> None:
    """Usual dips of 2.7 K: what is read too coarsely to show half of that says nothing."""
    s = np.arange(0, 7200, 5)
    tank = 50.0 + np.random.default_rng(3).normal(0, noise_K, len(s))
    for k in range(dips):
        tank -= 2.7 * np.exp(-((s - 2400 * (k + 1)) / 150.0)) * (s > 2400 * (k + 1))
    engine = watched(7200, tank=tank, nozzle=85.0, stack=60.0, pump=0.0)
    for _ in range(8):
        engine.refills.usual_dip_K.add(2.7)
    engine.refills.last_end_ms = START_MS - 400 * S
    found = finding("unseen-dips", scene(engine, "refill-overdue", engine.plant.now_ms))
    assert (None if found is None else found.holds) is holds


def test_a_tank_that_ran_out_in_the_middle_of_a_run_is_no_filter() -> None:
    """Two thirds of the usual dip, and no slow refill before: filters plug over days."""
    entry = Entry("refill-timeout", None, "high", START_MS, START_MS, {})
    told = {"no-dip": False, "large-dip": False, "seconds-up": False, "float-calls": True}
    named = [item["id"] for item in likely(entry, {name: Finding(holds, name) for name, holds in told.items()})]
    assert named[0] in ("supply-empty", "air-leak") and named.index("filter") > 1


@pytest.mark.parametrize(("during_Pa", "none"), [(-4000.0, True), (-6000.0, False)])
def test_the_lift_of_the_oil_at_rest_is_no_pumping(during_Pa: float, none: bool) -> None:
    """A suction line that holds 3 kPa of lift at rest, 20 kPa below while its pump runs."""
    s = np.arange(0, 600, 5)
    suction = np.where((s >= 400) & (s < 420), during_Pa, -3000.0)
    suction[(s >= 560) & (s < 580)] = -11_000.0 - during_Pa
    engine = watched(600, tank=60.0, nozzle=85.0, stack=60.0, pump=(s >= 400) & (s < 420), suction=suction)
    for _ in range(8):
        engine.causes.seen.daily["suction_Pa"].add(START_MS, -23_000.0)
    found = finding("suction-none", scene(engine, "refill-timeout", START_MS + 420 * S))
    assert found is not None and found.holds is none
    engine.causes.seen.runs.append(Run(START_MS + 560 * S, START_MS + 580 * S, 20.0, True))  # a try after it
    found = finding("suction-none", scene(engine, "refill-timeout", START_MS + 420 * S))
    assert found is not None and found.holds is none, "the run that timed out tells, not the last one"


def test_the_largest_of_many_noisy_falls_is_no_dip() -> None:
    """Noise of 0.4 K: read singly, the tank falls by 1.1 K somewhere within every two minutes."""
    s = np.arange(0, 900, 5)
    falls_K: list[float] = []
    for seed in range(4):
        tank = 50.0 + np.random.default_rng(seed).normal(0, 0.4, len(s))
        engine = watched(900, tank=tank, nozzle=85.0, stack=60.0, pump=0.0)
        for k in range(3, 12):
            fall = engine.causes.seen.fall(START_MS + k * 60 * S, START_MS + (k * 60 + 8) * S)
            assert fall is not None
            falls_K.append(fall[0])
    assert np.median(falls_K) < 0.7
