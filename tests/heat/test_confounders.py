"""Each cause that can fake ash is put in through a furnace model and must be named; ash alone must name none."""

import numpy as np
import pytest

from sootline.heat.confounders import Level, Spell, batch, blower, explain, firing_rate, stack_per_firing_rate
from sootline.heat.exchanger import Furnace, conductance_from_stack, stack_from_conductance, stack_from_fouling

GAS = Furnace(gas_W_K=35.6, air_W_K=905.0, area_m2=4.0, gas_in_C=1200.0)
U_CLEAN = conductance_from_stack(GAS, 260.0, 20.0)
FLAT = np.zeros(20)


def spell(
    furnace: Furnace, u: float, air_C: float = 20.0, rate: float = 4.2, lag: float = 30.0, cold: float = 0.3
) -> Spell:
    """What the sensors show of a furnace in steady state: heat to the air warms it."""
    stack = stack_from_conductance(furnace, u, air_C)
    air_rise = furnace.gas_W_K * (furnace.gas_in_C - stack) / furnace.air_W_K
    return Spell(
        stack_C=Level(stack, 1.0),
        air_rise_K=Level(air_rise, 0.4),
        rate_l_h=Level(rate, 0.03),
        return_C=Level(air_C, 0.3),
        lag_s=Level(lag, 1.0),
        cold_offset_K=Level(cold, 0.2),
    )


CLEAN = spell(GAS, U_CLEAN)


def likely(after: Spell, rise_K: np.ndarray = FLAT, change: int | None = None) -> list[str]:
    return [f.cause for f in explain(CLEAN, after, rise_K, change, 3.0) if f.result == "likely"]


def test_ash_alone_accuses_nobody() -> None:
    fouled_u = 1.0 / (1.0 / U_CLEAN + 0.008)
    after = spell(GAS, fouled_u)
    assert after.stack_C.mean > CLEAN.stack_C.mean + 30
    assert likely(after) == []


def test_slow_blower_is_named() -> None:
    slow = Furnace(GAS.gas_W_K, GAS.air_W_K * 0.7, GAS.area_m2, GAS.gas_in_C)
    assert likely(spell(slow, U_CLEAN * 0.9)) == ["blower"]


def test_higher_firing_rate_is_named_and_is_not_the_blower() -> None:
    """15 % more oil: hotter stack and warmer air; the blower is not to blame."""
    more = Furnace(GAS.gas_W_K * 1.15, GAS.air_W_K, GAS.area_m2, GAS.gas_in_C)
    after = spell(more, U_CLEAN * 1.15**0.6, rate=4.2 * 1.15)
    assert likely(after) == ["firing rate"]


def test_warmer_return_air_is_named() -> None:
    assert likely(spell(GAS, U_CLEAN, air_C=34.0)) == ["return air"]


@pytest.mark.parametrize(("lag", "cold"), [(45.0, 0.3), (30.0, 4.0)])
def test_moved_probe_is_named(lag: float, cold: float) -> None:
    assert likely(spell(GAS, U_CLEAN, lag=lag, cold=cold)) == ["probe"]


def test_step_at_a_new_batch_is_named() -> None:
    rng = np.random.default_rng(1)
    rise = 2.0 * rng.standard_normal(20) + np.repeat([0.0, 25.0], 10)
    assert likely(CLEAN, rise, 10) == ["batch"]
    assert batch(rise, 10, 3.0).explains_K == pytest.approx(25.0, abs=3)
    assert likely(CLEAN, rise - np.repeat([0.0, 25.0], 10), 10) == []


def test_missing_channels_are_named_not_guessed() -> None:
    bare = Spell(stack_C=Level(260.0, 1.0))
    findings = explain(bare, Spell(stack_C=Level(300.0, 1.0)), FLAT, 2, 3.0)
    assert {f.cause for f in findings if f.result == "not tested"} == {
        "blower",
        "probe",
        "firing rate",
        "return air",
        "batch",
    }
    assert "supply and return" in blower(bare, bare).evidence


def test_likely_causes_come_first() -> None:
    after = spell(GAS, U_CLEAN, air_C=34.0, lag=45.0)
    results = [f.result for f in explain(CLEAN, after, FLAT, None, 3.0)]
    assert results[:2] == ["likely", "likely"] and "likely" not in results[2:]


def test_firing_rate_sensitivity_from_the_exchanger() -> None:
    """Numeric derivative against a direct 10 % change of the same furnace."""
    per_percent = stack_per_firing_rate(GAS, U_CLEAN, 20.0)
    more = Furnace(GAS.gas_W_K * 1.1, GAS.air_W_K, GAS.area_m2, GAS.gas_in_C)
    direct = stack_from_conductance(more, U_CLEAN * 1.1**0.6, 20.0) - 260.0
    assert per_percent * 10 == pytest.approx(direct, rel=0.1)
    found = firing_rate(CLEAN, spell(GAS, U_CLEAN, rate=4.62), per_percent)
    assert found.explains_K == pytest.approx(direct, rel=0.1)


def test_fouled_stack_of_the_model_is_the_exchangers() -> None:
    assert stack_from_fouling(GAS, 0.008, 260.0, 20.0) == pytest.approx(
        stack_from_conductance(GAS, 1.0 / (1.0 / U_CLEAN + 0.008), 20.0)
    )
