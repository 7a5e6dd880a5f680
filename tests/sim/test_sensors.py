"""Converters and sick sensors."""

import numpy as np
import pytest

from sootline.channels import ANALOG, FAULTS
from sootline.sim.faults import Fault
from sootline.sim.sensors import CONVERTERS, convert, fail, standing_sensor_faults
from sootline.sim.weather import DAY_MS

T_MS = np.arange(0, 2 * DAY_MS, 60_000, dtype=np.int64)
TRUE = np.full(len(T_MS), 60.03)


def test_every_analog_channel_has_a_converter():
    assert set(CONVERTERS) == set(ANALOG)


@pytest.mark.parametrize("channel", ["tank", "stack", "nozzle"])
def test_readings_are_whole_steps_near_the_truth(channel):
    read = convert(channel, TRUE, 1)
    step = CONVERTERS[channel].step
    assert np.allclose(np.round(read / step), read / step)
    assert abs(np.mean(read) - 60.03) < 3.5 * CONVERTERS[channel].error + step
    assert 0.3 * CONVERTERS[channel].noise < np.std(read) < 3.0 * (CONVERTERS[channel].noise + step)


def test_another_channel_has_other_noise_and_the_same_one_the_same():
    assert np.array_equal(convert("tank", TRUE, 1), convert("tank", TRUE, 1))
    assert not np.array_equal(convert("tank", TRUE, 1), convert("room", TRUE, 1))
    assert not np.array_equal(convert("tank", TRUE, 1), convert("tank", TRUE, 2))


@pytest.mark.parametrize(
    ("name", "kind"), [("sensor-open", "open"), ("sensor-short", "short"), ("sensor-absent", "absent")]
)
def test_a_dead_sensor_reads_nothing_and_says_so(name, kind):
    fault = Fault(name, DAY_MS, DAY_MS + 600_000, channel="tank")
    read, bad = fail("tank", T_MS, TRUE, [fault], 1)
    assert kind in FAULTS
    assert len(bad) == 10 and {b.kind for b in bad} == {kind}
    assert np.isnan(read).sum() == 10 and not np.isnan(read[T_MS < DAY_MS]).any()


def test_garbled_answers_are_some_of_the_readings():
    read, bad = fail("tank", T_MS, TRUE, [Fault("sensor-crc", 0, size=0.2, channel="tank")], 1)
    assert np.isnan(read).sum() == len(bad)
    assert len(bad) == pytest.approx(0.2 * len(T_MS), rel=0.2)


def test_frozen_drifting_and_jumping():
    moving = 60.0 + np.arange(len(T_MS)) * 0.01
    frozen, _ = fail("tank", T_MS, moving, [Fault("sensor-frozen", DAY_MS, channel="tank")], 1)
    assert set(frozen[T_MS >= DAY_MS]) == {moving[T_MS < DAY_MS][-1]}
    drift, _ = fail("tank", T_MS, TRUE, [Fault("sensor-drift", 0, size=3.0, channel="tank")], 1)
    assert drift[T_MS == DAY_MS][0] == pytest.approx(63.03, abs=0.0625)
    spikes, _ = fail("tank", T_MS, TRUE, [Fault("sensor-spikes", 0, size=80.0, channel="tank")], 1)
    assert 0 < (spikes > 100.0).sum() < 0.03 * len(T_MS)


def test_a_fault_on_another_channel_leaves_this_one():
    read, bad = fail("tank", T_MS, TRUE, [Fault("sensor-open", 0, channel="nozzle")], 1)
    assert np.array_equal(read, TRUE) and not bad


def test_what_the_chips_are_told():
    faults = [Fault("sensor-open", 10, 20, channel="stack"), Fault("sensor-frozen", 10, channel="tank")]
    assert standing_sensor_faults(faults, 15) == {"stack": "open", "tank": "frozen"}
    assert standing_sensor_faults(faults, 25) == {"tank": "frozen"}
