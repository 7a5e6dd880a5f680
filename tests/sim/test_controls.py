"""Contacts with differential, the refill limiter, and the primary control's sequence."""

import pytest

from sootline.sim.controls import Contact, Permits, PrimaryControl, RefillLimiter

READY = Permits(call=True, oil_ready=True)


def test_a_falling_contact_closes_low_and_opens_high():
    float_switch = Contact(closes_at=7.5, opens_at=8.0)
    positions = []
    for litres in (7.8, 7.51, 7.49, 7.8, 7.99, 8.01, 7.8):
        float_switch.follow(litres)
        positions.append(float_switch.closed)
    assert positions == [False, False, True, True, True, False, False]


def test_a_rising_contact_closes_high_and_opens_low():
    fan = Contact(closes_at=55.0, opens_at=38.0)
    positions = []
    for plenum_C in (50.0, 56.0, 40.0, 37.0, 50.0):
        fan.follow(plenum_C)
        positions.append(fan.closed)
    assert positions == [False, True, True, False, False]


def test_crossing_tells_where_on_the_way_a_contact_moves():
    float_switch = Contact(closes_at=7.5, opens_at=8.0)
    assert float_switch.crossing(7.6, 7.4) == pytest.approx(0.5)
    assert float_switch.crossing(7.9, 7.6) == 2.0
    assert float_switch.crossing(7.4, 7.3) == 2.0


def test_the_limiter_stops_at_its_time_and_stays_out_until_reset():
    limiter = RefillLimiter(20.0)
    limiter.update(0, True, True)
    limiter.update(19_999, True, True)
    assert limiter.running
    limiter.update(20_000, True, True)
    assert not limiter.running and limiter.latched
    limiter.update(90_000, True, True)
    assert not limiter.running
    limiter.reset()
    limiter.update(91_000, True, True)
    assert limiter.running and limiter.until_ms == 111_000


def test_a_refill_the_float_ends_does_not_latch():
    limiter = RefillLimiter(20.0)
    limiter.update(0, True, True)
    limiter.update(11_000, False, True)
    assert not limiter.running and not limiter.latched


def test_without_power_no_refill():
    limiter = RefillLimiter(20.0)
    limiter.update(0, True, False)
    assert not limiter.running


def _control() -> PrimaryControl:
    return PrimaryControl(purge_s=5.0, trial_s=15.0, recycle_s=60.0, recycles=1)


def _run(control, moments):
    stages = []
    for t_ms, permits in moments:
        control.update(t_ms, permits)
        stages.append(control.stage)
    return stages


def test_purge_trial_firing_and_off():
    lit = Permits(call=True, oil_ready=True, sees_flame=True)
    done = Permits(call=False, oil_ready=True, sees_flame=True)
    stages = _run(_control(), [(0, READY), (4999, READY), (5000, READY), (7000, lit), (9000, lit), (9999, done)])
    assert stages == ["purge", "purge", "ignition", "firing", "firing", "standby"]


def test_no_flame_in_the_trial_locks_out_until_the_primary_reset():
    control = _control()
    assert _run(control, [(0, READY), (5000, READY), (19_999, READY), (20_000, READY)])[-2:] == ["ignition", "lockout"]
    assert _run(control, [(99_000, Permits(call=False)), (99_001, READY)]) == ["lockout", "lockout"]
    control.reset()
    assert _run(control, [(100_000, READY)]) == ["purge"]


def test_a_lost_flame_recycles_once_then_locks_out():
    lit = Permits(call=True, oil_ready=True, sees_flame=True)
    control = _control()
    _run(control, [(0, READY), (5000, READY), (7000, lit)])
    assert _run(control, [(50_000, READY), (51_499, READY), (51_500, READY)]) == ["firing", "firing", "recycle"]
    assert not control.motor
    assert _run(control, [(111_499, READY), (111_500, READY), (116_500, READY), (118_000, lit)]) == [
        "recycle",
        "purge",
        "ignition",
        "firing",
    ]
    assert _run(control, [(150_000, READY), (151_500, READY)])[-1] == "lockout"


def test_limit_and_cold_oil_hold_the_burner_off():
    hot = Permits(call=True, oil_ready=True, limit_open=True)
    cold = Permits(call=True, oil_ready=False)
    control = _control()
    assert _run(control, [(0, READY), (1000, hot), (2000, cold), (3000, READY)]) == [
        "purge",
        "limit",
        "preheat",
        "purge",
    ]
