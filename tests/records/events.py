"""Things that are no fault of the furnace, and faults of the sensing itself."""

from __future__ import annotations

import random

from tests.records.simulate import Simulation
from tests.records.story import DAY, HOUR, ClockStep, Gap, SensorFault, Story
from tests.records.truth import MINUTE, Truth
from tests.records.weather import Spell


def cold_snap(story: Story, day: float, days: float, shift_K: float) -> None:
    """Days much colder than the rest."""
    story.spells.append(Spell(day * DAY, (day + days) * DAY, shift_K))
    story.notes.append(f"cold snap {shift_K} K, days {day} to {day + days}")


def doors(story: Story, count: int, seed: int) -> None:
    """Big doors left open now and then, minutes to over an hour."""
    dice = random.Random(seed)
    for _ in range(count):
        day = dice.uniform(0.5, story.end / DAY - 0.3)
        start = (int(day) + dice.uniform(0.33, 0.7)) * DAY
        story.set(start, door=dice.uniform(1.5, 4.0))
        story.set(start + dice.uniform(8.0, 75.0) * MINUTE, door=1.0)
    story.notes.append(f"{count} times a door open")


def setpoint(story: Story, day: float, channel: str, shift_K: float) -> None:
    """Another set point of tank or nozzle, written down by the owner."""

    def change(sim: Simulation) -> None:
        if channel == "tank":
            sim.tank_set += shift_K
            sim.tank_switch.trip_C += max(shift_K, 0.0)
        else:
            sim.nozzle_set += shift_K
            sim.nozzle_switch.trip_C += max(shift_K, 0.0)

    story.at(day * DAY, change)
    story.entry(day * DAY, "setpoint", channel=channel, shift_K=shift_K)


def thermostat(story: Story, day: float, days: float, shift_K: float) -> None:
    """Somebody turns the thermostat for some days."""
    story.set(day * DAY, thermostat_shift_K=shift_K)
    story.set((day + days) * DAY, thermostat_shift_K=0.0)


def absence(story: Story, day: float, days: float, low_C: float = 7.0) -> None:
    """Nobody comes for some days and the thermostat was turned down to ``low_C``."""
    story.set(day * DAY, away_C=low_C)
    story.set((day + days) * DAY, away_C=None)
    story.notes.append(f"away, days {day:.1f} to {day + days:.1f}")


def fidgets(story: Story, count: int, seed: int) -> None:
    """People turn the thermostat up and think again: calls of some seconds to two minutes."""
    dice = random.Random(seed)
    for _ in range(count):
        t = (dice.randint(1, max(1, int(story.end / DAY) - 1)) + dice.uniform(0.3, 0.75)) * DAY
        story.set(t, thermostat_shift_K=12.0)
        story.set(t + dice.uniform(15.0, 120.0), thermostat_shift_K=0.0)
    story.notes.append(f"{count} calls of a minute")


def summer(story: Story, day: float, days: float, power: bool = False) -> None:
    """No heating for a while: thermostat off, and the service switch too unless ``power``."""
    story.set(day * DAY, heating=False, power=power)
    story.set((day + days) * DAY - 4 * HOUR, power=True)
    story.set((day + days) * DAY, heating=True)
    story.notes.append(f"summer pause, days {day} to {day + days}")


def gap(story: Story, day: float, minutes: float, kind: str = "lost", reboot: bool = False) -> None:
    """No data for a while (``lost``), or only later (``late``)."""
    story.gaps.append(Gap(day * DAY, day * DAY + minutes * MINUTE, kind, reboot))


def reboots(story: Story, days: list[float]) -> None:
    """The board restarts: forty seconds or so without a sample, a new boot id."""
    for i, day in enumerate(days):
        story.gaps.append(Gap(day * DAY, day * DAY + 35.0 + 13.0 * (i % 4), "lost", True))


def clock_step(story: Story, day: float, hours: float, shift_s: float) -> None:
    """The board's clock is wrong for some hours."""
    story.clock.append(ClockStep(day * DAY, day * DAY + hours * HOUR, shift_s))


def service(story: Story, day: float, kind: str = "service") -> None:
    """A visit: switch off, cool, work, two test firings, written down afterwards."""
    t = day * DAY
    story.set(t, power=False)
    story.set(t + 50 * MINUTE, power=True, thermostat_shift_K=30.0)
    story.set(t + 80 * MINUTE, thermostat_shift_K=-30.0)
    story.set(t + 95 * MINUTE, thermostat_shift_K=30.0)
    story.set(t + 120 * MINUTE, thermostat_shift_K=0.0)
    if kind == "cleaning":

        def clean(sim: Simulation) -> None:
            sim.fire.foul = sim.plant.foul(1.0)

        story.at(t + 30 * MINUTE, clean)
    story.entry(t + 2 * HOUR, kind)
    story.notes.append(f"service visit at day {day}")


def mains(story: Story, day: float, days: float, share: float) -> None:
    """Low mains voltage: heaters give ``share`` of their power."""
    story.set(day * DAY, mains=share)
    story.set((day + days) * DAY, mains=1.0)
    story.notes.append(f"heaters at {share:.2f} of their power, days {day} to {day + days}")


def sensor(story: Story, day: float, hours: float, channel: str, kind: str, size: float = 0.0) -> None:
    """A probe goes wrong: open, short, absent, frozen, spikes, drift (``size`` K reached in the first third)."""
    t, fixed = day * DAY, day * DAY + hours * HOUR
    story.sensors.append(SensorFault(channel, kind, t, fixed, size))
    waits = {
        "open": 0.0,
        "short": 0.0,
        "absent": 0.0,
        "frozen": 2 * HOUR,
        "spikes": 10 * MINUTE,
        "drift": hours * HOUR / 3,
    }
    slack = {
        "open": 15 * MINUTE,
        "short": 15 * MINUTE,
        "absent": 15 * MINUTE,
        "frozen": 6 * HOUR,
        "spikes": 3 * HOUR,
        "drift": 4 * DAY,
    }
    severity = "high" if channel in ("tank", "nozzle") and kind not in ("drift", "spikes") else "medium"

    def claim(truth: Truth) -> None:
        sets = truth.sets_with(channel)
        moment = t + waits[kind]
        truth.expect(
            "sensor-fault",
            t,
            moment,
            dict.fromkeys(sets, moment + slack[kind]),
            fixed + HOUR,
            f"probe-{kind}",
            channel=channel,
            gradual=kind == "drift",
            severity=severity,
            earliest=t,
        )

    story.claims.append(claim)
    if kind in ("drift", "spikes", "frozen"):
        readers = {
            "tank": "preheat-slow preheat-stalled heater-stuck-on oil-overtemperature refill-timeout",
            "nozzle": "preheat-slow preheat-stalled heater-stuck-on oil-overtemperature",
            "stack": "stack-step stack-low stack-rising flame-loss ignition-failure heat-without-call",
        }
        story.tolerate(readers.get(channel, ""), t, fixed + DAY, "reads a probe that lies, before that can be known")
