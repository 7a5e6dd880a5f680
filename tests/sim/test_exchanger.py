"""The heat exchanger against effectiveness-NTU, Siegert's flue loss and the owner's figures it is sized by."""

import pytest

from sootline.heat.combustion import stoichiometry
from sootline.heat.composition import USED_LUBRICANT
from sootline.heat.exchanger import effectiveness
from sootline.heat.flue_loss import flue_loss_o2
from sootline.sim.exchanger import DESIGN_AIR_C, GAS_J_KGK, design, fouling_for_rise
from sootline.sim.workshop import CARRIAGE_SHOP, ENGINE_SHED

BOTH = pytest.mark.parametrize("spec", [ENGINE_SHED, CARRIAGE_SHOP], ids=lambda s: s.id)


@BOTH
def test_the_clean_furnace_has_the_stack_its_owner_measured(spec):
    net_K = design(spec).steady_stack_C(0.0) - DESIGN_AIR_C
    assert net_K == pytest.approx(spec.clean_net_stack_K, abs=1e-6)


@BOTH
def test_a_hundred_hours_of_its_oil_raise_the_stack_as_experience_says(spec):
    exchanger = design(spec)
    ash_kg = exchanger.fuel_kg_s * 3600 * 100 * spec.first_oil.ash_percent / 100
    rise_K = exchanger.steady_stack_C(ash_kg * exchanger.ash_K_W_per_kg) - exchanger.steady_stack_C(0.0)
    assert rise_K == pytest.approx(spec.fouling_K_per_100h, abs=1e-6)


def test_the_stack_rises_nearly_in_proportion_to_ash_at_first():
    # Common finding with effectiveness-NTU: nearly linear over the first tens of kelvins.
    exchanger = design(ENGINE_SHED)
    small = fouling_for_rise(exchanger, 20.0)
    rise_K = exchanger.steady_stack_C(2 * small) - exchanger.steady_stack_C(0.0)
    assert 37.0 < rise_K < 43.0


@BOTH
def test_gas_side_is_effectiveness_ntu_with_a_wall_of_one_temperature(spec):
    exchanger = design(spec)
    ntu = exchanger.gas_side_W_K / exchanger.gas_W_K
    assert 1.0 - exchanger.gas_decay(exchanger.gas_W_K, 0.0) == pytest.approx(effectiveness(ntu, 0.0))
    conductance, capacity = exchanger.air_conductance(1.0)
    assert conductance / capacity == pytest.approx(effectiveness(exchanger.air_side_W_K / capacity, 0.0))


@BOTH
@pytest.mark.parametrize("rise_K", [0.0, 40.0])
def test_flue_loss_follows_siegert(spec, rise_K):
    # Siegert, oxygen form, heating oil EL coefficients: within 0.8 points of an enthalpy balance up to 400 °C.
    exchanger = design(spec)
    stack_C = exchanger.steady_stack_C(fouling_for_rise(exchanger, rise_K)) if rise_K else exchanger.steady_stack_C(0.0)
    loss = exchanger.gas_W_K * (stack_C - DESIGN_AIR_C) / (exchanger.fuel_kg_s * exchanger.net_J_kg) * 100
    excess = spec.air_ratio - 1.0
    dry = stoichiometry(USED_LUBRICANT).dry_flue_per_air
    o2_percent = 20.95 * excess / (dry + excess)
    assert loss == pytest.approx(flue_loss_o2(stack_C, DESIGN_AIR_C, o2_percent), abs=0.8)


def test_slower_air_makes_a_hotter_stack_and_more_gas_a_shorter_stay():
    exchanger = design(ENGINE_SHED)
    assert exchanger.air_conductance(0.7)[0] < exchanger.air_conductance(1.0)[0]
    assert exchanger.gas_decay(1.2 * exchanger.gas_W_K, 0.0) > exchanger.gas_decay(exchanger.gas_W_K, 0.0)
    assert GAS_J_KGK * exchanger.fuel_kg_s < exchanger.gas_W_K


def test_a_stack_no_exchanger_can_give_is_refused():
    from dataclasses import replace

    with pytest.raises(ValueError, match="cannot be"):
        design(replace(ENGINE_SHED, clean_net_stack_K=100.0))
