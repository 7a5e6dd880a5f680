"""The refill pump's suction side: lift, line and filter against cold, thick oil."""

from dataclasses import dataclass

from sootline.sim.spec import FurnaceSpec

HIGHEST_VACUUM_PA = 80e3  # a gear pump delivers nothing beyond it
LIFT_PA = 8.8e3  # about 1 m of oil
AIR_LEAK_VACUUM_PA = 1.5e3


@dataclass(frozen=True, slots=True)
class Suction:
    """Delivery falls in proportion to the vacuum at the pump; friction is laminar, in proportion to viscosity and flow.

    displacement_l_s: delivery without vacuum; friction_Pa_s_per_mm2: vacuum per viscosity and flow, filter clean
    """

    displacement_l_s: float
    friction_Pa_s_per_mm2: float

    def flow_l_s(self, viscosity_mm2_s: float, filter_resistance: float) -> float:
        """Delivery [L/s] with oil of that viscosity and a filter of that resistance (1 is clean)."""
        friction = self.friction_Pa_s_per_mm2 * viscosity_mm2_s * 0.5 * (1.0 + filter_resistance)
        free = self.displacement_l_s * (1.0 - LIFT_PA / HIGHEST_VACUUM_PA)
        return free / (1.0 + friction * self.displacement_l_s / HIGHEST_VACUUM_PA)

    def gauge_Pa(self, flow_l_s: float) -> float:
        """Suction gauge pressure [Pa] at a delivery; vacuum is negative."""
        return -HIGHEST_VACUUM_PA * (1.0 - flow_l_s / self.displacement_l_s)


def design(spec: FurnaceSpec) -> Suction:
    """The suction side that gives the stated delivery and friction with the furnace's first oil at 20 °C."""
    flow = spec.pump_l_h / 3600.0
    displacement = flow / (1.0 - (LIFT_PA + spec.suction_drop_Pa) / HIGHEST_VACUUM_PA)
    return Suction(displacement, spec.suction_drop_Pa / (spec.first_oil.viscosity_mm2_s(20.0) * flow))
