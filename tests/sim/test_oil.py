"""The model's quick forms of the oil laws against `sootline.heat`, and mixing against ASTM D7152."""

import numpy as np
import pytest

from sootline.heat.blend import blend_d7152
from sootline.heat.density import density
from sootline.heat.grades import GRADES
from sootline.heat.specific_heat import specific_heat
from sootline.sim.oil import WATER_15C_KG_M3, blend, oil

TEMPERATURES_C = [-15.0, 0.0, 8.0, 20.0, 40.0, 60.0, 95.0, 120.0]


@pytest.mark.parametrize("kind", sorted(GRADES))
def test_viscosity_is_the_grades_line(kind):
    line = GRADES[kind].viscosity()
    for t_C in TEMPERATURES_C:
        assert oil(kind).viscosity_mm2_s(t_C) == pytest.approx(line.at(t_C), rel=1e-3)


@pytest.mark.parametrize("kind", ["vg-68", "engine-15w-40", "rapeseed"])
def test_density_and_specific_heat_are_those_of_heat(kind):
    grade = GRADES[kind]
    for t_C in TEMPERATURES_C:
        assert 1000 * oil(kind).density_kg_l(t_C) == pytest.approx(density(t_C, grade.density15_kg_m3), rel=1e-12)
        wanted = specific_heat(t_C, grade.density15_kg_m3 / WATER_15C_KG_M3)
        assert oil(kind).specific_heat_J_kgK(t_C) == pytest.approx(wanted, rel=1e-12)


def test_enthalpy_is_the_integral_of_the_specific_heat():
    gear = oil("vg-220")
    t_C = np.linspace(10.0, 80.0, 7001)
    area = np.trapezoid([gear.specific_heat_J_kgK(t) for t in t_C], t_C)
    assert gear.enthalpy_J_kg(80.0) - gear.enthalpy_J_kg(10.0) == pytest.approx(area, rel=1e-9)
    assert gear.temperature_C(gear.enthalpy_J_kg(63.0)) == pytest.approx(63.0, abs=1e-9)


def test_a_blend_is_that_of_d7152_at_every_temperature():
    gear, hydraulic = oil("vg-220"), oil("vg-68")
    mixed = blend(gear, hydraulic, 0.4)
    for t_C in (0.0, 20.0, 40.0, 70.0, 100.0):
        parts = [gear.viscosity_mm2_s(t_C), hydraulic.viscosity_mm2_s(t_C)]
        assert mixed.viscosity_mm2_s(t_C) == pytest.approx(blend_d7152(parts, [0.6, 0.4]), rel=2e-3)


def test_blending_nothing_in_changes_nothing_and_all_in_replaces():
    gear, diesel = oil("vg-220"), oil("diesel")
    assert blend(gear, diesel, 0.0) == gear
    assert blend(gear, diesel, 1.0) == diesel


def test_oil_too_cold_for_the_line_keeps_its_last_viscosity():
    assert oil("vg-68").viscosity_mm2_s(-40.0) == oil("vg-68").viscosity_mm2_s(-20.0)
