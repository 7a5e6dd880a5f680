"""The truth of a record: which alarm conditions of the contract came true, when, and because of what.

``audit`` reads conditions straight from the true log (no fault needs to be declared for them); claims of
the faults add those that depend on what is usual for the furnace. Sets are the channel sets "four",
"some" and "all"; a latest time is given only for sets on which the condition can be seen at all.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.records.plant import Plant
from tests.records.simulate import Log
from tests.records.story import DAY, HOUR, Story

MINUTE = 60.0
PROVED_S = 300.0
EVERY_SET = ("four", "some", "all")


@dataclass
class Truth:
    """Expectations gathered while the log is read; all times in seconds from the start of the record."""

    plant: Plant
    log: Log
    story: Story
    end: float
    profile: dict[str, Any]
    channels: dict[str, tuple[str, ...]]
    expected: list[dict[str, Any]] = field(default_factory=list)
    suppressed: list[dict[str, Any]] = field(default_factory=list)
    series: dict[str, list[list[float]]] = field(default_factory=dict)

    def expect(
        self,
        alarm: str,
        onset: float,
        condition: float,
        latest: dict[str, float],
        end: float,
        cause: str | None = None,
        channel: str | None = None,
        gradual: bool = False,
        earliest: float | None = None,
        also: str = "",
        severity: str = "high",
        under: str = "",
    ) -> None:
        """An alarm that must come: ``latest`` is the last acceptable moment on each set it can be seen on.

        ``also`` names alarms that say the same and count as found; ``under`` alarms it may stand suppressed by.
        """
        latest = {name: round(t, 1) for name, t in latest.items() if t < self.end}
        if condition >= self.end or not latest:
            return
        self.expected.append(
            {
                "alarm": alarm,
                "channel": channel,
                "onset": onset,
                "condition": condition,
                "earliest": onset - 60.0 if earliest is None else earliest,
                "latest": latest,
                "end": end,
                "cause": cause,
                "gradual": gradual,
                "severity": severity,
                "also": also.split(),
                "under": under.split(),
            }
        )

    def sets_with(self, *channels: str) -> list[str]:
        """Channel sets that carry every one of ``channels``."""
        return [name for name in EVERY_SET if all(channel in self.channels[name] for channel in channels)]

    def setpoint_C(self, channel: str, t: float) -> float:
        """Set point of ``tank`` or ``nozzle`` at ``t``, with what its owner has changed and written down."""
        heater = self.plant.tank_heater if channel == "tank" else self.plant.nozzle_heater
        changes = [e for e in self.story.entries if e["kind"] == "setpoint" and e["channel"] == channel and e["t"] <= t]
        return heater.setpoint_C + sum(float(e["shift_K"]) for e in changes)

    def burned(self) -> tuple[np.ndarray, np.ndarray]:
        """Time [s] and litres burned until then."""
        c = self.log.columns
        step = np.diff(c["t"], prepend=0.0)
        return c["t"], np.cumsum(c["fuel_kg_s"] * step) / self.plant.oil.density(55.0)

    def burning_time(self) -> tuple[np.ndarray, np.ndarray]:
        """Time [s] and seconds of flame until then."""
        c = self.log.columns
        step = np.diff(c["t"], prepend=0.0)
        return c["t"], np.cumsum(np.where(c["fuel_kg_s"] > 0.0, step, 0.0))

    def after_burning(self, start: float, seconds: float) -> float:
        """The moment ``seconds`` of flame have passed since ``start`` (the end when never)."""
        t, flame = self.burning_time()
        goal = float(np.interp(start, t, flame)) + seconds
        return float(np.interp(goal, flame, t)) if goal < flame[-1] else self.end + 1.0

    def nth_firing(self, start: float, count: int, least_s: float = PROVED_S) -> float:
        """When the ``count``-th firing of at least ``least_s`` begun after ``start`` ends."""
        ends = [f["off"] for f in self.log.firings if f["lit"] >= start and f["off"] - f["lit"] >= least_s]
        return ends[count - 1] if len(ends) >= count else self.end + 1.0


def audit(truth: Truth) -> None:
    """Find every condition that can be read off the log, then let the blames sort them."""
    for reader in (
        _refills,
        _overrun,
        _idle_refills,
        _chatter,
        _hot_oil,
        _hot_stack,
        _limit,
        _short,
        _flame,
        _no_heat,
        _offline,
        _switched_off,
        _freezing,
    ):
        reader(truth)
    _apply_blames(truth)
    _by_itself(truth)
    for blame in truth.story.blames:
        if blame.under:
            hidden = {"alarm": blame.alarm, "under": blame.under, "start": blame.start, "end": blame.end}
            truth.suppressed.append(hidden)


def _apply_blames(truth: Truth) -> None:
    kept = []
    for item in truth.expected:
        blames = [
            b for b in truth.story.blames if b.alarm == item["alarm"] and b.start - 1.0 <= item["condition"] <= b.end
        ]
        if blames and item["cause"] is None:
            item["cause"] = blames[0].cause
        under = next((b.under for b in blames if b.under), None)
        if under:
            truth.suppressed.append(
                {"alarm": item["alarm"], "under": under, "start": item["onset"], "end": item["end"]}
            )
        else:
            kept.append(item)
    truth.expected[:] = kept


# conditions that weather, cooling oil and habits bring about with nothing broken
UNBIDDEN = frozenset(("refill-without-burning", "short-cycling", "no-heat"))


def _by_itself(truth: Truth) -> None:
    """What the rule's wording meets with no fault behind it may be raised or not, as a refill of cooled oil."""
    for item in [e for e in truth.expected if e["cause"] is None and e["alarm"] in UNBIDDEN]:
        truth.expected.remove(item)
        truth.story.tolerate(item["alarm"], item["earliest"], item["end"], "true by the rule's wording, from no fault")


def _next_good_refill(truth: Truth, t: float) -> float:
    return next(
        (float(r["off"]) for r in truth.log.pump_runs if float(r["off"]) > t and r["why"] == "float"), truth.end
    )


def _refills(truth: Truth) -> None:
    last = -DAY
    for run in truth.log.pump_runs:
        off = float(run["off"])
        if run["why"] == "limit" and off > last:
            last = _next_good_refill(truth, off)
            latest = {"four": off + 30 * MINUTE, "some": off + 15 * MINUTE, "all": off + 15 * MINUTE}
            truth.expect("refill-timeout", float(run["on"]), off, latest, last)


def _overrun(truth: Truth) -> None:
    limit = truth.plant.limiter_s + max(2.0, 0.1 * truth.plant.limiter_s)
    for run in truth.log.pump_runs:
        on, off = float(run["on"]), float(run["off"])
        if off - on > limit:
            floats = [t for t, v in zip(*truth.log.edges["float"], strict=True) if not v and on < t < off]
            early = min([*floats, on + limit]) + 2.0
            latest = {"four": on + limit + 60.0, "some": early + 60.0, "all": early + 60.0}
            truth.expect("pump-overrun", on, early, latest, off + DAY, severity="critical", earliest=on)
    for start, end in truth.log.spans("high_level", truth.end):
        seen = any(e["alarm"] == "pump-overrun" and e["onset"] - 60 <= start <= e["end"] for e in truth.expected)
        if "high_level" in truth.channels["all"] and not seen and end - start > 5.0:
            truth.expect("pump-overrun", start, start, {"all": start + 60.0}, end + DAY, severity="critical")


def _idle_refills(truth: Truth) -> None:
    """Two refills with little burned between: cooling oil shrinks, so only half the burning of the rule is sure."""
    t, flame = truth.burning_time()
    runs = [r for r in truth.log.pump_runs if r["why"] == "float" and float(r["off"]) - float(r["on"]) > 2.5]
    pairs = []
    for before, after in itertools.pairwise(runs):
        start, on, off = float(before["off"]), float(after["on"]), float(after["off"])
        if off - start < 6.2 * HOUR:
            pairs.append((start, off, float(np.interp(on, t, flame) - np.interp(start, t, flame))))
    last = -DAY
    for start, off, burned in pairs:
        if off - start < 6 * HOUR and burned < 5 * MINUTE and off > last:
            last = off + 12 * HOUR
            sure = next((gone for _, gone, b in pairs if off <= gone < off + 6 * HOUR and b < 150.0), off + 6 * HOUR)
            truth.expect("refill-without-burning", start, off, dict.fromkeys(EVERY_SET, sure + 15 * MINUTE), last)
        elif burned < 6.5 * MINUTE:
            truth.story.tolerate("refill-without-burning", start, off + HOUR, "a little over the rule's five minutes")


def _chatter(truth: Truth) -> None:
    short = [float(r["off"]) for r in truth.log.pump_runs if float(r["off"]) - float(r["on"]) < 2.0]
    last = -DAY
    for first, fourth in zip(short, short[3:], strict=False):
        if fourth - first <= 30 * MINUTE and fourth > last:
            last = max([t for t in short if fourth <= t < fourth + DAY], default=fourth) + 2 * HOUR
            truth.expect(
                "float-chatter", first, fourth, dict.fromkeys(EVERY_SET, fourth + 30 * MINUTE), last, severity="medium"
            )


def _where(truth: Truth, mask: np.ndarray) -> list[tuple[float, float]]:
    t = truth.log.columns["t"]
    flags = np.concatenate(([False], mask, [False])).astype(np.int8)
    starts, ends = np.flatnonzero(np.diff(flags) == 1), np.flatnonzero(np.diff(flags) == -1)
    last = len(t) - 1
    pairs = zip(starts.tolist(), ends.tolist(), strict=True)
    return [(float(t[a]), float(t[min(b, last)])) for a, b in pairs]


def _above(truth: Truth, column: str, limit: float) -> list[tuple[float, float]]:
    return _where(truth, truth.log.columns[column] > limit)


def _hot_oil(truth: Truth) -> None:
    for channel, heater in (("tank", truth.plant.tank_heater), ("nozzle", truth.plant.nozzle_heater)):
        _hot(truth, "oil-overtemperature", channel, heater.limit_C, 1.5, 2 * HOUR)


def _hot_stack(truth: Truth) -> None:
    _hot(truth, "stack-high", "stack", truth.plant.stack_limit_C + 1.0, 3.0, 6 * HOUR)


def _hot(truth: Truth, alarm: str, column: str, limit_C: float, error_K: float, again_s: float) -> None:
    """Above a limit by more than the probe's error an alarm is due; within it the alarm may come or not, and stand."""
    t, x = truth.log.columns["t"], truth.log.columns[column]
    near = _above(truth, column, limit_C - error_K)
    for start, end in near:
        truth.story.tolerate(alarm, start, end + 5 * MINUTE, "so near its limit that the probe's error decides")
    last = -DAY
    for start, end in _above(truth, column, limit_C):
        sure = t[(t >= start) & (t <= end) & (x > limit_C + error_K)]
        if end - start > 20.0 and start > last and len(sure):
            last = end + again_s
            first = start
            for begun, gone in reversed(near):
                first = begun if begun < first <= gone + again_s else first
            truth.expect(
                alarm,
                start,
                start + 10.0,
                dict.fromkeys(EVERY_SET, float(sure[0]) + 3 * MINUTE),
                last,
                channel=None if column == "stack" else column,
                severity="critical",
                earliest=first - 60.0,
            )


def _limit(truth: Truth) -> None:
    opens = [s for s, _ in truth.log.spans("limit", truth.end) if truth.log.state("call", s)]
    last = -DAY
    for first, second in itertools.pairwise(opens):
        if second - first < DAY and second > last:
            last = max(t for t in opens if second <= t < second + 3 * DAY) + DAY
            if "limit" in truth.channels["all"]:
                truth.expect("limit-open", first, second, {"all": second + 10 * MINUTE}, last, severity="medium")


def _short(truth: Truth) -> None:
    firings = [f for f in truth.log.firings if f["off"] - f["lit"] > 20.0]
    last = -DAY
    for i in range(5, len(firings)):
        six = firings[i - 5 : i + 1]
        mean = sum(f["off"] - f["lit"] for f in six) / 6.0
        often = six[5]["lit"] - six[0]["lit"] <= HOUR
        moment = six[5]["off"] if mean < 180.0 else six[5]["lit"]
        if mean < 215.0 or six[5]["lit"] - six[0]["lit"] <= 1.2 * HOUR:
            truth.story.tolerate("short-cycling", six[0]["lit"], moment + HOUR, "near the rule's limits")
        if (mean < 180.0 or often) and moment > last:
            last = moment + 12 * HOUR
            latest = dict.fromkeys(EVERY_SET, moment + 2 * HOUR)
            truth.expect("short-cycling", six[0]["lit"], moment, latest, last, severity="low")


def _next_proved(truth: Truth, t: float) -> float:
    return next(
        (f["lit"] + PROVED_S for f in truth.log.firings if f["lit"] > t and f["off"] - f["lit"] >= PROVED_S), truth.end
    )


def _flame(truth: Truth) -> None:
    """Failed starts, lockouts and lost flames."""
    log = truth.log
    last = -DAY
    for fail in log.failures:
        if fail["at"] <= last:
            continue
        last = _next_proved(truth, fail["at"])
        locks = [t for t, on in zip(*log.edges["lockout"], strict=True) if on and fail["opened"] < t < last + 1.0]
        if locks:
            seen = 15 if "lockout" in truth.channels["all"] else 25
            latest = {"all": locks[0] + seen * MINUTE, "some": locks[0] + 25 * MINUTE}
            if not truth.plant.keep_warm:
                latest["four"] = locks[0] + 35 * MINUTE
            truth.expect(
                "lockout", fail["opened"], locks[0], latest, last, also="ignition-failure", earliest=fail["opened"]
            )
            truth.suppressed.append(
                {"alarm": "ignition-failure", "under": "lockout", "start": fail["opened"], "end": last}
            )
            truth.suppressed.append({"alarm": "no-heat", "under": "lockout", "start": fail["opened"], "end": last})
        elif {"flame", "burner"} & set(truth.channels["all"]):
            latest = {"all": fail["at"] + 15 * MINUTE}
            if _merged(truth, "ignition-failure", fail["at"], last, hours=12.0):
                continue
            truth.expect("ignition-failure", fail["opened"], fail["at"], latest, last, severity="medium")
    last = -DAY
    for loss in log.losses:
        if loss <= last:
            continue
        last = _next_proved(truth, loss)
        locked = any(on and loss <= t < last for t, on in zip(*log.edges["lockout"], strict=True))
        if locked:
            truth.suppressed.append({"alarm": "flame-loss", "under": "lockout", "start": loss, "end": last})
        if {"flame", "burner"} & set(truth.channels["all"]):
            under = "lockout" if locked else ""
            if _merged(truth, "flame-loss", loss, last):
                continue
            truth.expect("flame-loss", loss, loss, {"all": loss + 10 * MINUTE}, last, severity="medium", under=under)
    locks_seen = [e["condition"] for e in truth.expected if e["alarm"] == "lockout"]
    for t, on in zip(*log.edges["lockout"], strict=True):
        if on and not any(c - 1.0 <= t <= _next_proved(truth, c) for c in locks_seen):
            done = _next_proved(truth, t)
            truth.expect(
                "lockout",
                t,
                t,
                {"all": t + 15 * MINUTE, "some": t + 25 * MINUTE},
                done,
                also="flame-loss ignition-failure",
            )
            locks_seen.append(t)


def _merged(truth: Truth, alarm: str, moment: float, end: float, hours: float = 1.0) -> bool:
    """Whether ``moment`` falls within ``hours`` of an earlier one of its kind, which then lasts until ``end``."""
    for item in truth.expected:
        if item["alarm"] == alarm and item["condition"] <= moment <= item["end"] + hours * HOUR:
            item["end"] = max(item["end"], end)
            return True
    return False


def usual_start_s(truth: Truth) -> float:
    """Usual time from a call to a firing proved for 5 min [s]."""
    waits = []
    for start, _ in truth.log.spans("call", truth.end):
        lit = next((f["lit"] for f in truth.log.firings if f["lit"] > start), None)
        if lit is not None:
            waits.append(lit + PROVED_S - start)
    return float(np.quantile(waits, 0.75)) if waits else 900.0


def _no_heat(truth: Truth) -> None:
    wait = max(45 * MINUTE, 1.5 * usual_start_s(truth))
    for start, end in truth.log.spans("call", truth.end):
        inside = [f for f in truth.log.firings if f["off"] > start and f["lit"] < end]
        proved = [f for f in inside if f["off"] - max(f["lit"], start) >= PROVED_S]
        since = start
        for firing in [*proved, {"lit": end - PROVED_S, "off": end}]:
            moment = since + wait
            if firing["lit"] + PROVED_S > since + 38 * MINUTE:
                truth.story.tolerate("no-heat", since, firing["lit"] + PROVED_S + 300.0, "near the rule's limit")
            if firing["lit"] + PROVED_S > moment and moment < end:
                sets = [name for name in ("some", "all") if "call" in truth.channels[name]]
                truth.expect(
                    "no-heat", since, moment, dict.fromkeys(sets, moment + 30 * MINUTE), firing["lit"] + PROVED_S
                )
            since = firing["off"]


def _offline(truth: Truth) -> None:
    interval = float(truth.profile.get("_idle_interval_s", 60.0))
    wait = max(10 * MINUTE, 5 * interval)
    if truth.plant.variety.lost_rows > 0.0 and interval > 1.5 * MINUTE:
        truth.story.tolerate("board-offline", 0.0, truth.end, "rows lost of a board that speaks seldom")
    for gap in truth.story.gaps:
        if gap.end - gap.start > wait + 60.0:
            severity = "high" if gap.end - gap.start > 2 * HOUR else "medium"
            moment = gap.start + wait
            truth.expect(
                "board-offline",
                gap.start,
                moment,
                dict.fromkeys(EVERY_SET, moment + 15 * MINUTE),
                gap.end + 60.0,
                cause="outage",
                severity=severity,
            )
        elif gap.end - gap.start > 8 * MINUTE:
            truth.story.tolerate(
                "board-offline", gap.start, gap.end + 60.0, "a gap about as long as the rule's own limit"
            )


def _switched_off(truth: Truth) -> None:
    """A keep-warm tank cools while the service switch is off; who has no ``power`` channel cannot know why."""
    if not truth.plant.keep_warm:
        return
    blind = [name for name in EVERY_SET if "power" not in truth.channels[name]]
    times, values = truth.log.edges["power"]
    for i, (t, on) in enumerate(zip(times, values, strict=True)):
        if not on:
            end = times[i + 1] if i + 1 < len(times) else truth.end
            for alarm in ("preheat-stalled", "preheat-slow", "sensor-fault"):
                truth.story.tolerated.append(
                    {"alarm": alarm, "start": t, "end": end + 2 * HOUR, "why": "switched off unseen", "sets": blind}
                )


def _freezing(truth: Truth) -> None:
    """The room near or under its limit, whatever the reason."""
    freeze_C = float(truth.profile.get("room", {}).get("freeze_C", 3.0))
    for start, end in _where(truth, truth.log.columns["room"] < freeze_C + 2.0):
        truth.story.tolerate("freeze-risk", start - 12 * HOUR, end + 6 * HOUR, "the room comes near its limit")
