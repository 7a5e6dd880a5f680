"""The refill pump: seconds per refill against flow, viscosity, filter and cold."""

import pytest

from sootline.sim.suction import HIGHEST_VACUUM_PA, LIFT_PA, design
from sootline.sim.workshop import ENGINE_SHED, GEAR_BLEND

SUCTION = design(ENGINE_SHED)


def _seconds(oil_C, filter_resistance=1.0):
    return ENGINE_SHED.differential_l / SUCTION.flow_l_s(GEAR_BLEND.viscosity_mm2_s(oil_C), filter_resistance)


def test_a_refill_takes_what_its_plate_says_at_20C():
    # 40 US gal/h into 0.45 L: 10.7 s.
    assert _seconds(20.0) == pytest.approx(10.7, abs=0.05)


def test_cold_thick_oil_is_slower():
    # The blend is 473 mm²/s at 20 °C and 1630 at 5 °C; common practice for it: 13 to 14 s at 5 °C.
    assert GEAR_BLEND.viscosity_mm2_s(20.0) == pytest.approx(473.0, rel=0.01)
    assert GEAR_BLEND.viscosity_mm2_s(5.0) == pytest.approx(1630.0, rel=0.01)
    assert 13.0 < _seconds(5.0) < 14.0


def test_a_plugging_filter_is_slower_still_and_pulls_more_vacuum():
    clean = SUCTION.flow_l_s(473.0, 1.0)
    plugged = SUCTION.flow_l_s(473.0, 8.0)
    assert plugged < 0.8 * clean
    assert -HIGHEST_VACUUM_PA < SUCTION.gauge_Pa(plugged) < SUCTION.gauge_Pa(clean) < -LIFT_PA


def test_no_flow_is_full_vacuum():
    assert SUCTION.gauge_Pa(0.0) == -HIGHEST_VACUUM_PA
