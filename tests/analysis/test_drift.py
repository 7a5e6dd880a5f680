"""Probes compared in rests: where they are heading, and which of them has left the others."""

import math

import numpy as np
import pytest

from sootline.analysis.drift import NEED, Drift, _Pair
from sootline.analysis.engine import Engine
from sootline.analysis.follow.rest import Rests
from sootline.profile import parse
from sootline.series import Rows

START_MS, S, HOUR = 1_767_600_000_000, 1000, 3_600_000
PROFILE = '[furnace]\nid = "shed"\nheating = "on-call"\n[tank]\nsetpoint_C = 60.0\n[nozzle]\nsetpoint_C = 85.0\n'
ROOM_C, DAY_S = 9.0, 86_400
TAU_S = {"tank": 10_800.0, "nozzle": 3000.0, "stack": 2400.0}
HOT_C = {"tank": 60.0, "nozzle": 85.0, "stack": 240.0}


def days(n: int, rest_h: float = 4.0, tank_off_K: float = 0.0, off_from: int = 99, seed: int = 1) -> Rows:
    """Days of firings 20 min long, 40 min apart, and one rest; each body falls to the room by its own tau.

    The tank's probe is off by so much from a day on. Readings have noise, and count in quarter kelvins.
    """
    t = np.arange(0, n * DAY_S, 30.0)
    rng = np.random.default_rng(seed)
    into = t % DAY_S
    resting = into < rest_h * 3600
    cycle = (into - rest_h * 3600) % 3600.0
    fires = ~resting & (cycle < 1200)
    values: dict[str, np.ndarray] = {"pump": np.zeros(len(t)), "call": fires.astype(float)}
    for channel, tau in TAU_S.items():
        x = np.empty(len(t))
        now = ROOM_C
        room = ROOM_C + 2.0 * np.sin(2 * math.pi * t / DAY_S)
        for k, burning in enumerate(fires):
            to, slow = (HOT_C[channel], 120.0) if burning else (room[k], tau)
            now += (to - now) * (1 - math.exp(-30.0 / slow))
            x[k] = now
        if channel == "tank":
            x += np.where(t >= off_from * DAY_S, tank_off_K, 0.0)
        values[channel] = np.round((x + rng.normal(0, 0.1, len(t))) * 4) / 4
    return Rows(START_MS + (t * S).astype(np.int64), values, {}, ())


def drifted(rows: Rows) -> list[tuple[str | None, float, float | None, float]]:
    """(channel, day raised, day cleared, by how much) of each probe that has drifted."""
    engine = Engine(parse(PROFILE))
    engine.feed(rows)
    found = [a for a in engine.alarms if a.alarm == "sensor-fault" and a.detail["fault"] == "drifted"]
    return [
        (
            a.channel,
            (a.raised_ms - START_MS) / 24 / HOUR,
            None if a.cleared_ms is None else (a.cleared_ms - START_MS) / 24 / HOUR,
            a.detail["drift_K"],
        )
        for a in found
    ]


def test_the_end_of_a_fall_is_known_long_before_it() -> None:
    """tau 3 h, rests of 4 h: the tank is still 13 K above the room where it ends."""
    engine = Engine(parse(PROFILE))
    ends: list[dict[str, float]] = []
    rests = Rests(engine)
    rests.on_rest.append(ends.append)
    rows = days(9)
    engine.feed(rows)
    assert len(ends) >= 7
    assert math.exp(rests.log_tau_h["tank"].median or 0.0) == pytest.approx(3.0, rel=0.12)
    assert math.exp(rests.log_tau_h["nozzle"].median or 0.0) == pytest.approx(3000 / 3600, rel=0.12)
    for end in ends[4:]:
        assert set(end) == set(TAU_S)
        assert all(value == pytest.approx(ROOM_C + 1.5, abs=3.0) for value in end.values())


@pytest.mark.parametrize("rest_h", [4.0, 6.0])
def test_a_probe_that_has_left_two_others_on_a_furnace_that_never_rests_long(rest_h: float) -> None:
    (found,) = drifted(days(16, rest_h, tank_off_K=-14.0, off_from=10))
    assert found[0] == "tank" and 10.0 < found[1] < 13.0 and found[3] == pytest.approx(-14.0, abs=3.0)


@pytest.mark.parametrize("seed", range(2, 6))
def test_no_drift_no_alarm(seed: int) -> None:
    assert not drifted(days(14, 4.0, seed=seed))


def test_a_small_shift_is_weather() -> None:
    assert not drifted(days(16, 5.0, tank_off_K=3.5, off_from=10))


def test_oil_that_its_heater_holds_warm_has_not_drifted() -> None:
    """The tank's element fails one evening: the call goes unanswered all night, and the nozzle is held at 85 degC."""
    rows = days(12, 6.0)
    t_s = (rows.t_ms - START_MS) // S
    night = (t_s >= 10 * DAY_S) & (t_s < 10 * DAY_S + 6 * 3600)
    values = dict(rows.values)
    values["nozzle"] = np.where(night, 85.0 + 0.25 * (t_s // 30 % 2), values["nozzle"])
    assert not drifted(Rows(rows.t_ms, values, {}, ()))


# the statistic


def _usual(pair: _Pair, sd: float) -> None:
    for k in range(30):
        pair.usual.add(sd * (-1.0 if k % 2 else 1.0) / 1.4826)


def test_run_length_under_a_shift_is_that_of_siegmund(monkeypatch: pytest.MonkeyPatch) -> None:
    """k = 1 sd, h = 6 sd, a shift of 1.5 sd: (e^(-2 D b) + 2 D b - 1) / (2 D^2) = 12.3, D = 0.5, b = h + 1.166

    (Siegmund 1985, Sequential Analysis; in Montgomery & Runger, Applied Statistics).
    """
    sd, delta, b = 4.0, 0.5, 6.0 + 1.166
    expected = (math.exp(-2 * delta * b) + 2 * delta * b - 1) / (2 * delta**2)
    rng = np.random.default_rng(3)
    lengths = []
    for _ in range(600):
        pair = _Pair()
        _usual(pair, sd)
        monkeypatch.setattr(pair.usual, "add", lambda value: None)  # the usual is known, and stays
        told = (pair.add(float(x), 8.0) for x in rng.normal(1.5 * sd, sd, 500))
        lengths.append(1 + next(k for k, word in enumerate(told) if word))
    assert np.mean(lengths) == pytest.approx(expected, rel=0.15)


@pytest.mark.parametrize(("sd_K", "most"), [(2.0, 0), (4.0, 4)])
def test_pairs_of_clean_probes_hardly_ever_speak(sd_K: float, most: int) -> None:
    """40,000 differences from the first on, their scatter learned as they come: one false word in 40,000 at 4 K."""
    rng = np.random.default_rng(5)
    words = 0
    for _ in range(10):
        pair, before = _Pair(), 0
        for x in rng.normal(0.0, sd_K, 4000):
            now = pair.add(float(x), 8.0)
            words += bool(now and not before)
            before = now
    assert words <= most


def test_the_odd_one_out_is_named_and_of_two_the_one_in_the_air_is_believed() -> None:
    rng = np.random.default_rng(2)

    def spoken(channels: tuple[str, ...], off: dict[str, float]) -> set[str]:
        drift = Drift(8.0)
        told: set[str] = set()
        for k in range(NEED + 8):
            ends = {c: 10.0 + float(rng.normal(0, 0.8)) + (off.get(c, 0.0) if k >= NEED + 2 else 0.0) for c in channels}
            told |= drift.add(ends).keys()
        return told

    assert spoken(("tank", "nozzle", "stack"), {"nozzle": 12.0}) == {"nozzle"}
    assert spoken(("tank", "nozzle", "stack", "room"), {"room": -12.0}) == {"room"}
    assert spoken(("stack", "room"), {"room": 12.0}) == {"stack"}
    assert spoken(("tank", "nozzle", "stack"), {"tank": 12.0, "nozzle": 12.0, "stack": 12.0}) == set()


def test_a_probe_that_was_put_right_agrees_again_at_once() -> None:
    drift = Drift(8.0)
    for _ in range(NEED):
        drift.add({"tank": 10.0, "nozzle": 9.0, "stack": 11.0})
    for _ in range(6):
        told = drift.add({"tank": -4.0, "nozzle": 9.0, "stack": 11.0})
    assert told == {"tank": -14.0}
    assert not drift.add({"tank": 10.0, "nozzle": 9.0, "stack": 11.0})
    drift.forget("tank")
    assert not drift.add({"tank": -4.0, "nozzle": 9.0, "stack": 11.0})
