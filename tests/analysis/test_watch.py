"""Late, repeated and shuffled deliveries, outages and silence: what arrival adds to the engine."""

import random
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sootline.alarms import Alarm
from sootline.analysis.offline import ALARM as OFFLINE
from sootline.analysis.watch import Update, Watch
from sootline.profile import LogEntry, Profile, parse
from sootline.series import EMPTY, Rows, SensorFault, merge
from sootline.sim.faults import Fault
from sootline.sim.run import simulate
from sootline.sim.workshop import CARRIAGE_SHOP, PROFILES
from tests.analysis.kit import HOUR_MS, MINUTE, ON_CALL, PLAIN, T0, ms, pulses, rows

START_MS, END_MS = T0 + 6 * HOUR_MS, T0 + 11 * HOUR_MS
PROFILE = parse(PROFILES["carriage-shop"])


class Memory:
    """A store in memory: what has come so far, in time order."""

    def __init__(self) -> None:
        self.rows = EMPTY

    def read(self, start_ms: int, end_ms: int) -> Rows:
        return self.rows.between(start_ms, end_ms)


class Site:
    """A watch with its store; `deliver` is what the service does with a pack."""

    def __init__(self, profile: Profile = PROFILE) -> None:
        self.memory = Memory()
        self.watch = Watch(profile, self.memory.read)
        self.removed: list[tuple[str, str, str | None, int]] = []
        self.told: dict[tuple[str, str, str | None, int], Alarm] = {}

    def deliver(self, part: Rows, received_ms: int) -> Update:
        self.memory.rows = merge([self.memory.rows, part])
        return self.hear(self.watch.arrived(part, received_ms))

    def hear(self, update: Update) -> Update:
        for key in update.removed:
            self.removed.append(key)
            del self.told[key]
        for alarm in update.alarms:
            self.told[alarm.key] = alarm
        return update


@cache
def packs() -> tuple[Rows, ...]:
    """Five bad hours of the carriage shop in packs of eight minutes."""
    faults = (
        Fault("half-element", T0 + 5 * HOUR_MS, channel="tank"),
        Fault("air-leak", START_MS + HOUR_MS),
        Fault("sensor-open", START_MS + 2 * HOUR_MS, START_MS + 3 * HOUR_MS, channel="stack"),
        Fault("ssr-shorted", START_MS + 3 * HOUR_MS, channel="nozzle"),
    )
    whole = simulate(CARRIAGE_SHOP, 3, START_MS, END_MS, faults, (), 10.0)[0]
    step = 8 * 60_000
    return tuple(whole.between(t, t + step) for t in range(START_MS, END_MS, step))


def final(alarms: list[Alarm]) -> list[Alarm]:
    """Without what arrival decides: when it was found, and the silence of the board."""
    return [replace(alarm, found_ms=0) for alarm in alarms if alarm.alarm != OFFLINE]


@cache
def in_order() -> Site:
    site = Site()
    for part in packs():
        site.deliver(part, int(part.t_ms[-1]) + 100)
    return site


def test_the_hours_are_worth_it() -> None:
    assert len({alarm.alarm for alarm in in_order().watch.alarms}) >= 4
    assert {event.kind for event in in_order().watch.events} >= {"refill", "preheat", "firing", "phase"}


@settings(max_examples=12)
@given(st.integers(0, 10**6), st.sampled_from([3, 8, 30]), st.floats(0, 0.5))
def test_any_order_and_number_of_deliveries(seed: int, reach: int, twice: float) -> None:
    """Each pack is delayed by up to `reach` packs; some come twice."""
    draw = random.Random(seed)
    sent = [(i + draw.uniform(0, reach), i) for i in range(len(packs()))]
    sent += [(i + draw.uniform(0, reach), i) for i in range(len(packs())) if draw.random() < twice]
    site = Site()
    for when, i in sorted(sent):
        site.deliver(packs()[i], START_MS + round((when + 1) * 480_000) + 100)
    expected = in_order().watch
    assert final(site.watch.alarms) == final(expected.alarms)
    assert sorted(site.watch.events, key=lambda e: e.key) == sorted(expected.events, key=lambda e: e.key)
    assert site.watch.phase == expected.phase and site.watch.readiness == expected.readiness
    assert {a.key: a for a in site.watch.alarms} == site.told, "what was told adds up to what is known"


def test_back_fill_after_an_outage() -> None:
    """What happened in the outage is raised at its own time, and found when the packs came."""
    site, expected = Site(), in_order().watch
    lost = range(5, 15)
    came_ms = int(packs()[15].t_ms[-1]) + 100
    for i, part in enumerate(packs()):
        if i not in lost:
            site.deliver(part, int(part.t_ms[-1]) + 100)
        if i == 15:
            for j in lost:
                site.deliver(packs()[j], came_ms)
    assert final(site.watch.alarms) == final(expected.alarms)
    first_ms, last_ms = int(packs()[5].t_ms[0]), int(packs()[14].t_ms[-1])
    inside = [a for a in site.watch.alarms if first_ms <= a.raised_ms <= last_ms and a.alarm != OFFLINE]
    assert inside and all(alarm.found_ms == came_ms > alarm.raised_ms for alarm in inside)
    offline = [a for a in site.watch.alarms if a.alarm == OFFLINE]
    assert [a.cleared_ms for a in offline] == [int(packs()[15].t_ms[-1]) + 100]


def test_what_late_data_denies_is_removed() -> None:
    """A stalled preheat that was only a lost refill: the oil was cooled, not left unheated."""
    tank = [(0.0, 20.0), (1800.0, 50.0), (3600.0, 50.0)]
    seen = rows(3000, 10, tank=tank, nozzle=20.0, stack=25.0, pump=0, call=1)
    missing = rows(2300, 10, start_s=1795, tank=[(1795, 50.0), (2300, 62.0)], nozzle=20.0, stack=25.0, pump=0, call=1)
    site = Site(parse(ON_CALL))
    cut = [seen.between(0, ms(1790)), seen.between(ms(2310), 2**62)]
    site.deliver(cut[0], ms(1790))
    site.deliver(cut[1], ms(3000))
    before = {a.key for a in site.watch.alarms}
    site.deliver(missing, ms(3010))
    again = Site(parse(ON_CALL))
    again.deliver(merge([*cut, missing]), ms(3010))
    assert final(site.watch.alarms) == final(again.watch.alarms)
    gone = before - {a.key for a in site.watch.alarms}
    assert gone and gone == set(site.removed)


def test_a_restart_at_any_moment() -> None:
    for at in (3, 14, 22):
        site, later = Site(), Site()
        for part in packs()[:at]:
            site.deliver(part, int(part.t_ms[-1]) + 100)
        later.memory.rows = site.memory.rows
        later.watch.resume([site.memory.rows], site.watch.alarms)
        later.watch.listening(int(packs()[at - 1].t_ms[-1]) + 5_000)
        assert later.watch.alarms == site.watch.alarms
        later.told = dict(site.told)
        for part in packs()[at:]:
            later.deliver(part, int(part.t_ms[-1]) + 100)
        assert later.watch.alarms == in_order().watch.alarms


def test_a_fault_word_between_rows_is_not_passed_over() -> None:
    """Rows that come late but before a fault already worked through rewind to before it."""
    base = rows(1200, 60, tank=65.0, nozzle=95.0, stack=25.0, pump=0)
    said = tuple(SensorFault(ms(s), "tank", "open") for s in range(1150, 1270, 5))
    late = rows(1240, 60, start_s=1200, tank=65.0, nozzle=95.0, stack=25.0, pump=0)
    orders = ([replace(base, faults=said), late], [base, late, Rows(base.t_ms[:0], {}, {}, said)])
    outcomes = []
    for order in orders:
        site = Site(parse(PLAIN))
        for part in order:
            site.deliver(part, ms(1300))
        outcomes.append(final(site.watch.alarms))
    assert outcomes[0] == outcomes[1] and [a.alarm for a in outcomes[0]] == ["sensor-fault"]


# the silence of the board


def quiet(end_s: float, start_s: float = 0.0, **more: object) -> Rows:
    drawn = {"tank": 65.0, "nozzle": 95.0, "stack": 25.0, "pump": 0.0, "call": 0.0, "room": 15.0, **more}
    return rows(end_s, 60, start_s, **drawn)  # type: ignore[arg-type]


def offline(watch: Watch) -> list[tuple[str, int, int | None]]:
    return [
        (a.priority, a.raised_ms - T0, a.cleared_ms and a.cleared_ms - T0) for a in watch.alarms if a.alarm == OFFLINE
    ]


def test_board_offline_raises_escalates_and_returns() -> None:
    site = Site(parse(PLAIN))
    site.deliver(quiet(3600), ms(3545))
    for minute, expected in ((5, []), (9.9, []), (10.1, ["medium"]), (119, ["medium"]), (121, ["high"])):
        site.hear(site.watch.tick(ms(3545 + minute * MINUTE)))
        assert [priority for priority, *_ in offline(site.watch)] == expected
        assert site.watch.phase == ("unknown" if expected else "standby")
    site.deliver(quiet(14_000, 13_940), ms(13_945))
    assert offline(site.watch) == [("high", (3545 + 600) * 1000, 13_945_000)]
    (alarm,) = [a for a in site.watch.alarms if a.alarm == OFFLINE]
    assert alarm.state == "returned" and alarm.detail["escalated"] == "2026-01-05T02:59:05.000Z"
    assert site.told[alarm.key] == alarm


@pytest.mark.parametrize(
    ("more", "because"),
    [
        ({"pump": pulses((3535, 4000))}, "pump was on"),
        ({"nozzle_heater": pulses((3535, 4000))}, "nozzle_heater was on"),
        ({"room": 4.9}, "the room may freeze"),
        ({"room": 5.1}, None),
    ],
)
def test_a_silent_board_is_urgent_when_its_last_word_was(more: dict[str, object], because: str | None) -> None:
    site = Site(parse(PLAIN))
    site.deliver(quiet(3600, **more), ms(3545))
    site.watch.tick(ms(3545 + 601))
    (alarm,) = site.watch.alarms
    assert alarm.priority == ("high" if because else "medium") and alarm.detail.get("because") == because


def test_an_announcement_is_a_word_and_a_last_will_is_none() -> None:
    site = Site(parse(PLAIN))
    site.deliver(quiet(600), ms(600))
    site.watch.heard(ms(1100), {"online": True})
    site.watch.heard(ms(1150), {"online": False})
    site.watch.tick(ms(1650))
    assert offline(site.watch) == []
    site.watch.tick(ms(1701))
    assert offline(site.watch) == [("medium", 1_700_000, None)]


def test_the_host_was_down_not_the_board() -> None:
    site = Site(parse(PLAIN))
    site.watch.resume([quiet(600)], [])
    site.watch.listening(ms(7200))
    site.watch.tick(ms(7260))
    assert offline(site.watch) == []


def test_every_silence_in_a_table() -> None:
    """A table is fed at once; each long gap in it is a board-offline of its own."""
    table = merge([quiet(600), quiet(3000, 2400), quiet(20_000, 15_000)])
    watch = Watch(parse(PLAIN), lambda start_ms, end_ms: EMPTY)
    told = watch.arrived(table).alarms
    expected = [("medium", 1_140_000, 2_400_000), ("high", 3_540_000, 15_000_000)]
    assert offline(watch) == expected
    assert len([a for a in told if a.alarm == OFFLINE]) == 2


# the log


def test_a_log_entry_acts_from_its_own_time() -> None:
    """The set point was raised at 30 min, but written down at 60: no climb above the band was ever wrong."""
    climb = [(0.0, 60.0), (1800.0, 60.0), (3000.0, 85.0), (3600.0, 85.0)]
    seen = rows(3600, 10, tank=climb, nozzle=85.0, stack=25.0, pump=0, call=0)
    profile = parse(PROFILES["carriage-shop"].replace("on-call", "keep-warm"))
    entry = LogEntry(ms(1800), "setpoint", "tank", 85.0)
    early = Site(replace(profile, log=(entry,)))
    late = Site(profile)
    for site in (early, late):
        for t0, t1 in pairwise(np.arange(T0, ms(3601), 300_000).tolist()):
            site.deliver(seen.between(t0, t1), t1)
    assert [a.alarm for a in late.watch.alarms] == ["heater-stuck-on"] and not early.watch.alarms
    late.hear(late.watch.logged(entry))
    assert final(late.watch.alarms) == final(early.watch.alarms) == []
    assert [key[1] for key in late.removed] == ["heater-stuck-on"]


def test_a_log_entry_changes_nothing_before_it() -> None:
    site = Site()
    for part in packs():
        site.deliver(part, int(part.t_ms[-1]) + 100)
    at_ms = START_MS + 3 * HOUR_MS
    before = [a for a in site.watch.alarms if a.raised_ms < at_ms]
    site.hear(site.watch.logged(LogEntry(at_ms, "repair")))
    after = [a for a in site.watch.alarms if a.raised_ms < at_ms]
    assert [(a.key, a.found_ms) for a in after] == [(a.key, a.found_ms) for a in before]
    assert {a.key: a for a in site.watch.alarms} == site.told


# what comes up while nothing is heard


class Guessing(Watch):
    """A watch whose engine raises an alarm by the clock alone, and clears it as told."""

    def guess(self, alarm: str, at_s: float, clear_s: float | None) -> None:
        plant = self._engine.plant
        plant.at(ms(at_s), lambda: plant.raise_(alarm, "high"))
        if clear_s is not None:
            plant.at(ms(clear_s), lambda: plant.clear(alarm))


GUESSES = (
    ("flame-loss", 3600, None, None, "medium"),  # it stood before: it stays up
    ("flame-loss", 5200, 7300, OFFLINE, "high"),
    ("flame-loss", 5200, None, None, "medium"),  # it has outlived the silence: released
    ("stack-high", 5200, 7300, None, "medium"),  # never suppressed
    ("flame-loss", 7300, 7400, None, "medium"),  # after the silence it is no guess
)


@pytest.mark.parametrize(("alarm", "at_s", "clear_s", "under", "priority"), GUESSES)
@pytest.mark.parametrize("table", [True, False])
def test_new_alarms_stand_under_a_silent_board(
    alarm: str, at_s: float, clear_s: float | None, under: str | None, priority: str, table: bool
) -> None:
    """The board is silent from 3540 s to 7200 s; the same whether its rows come live or from a table."""
    before, after = quiet(3600), quiet(14_000, 7_200)
    memory = Memory()
    memory.rows = merge([before, after])
    watch = Guessing(parse(PLAIN), memory.read)
    watch.arrived(before, None if table else ms(3545))
    watch.guess(alarm, at_s, clear_s)
    watch.arrived(after, None if table else ms(7_205))
    (found,) = [a for a in watch.alarms if a.alarm == alarm]
    (silence,) = [a for a in watch.alarms if a.alarm == OFFLINE]
    assert found.suppressed_by == under
    assert (silence.priority, "escalated" in silence.detail) == ((priority, True) if under else ("medium", False))
    assert silence.detail["act_within_min"] == (60 if under else 120)
