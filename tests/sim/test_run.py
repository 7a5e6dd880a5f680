"""What a board would have reported: the contract's sampling rule, determinism, and agreement with the truth."""

import numpy as np
import pytest

from sootline.channels import REQUIRED, STATES
from sootline.sim.faults import Fault
from sootline.sim.run import simulate
from sootline.sim.scenarios import CARRIAGE_SHOP, ENGINE_SHED

HOUR_MS = 3_600_000
MONDAY_MS = 1_767_571_200_000  # 2026-01-05T00:00:00Z


@pytest.fixture(scope="module")
def morning():
    return simulate(ENGINE_SHED, 7, MONDAY_MS, MONDAY_MS + 8 * HOUR_MS)


def test_same_seed_same_rows_and_truth(morning):
    rows, truth = morning
    again, truth_again = simulate(ENGINE_SHED, 7, MONDAY_MS, MONDAY_MS + 8 * HOUR_MS)
    assert truth == truth_again
    assert np.array_equal(rows.t_ms, again.t_ms)
    for name, column in rows.values.items():
        assert np.array_equal(column, again.values[name], equal_nan=True), name


def test_another_seed_gives_another_morning(morning):
    rows, _ = simulate(ENGINE_SHED, 8, MONDAY_MS, MONDAY_MS + 8 * HOUR_MS)
    assert len(rows) != len(morning[0])


def test_rows_rise_in_time_and_stay_inside_the_run(morning):
    rows, _ = morning
    assert (np.diff(rows.t_ms) > 0).all()
    assert rows.t_ms[0] == MONDAY_MS and rows.t_ms[-1] < MONDAY_MS + 8 * HOUR_MS


def _full(rows):
    return ~np.isnan(rows.values["tank"])


def test_full_rows_come_at_the_interval_while_anything_is_on_and_at_the_idle_interval_otherwise(morning):
    rows, _ = morning
    t_ms = rows.t_ms[_full(rows)]
    gaps = np.diff(t_ms)
    assert set(gaps[gaps > 5000]) <= set(range(5001, 60_001))
    on = np.zeros(len(rows), bool)
    for name in STATES:
        if name not in ("power", "circulation"):
            column = rows.values[name]
            held = np.maximum.accumulate(np.where(np.isnan(column), 0, np.arange(len(column))))
            on |= column[held] == 1.0
    on = on[_full(rows)]
    assert gaps[on[:-1]].max() == 5000
    assert 60_000 in gaps


def test_a_change_is_a_row_of_its_own_with_that_channel_alone(morning):
    rows, truth = morning
    starts = {refill.start_ms for refill in truth.refills}
    pump = rows.values["pump"]
    assert len(starts) > 5
    for start_ms in starts:
        i = int(np.searchsorted(rows.t_ms, start_ms))
        assert rows.t_ms[i] == start_ms and pump[i] == 1.0
        if rows.t_ms[i] % 5000 and np.isnan(rows.values["tank"][i]):
            here = {name for name, column in rows.values.items() if not np.isnan(column[i])}
            assert here <= {"pump", "float"}


def test_seconds_on_are_the_length_of_the_pump_runs(morning):
    rows, truth = morning
    total_s = sum((r.end_ms - r.start_ms) / 1000 for r in truth.refills)
    on_s = rows.on_s["pump"]
    last = np.searchsorted(rows.t_ms, truth.refills[-1].end_ms)
    assert on_s[last] == pytest.approx(total_s, abs=0.002)
    assert (np.diff(on_s[~np.isnan(on_s)]) >= 0).all()


def test_only_the_channels_asked_for_are_reported():
    rows, _ = simulate(CARRIAGE_SHOP, 1, MONDAY_MS, MONDAY_MS + HOUR_MS, channels=REQUIRED)
    assert set(rows.values) == set(REQUIRED)
    with pytest.raises(ValueError, match="carriage-shop has no channel suction"):
        simulate(CARRIAGE_SHOP, 1, MONDAY_MS, MONDAY_MS + HOUR_MS, channels=("suction",))


def test_a_refill_stall_runs_to_the_limit_and_latches_until_repair_and_reset():
    # By the time it is repaired more has burned than one run can bring: it takes some resets to fill the tank.
    stall_ms, reset_ms = MONDAY_MS + int(6.4 * HOUR_MS), MONDAY_MS + int(6.7 * HOUR_MS)
    rows, truth = simulate(
        ENGINE_SHED,
        1,
        MONDAY_MS + 5 * HOUR_MS,
        MONDAY_MS + 8 * HOUR_MS,
        faults=[Fault("air-leak", stall_ms)],
        actions=[
            (reset_ms, "repair", {"fault": "air-leak"}),
            *((reset_ms + minute * 60_000, "refill-reset", {}) for minute in range(4)),
        ],
    )
    stalled = next(r for r in truth.refills if r.start_ms > stall_ms)
    assert stalled.end_ms - stalled.start_ms == 20_000 and not stalled.full and stalled.delivered_l == 0.0
    lockout = rows.values["refill_lockout"]
    latched = rows.t_ms[lockout == 1.0]
    assert latched[0] == stalled.end_ms
    assert truth.faults[0].end_ms == reset_ms
    later = [r for r in truth.refills if r.start_ms >= reset_ms]
    assert later[0].start_ms == reset_ms and not later[0].full and later[0].delivered_l > 0.5
    assert later[1].start_ms == reset_ms + 60_000
    assert [r.full for r in later[:4]].count(False) < 4 and later[-1].full
