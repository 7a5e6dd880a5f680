"""Firing by firing, made as events: the stack and the time to flame, at their limits and just short of them."""

from datetime import datetime

import numpy as np
import pytest

from sootline.analysis.follow import steady
from sootline.analysis.follow.warming import Curve, Reading
from sootline.events import Event
from sootline.profile import LogEntry
from tests.analysis.kit import DAY, DAY_MS, found, ms, rows, run, seconds


class Firing:
    """An engine that is told of firings, five a day, each 1000 s."""

    def __init__(self, **channels: float) -> None:
        self.engine = run(rows(60, return_air=15, **channels))
        self.s = 0.0
        self.noise = np.random.default_rng(5)

    def fire(self, n: int, stack_C: float = 275.0, sd_K: float = 0.0, **features: float) -> None:
        for _ in range(n):
            self.fire_after(DAY / 5, stack_C + sd_K * self.noise.normal(), **features)

    def fire_after(self, gap_s: float, stack_C: float, **features: float) -> None:
        self.s += gap_s
        self.engine.plant.history.now_ms = ms(self.s)
        self.engine.fire.burned_ms += 1_000_000
        known = {"stack_end": stack_C, "return_air_end": 15.0, "burned_s": 1000.0}
        event = Event("engine-shed", "firing", ms(self.s - 1000), ms(self.s), known | features)
        self.engine.plant.happened(event)

    def log(self, kind: str) -> None:
        self.s += 10
        self.engine.plant.history.now_ms = ms(self.s)
        self.engine.plant.logged(LogEntry(ms(self.s), kind))  # type: ignore[arg-type]

    def rise(self, n: int, K_each: float, from_C: float = 275.0) -> float:
        """n firings, each K_each hotter than the one before; the last stack [degC]."""
        for k in range(n):
            self.fire(1, from_C + K_each * (k + 1), 2.0)
        return from_C + K_each * n


def test_stack_rising_and_its_return_with_a_cleaning() -> None:
    """1 K a firing after 40 clean ones: the mean of 5 days (25 firings) passes 20 K near the 33rd."""
    site = Firing()
    site.fire(40, sd_K=2.0)
    top_C = site.rise(45, 1.0)
    (alarm,) = found(site.engine, "stack-rising")
    since = ((seconds(alarm.raised_ms) or 0) - 40 * DAY / 5) / (DAY / 5)
    assert 28 <= since <= 38
    assert alarm.detail["rise_K"] == pytest.approx(since, abs=8), "why it was raised"
    assert alarm.detail["rise_now_K"] == pytest.approx(top_C - 275, abs=8)
    assert alarm.detail["slope_K_per_100h"] == pytest.approx(100 * 3.6, rel=0.15)  # 1 K in 1000 s
    assert alarm.priority == "medium" and alarm.detail["binding"] in ("rise", "stack limit")
    assert alarm.detail["clean_from"] <= alarm.detail["clean_by"] <= alarm.detail["clean_to"]
    assert alarm.detail["compared_with"] == "the first weeks", "nobody declared it clean"
    site.log("cleaning")
    assert found(site.engine, "stack-rising")[0].cleared_ms == ms(site.s)
    site.fire(60, sd_K=2.0)
    assert len(found(site.engine, "stack-rising")) == 1


def test_after_a_summer_the_mean_begins_anew() -> None:
    site = Firing()
    site.fire(40, sd_K=2.0)
    site.fire_after(100 * DAY, 275.0)
    site.fire(10, sd_K=2.0)
    assert not site.engine.alarms


def test_a_rise_of_fifteen_kelvin_is_none() -> None:
    site = Firing()
    site.fire(40, sd_K=2.0)
    top_C = site.rise(50, 0.3)
    site.fire(50, top_C, 2.0)
    assert not found(site.engine, "stack-rising")


def test_stack_rising_returns_below_two_thirds_for_ten_days() -> None:
    site = Firing()
    site.fire(40, sd_K=2.0)
    site.rise(45, 1.0)
    for k in range(45):
        site.fire(1, 320 - (k + 1), 2.0)
    site.fire(90, sd_K=2.0)
    (alarm,) = found(site.engine, "stack-rising")
    assert alarm.cleared_ms is not None


@pytest.mark.parametrize(("step_K", "count"), [(12.0, 0), (25.0, 1), (-25.0, 1)])
def test_stack_step(step_K: float, count: int) -> None:
    """Medians of five firings before and after: the fifth after shows it; it says which firing was the first."""
    site = Firing()
    site.fire(45, sd_K=1.0)
    at_s = site.s + DAY / 5
    site.fire(3, 275 + step_K, 1.0)
    assert not found(site.engine, "stack-step")
    site.fire(2, 275 + step_K, 1.0)
    alarms = found(site.engine, "stack-step")
    assert len(alarms) == count
    for alarm in alarms:
        assert alarm.raised_ms in (ms(site.s), ms(site.s - DAY / 5)) and alarm.priority == "medium"
        stepped_ms = datetime.fromisoformat(alarm.detail["stepped_at"]).timestamp() * 1000
        assert abs(stepped_ms - ms(at_s)) <= DAY_MS / 5
        assert alarm.detail["step_K"] == pytest.approx(step_K, abs=3)
        assert not found(site.engine, "stack-rising"), "a step is not ash"


def test_stack_step_returns_with_a_log_entry_or_back() -> None:
    for ends in ("log", "back"):
        site = Firing()
        site.fire(45, sd_K=1.0)
        site.fire(12, 300, 1.0)
        assert found(site.engine, "stack-step")[0].cleared_ms is None
        if ends == "log":
            site.log("nozzle")
        else:
            site.fire(12, 275, 1.0)
        assert found(site.engine, "stack-step")[0].cleared_ms is not None
        assert len(found(site.engine, "stack-step")) == 1


def test_a_step_that_five_more_firings_deny_is_no_step() -> None:
    """Six hot firings, then as before: gone, and nothing is taken out of the rise."""
    site = Firing()
    site.fire(45, sd_K=1.0)
    site.fire(6, 300, 1.0)
    assert found(site.engine, "stack-step")[0].cleared_ms is None and site.engine.stack.offset_K == 0
    site.fire(6, sd_K=1.0)
    assert found(site.engine, "stack-step")[0].cleared_ms is not None and site.engine.stack.offset_K == 0


@pytest.mark.parametrize("hot", range(2, 14))
def test_what_was_mended_soon_leaves_the_rise_as_it_was(hot: int) -> None:
    """A belt slips for some firings and is mended: nothing is left of it, had the step been confirmed or not."""
    site = Firing()
    site.fire(45, sd_K=1.0)
    top_C = site.rise(30, 0.5)
    site.fire(hot, top_C + 60, 1.0)
    site.log("blower")
    site.fire(12, top_C, 1.0)
    assert site.engine.stack.offset_K == pytest.approx(0, abs=5)


def test_a_step_that_stays_is_taken_out_of_the_rise_and_put_back_when_it_goes() -> None:
    site = Firing()
    site.fire(45, sd_K=1.0)
    site.fire(12, 300, 1.0)
    assert site.engine.stack.offset_K == pytest.approx(25, abs=2)
    site.fire(12, sd_K=1.0)
    assert site.engine.stack.offset_K == pytest.approx(0, abs=1)


def test_days_that_differ_are_no_steps() -> None:
    """Scatter of 2 K within a day and 5 K from day to day, fifteen firings a day: 15 K is then nothing.

    Of the difference of two medians of five, the days' part alone has an sd of 7.1 K.
    """
    seasons, false, seen = 12, 0, 0
    for season in range(seasons):
        site = Firing()
        site.noise = np.random.default_rng(season)
        for _ in range(90):
            day_K = 5.0 * site.noise.normal()
            site.s = DAY * round(site.s / DAY)
            for _ in range(15):
                site.fire_after(DAY / 15 - 1, 275 + day_K + 2.0 * site.noise.normal())
        false += len(found(site.engine, "stack-step"))
        site.fire(10, 330, 2.0)
        seen += len(found(site.engine, "stack-step")) > 0
    assert false <= 1 and seen == seasons


@pytest.mark.parametrize(("low", "count"), [(4, 0), (5, 1)])
def test_stack_low(low: int, count: int) -> None:
    """Net of 15 degC return air: 149 K in five firings in a row, then five above."""
    site = Firing()
    site.fire(10, 164.0)
    assert not found(site.engine, "stack-low"), "not while its warming is learned"
    site = Firing()
    site.fire(40)
    site.fire(low, 164.0)
    alarms = found(site.engine, "stack-low")
    assert [(a.priority, a.detail["net_stack_K"]) for a in alarms] == [("low", 149.0)] * count
    site.fire(4, 170.0)
    assert all(a.cleared_ms is None for a in found(site.engine, "stack-low"))
    site.fire(1, 170.0)
    assert all(a.cleared_ms == ms(site.s) for a in found(site.engine, "stack-low"))


@pytest.mark.parametrize(("late_s", "count"), [(2.9, 0), (3.1, 1)])
def test_ignition_delayed(late_s: float, count: int) -> None:
    """20 lights of 3 s, then a mean of five that is more than 3 s later."""
    site = Firing(burner=0, flame=0)
    site.fire(20, time_to_flame_s=3.0)
    site.fire(4, time_to_flame_s=3.0 + late_s)
    assert not found(site.engine, "ignition-delayed")
    site.fire(1, time_to_flame_s=3.0 + late_s)
    alarms = found(site.engine, "ignition-delayed")
    assert [(a.priority, a.detail["late_s"], a.detail["usual_s"]) for a in alarms] == [("medium", 3.1, 3.0)] * count
    site.fire(14, time_to_flame_s=3.0)
    assert all(a.cleared_ms is not None for a in found(site.engine, "ignition-delayed"))


@pytest.mark.parametrize("flame", [True, False])
def test_times_to_flame_known_to_a_sample_only_need_more(flame: bool) -> None:
    """Samples of 5 s put a light of 1 s now at nought and now at 5: five late ones are then no sign."""
    site = Firing(burner=0, **({"flame": 0.0} if flame else {}))
    site.fire(20, time_to_flame_s=0.0)
    site.fire(5, time_to_flame_s=5.0)
    assert not found(site.engine, "ignition-delayed")
    site.fire(5, time_to_flame_s=15.0)
    assert found(site.engine, "ignition-delayed")


def test_new_electrodes_end_a_delay() -> None:
    site = Firing(burner=0, flame=0)
    site.fire(20, time_to_flame_s=3.0)
    site.fire(5, time_to_flame_s=8.0)
    site.log("electrodes")
    assert found(site.engine, "ignition-delayed")[0].cleared_ms == ms(site.s)


@pytest.mark.parametrize("cold_again", [True, False])
def test_firings_from_a_cold_furnace_are_no_low_stack(monkeypatch: pytest.MonkeyPatch, cold_again: bool) -> None:
    """Steel that is still cold keeps the flue 14 K lower at the age at which firings are read; after a night it is.

    Learned from mornings (flue at 10 degC before the light-off) and days (70 degC) of one furnace, net 155 K warm.
    """
    site = Firing()
    start_C = {"now": 70.0}

    def read(event: Event, history: object) -> Reading:
        tail_C = event.number("stack_end")
        assert tail_C is not None
        return Reading(event.duration_s, start_C["now"], {480: tail_C}, tail_C)

    monkeypatch.setattr(steady, "read", read)
    monkeypatch.setattr(steady, "learn", lambda readings: Curve(480, {480: 1.0}, 1.0))

    def day(cold: int, warm: int) -> None:
        for k in range(cold + warm):
            start_C["now"] = 10.0 if k < cold else 70.0
            site.fire(1, 170.0 - (14.0 if k < cold else 0.0), 1.0)

    for _ in range(9):
        day(1, 4)
    baseline = site.engine.stack.baseline
    assert baseline is not None and baseline.slopes[steady.START] == pytest.approx(14.0 / 60.0, abs=0.05)
    if cold_again:
        day(6, 0)
    else:
        start_C["now"] = 70.0
        site.fire(6, 156.0)
    assert len(found(site.engine, "stack-low")) == (0 if cold_again else 1)
