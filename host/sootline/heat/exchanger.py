"""The heat exchanger as effectiveness and number of transfer units, and the clean or fouled stack it gives."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sootline.errors import OutOfRange
from sootline.heat.elementwise import F, FloatArray, check_positive, check_range, exp, log, power

Arrangement = Literal["counterflow", "parallel", "crossflow"]
_NEARLY_BALANCED = 1e-9  # below this difference from Cr = 1 the general form loses its digits


def effectiveness(ntu: F, capacity_ratio: float, arrangement: Arrangement = "counterflow") -> F:
    """Effectiveness eps [-] from the number of transfer units NTU [-] and Cr = Cmin/Cmax [-].

    Counterflow (1 - e^(-N(1-Cr)))/(1 - Cr e^(-N(1-Cr))), N/(1+N) at Cr = 1; parallel (1 - e^(-N(1+Cr)))/(1+Cr);
    crossflow, both unmixed, 1 - exp(N^0.22/Cr (exp(-Cr N^0.78) - 1)), an approximation good to 0.02.
    Valid: NTU 0 to 50, Cr 0 to 1.
    Raises: OutOfRange
    Source: standard effectiveness-NTU relations (Incropera; checked against `ht.effectiveness_from_NTU`).
    """
    check_range("NTU", ntu, 0.0, 50.0, "")
    check_range("capacity ratio", capacity_ratio, 0.0, 1.0, "")
    if capacity_ratio == 0.0:
        return 1.0 - exp(-ntu)
    if arrangement == "parallel":
        return (1.0 - exp(-ntu * (1.0 + capacity_ratio))) / (1.0 + capacity_ratio)
    if arrangement == "crossflow":
        return 1.0 - exp(power(ntu, 0.22) / capacity_ratio * (exp(-capacity_ratio * power(ntu, 0.78)) - 1.0))
    if 1.0 - capacity_ratio < _NEARLY_BALANCED:
        return ntu / (1.0 + ntu)
    decay = exp(-ntu * (1.0 - capacity_ratio))
    return (1.0 - decay) / (1.0 - capacity_ratio * decay)


def ntu_counterflow(eps: F, capacity_ratio: float) -> F:
    """Number of transfer units [-] of a counterflow exchanger with effectiveness `eps` [-].

    NTU = ln((1 - eps Cr)/(1 - eps))/(1 - Cr); eps/(1 - eps) at Cr = 1.
    Valid: eps 0 to 0.999.
    Raises: OutOfRange
    Source: inverse of the counterflow relation.
    """
    check_range("effectiveness", eps, 0.0, 0.999, "")
    check_range("capacity ratio", capacity_ratio, 0.0, 1.0, "")
    if 1.0 - capacity_ratio < _NEARLY_BALANCED:
        return eps / (1.0 - eps)
    return log((1.0 - eps * capacity_ratio) / (1.0 - eps)) / (1.0 - capacity_ratio)


@dataclass(frozen=True)
class Furnace:
    """The gas side is the smaller stream. Capacity rates [W/K], area [m²], gas entering the exchanger [°C]."""

    gas_W_K: float
    air_W_K: float
    area_m2: float
    gas_in_C: float

    def __post_init__(self) -> None:
        check_positive("gas capacity rate", self.gas_W_K, "W/K")
        check_positive("exchanger area", self.area_m2, "m²")
        check_range("gas capacity rate", self.gas_W_K, 0.0, self.air_W_K, "W/K (the gas must be the smaller stream)")
        check_range("gas inlet temperature", self.gas_in_C, 300.0, 2000.0, "°C")

    @property
    def capacity_ratio(self) -> float:
        """Cr = Cmin/Cmax [-]."""
        return self.gas_W_K / self.air_W_K


def stack_from_conductance(furnace: Furnace, u_W_m2K: F, air_C: float) -> F:
    """Stack temperature [°C] of a furnace whose overall coefficient is U [W/(m² K)], air entering at `air_C` [°C].

    NTU = U A / Cmin; T_stack = T_in - eps (T_in - T_air), counterflow.
    Raises: OutOfRange
    Source: effectiveness-NTU.
    """
    eps = effectiveness(u_W_m2K * (furnace.area_m2 / furnace.gas_W_K), furnace.capacity_ratio)
    return furnace.gas_in_C - eps * (furnace.gas_in_C - air_C)


def conductance_from_stack(furnace: Furnace, stack_C: F, air_C: float) -> F:
    """Overall coefficient U [W/(m² K)] that explains a stack temperature [°C].

    eps = (T_in - T_stack)/(T_in - T_air), then U = NTU Cmin / A, counterflow.
    Valid: stack between air and gas inlet temperature.
    Raises: OutOfRange
    Source: effectiveness-NTU solved for U.
    """
    check_range("stack temperature", stack_C, air_C, furnace.gas_in_C, "°C")
    eps = (furnace.gas_in_C - stack_C) / (furnace.gas_in_C - air_C)
    return ntu_counterflow(eps, furnace.capacity_ratio) * (furnace.gas_W_K / furnace.area_m2)


def fouling_resistance(furnace: Furnace, stack_C: F, clean_stack_C: float, air_C: float) -> F:
    """Fouling resistance Rf [m² K/W] from the present and the clean stack temperature [°C] at the same firing and air.

    Rf = 1/U - 1/Uc. Slightly negative values are scatter around clean and are returned as they are.
    Valid: firing rate, excess air and air flow as at the clean measurement (normalise first).
    Raises: OutOfRange
    Source: series resistance 1/U = 1/Uc + Rf with effectiveness-NTU.
    """
    clean = conductance_from_stack(furnace, clean_stack_C, air_C)
    return 1.0 / conductance_from_stack(furnace, stack_C, air_C) - 1.0 / clean


def stack_from_fouling(furnace: Furnace, resistance_m2K_W: F, clean_stack_C: float, air_C: float) -> F:
    """Stack temperature [°C] with a fouling resistance Rf [m² K/W] on an exchanger whose clean stack is known.

    1/U = 1/Uc + Rf, then effectiveness-NTU.
    Raises: OutOfRange
    Source: series resistance with effectiveness-NTU.
    """
    check_range("fouling resistance", resistance_m2K_W, 0.0, 10.0, "m² K/W")
    clean = conductance_from_stack(furnace, clean_stack_C, air_C)
    return stack_from_conductance(furnace, 1.0 / (1.0 / clean + resistance_m2K_W), air_C)


def furnace_from_clean(
    fired_W: float, air_ratio: float, air_kg_per_kg: float, net_MJ_kg: float, clean_stack_C: float, air_W_K: float
) -> Furnace:
    """A furnace good enough for fouling resistances, from its firing rate and clean stack, with area set to 1 m².

    Gas flow = fuel (1 + lambda Lmin), fuel = fired/Qn; cp 1130 J/(kg K); gas enters the exchanger at 1200 °C after
    the chamber has radiated. With the area at 1 m² resistances are per furnace [K/W] and only their course matters.
    Raises: OutOfRange
    Source: mass balance; cp and inlet temperature are assumed, common practice.
    """
    check_positive("fired power", fired_W, "W")
    check_range("air ratio", air_ratio, 1.0, 3.0, "")
    check_range("net heating value", net_MJ_kg, 20.0, 50.0, "MJ/kg")
    check_range("clean stack temperature", clean_stack_C, 60.0, 550.0, "°C")
    gas_kg_s = fired_W / (net_MJ_kg * 1e6) * (1.0 + air_ratio * air_kg_per_kg)
    return Furnace(gas_W_K=gas_kg_s * 1130.0, air_W_K=air_W_K, area_m2=1.0, gas_in_C=1200.0)


def resistance_series(furnace: Furnace, net_stack_K: FloatArray, clean_net_K: float, air_C: float) -> FloatArray:
    """Fouling resistance [m² K/W] of each normalised net stack temperature [K above `air_C`]; NaN stays NaN.

    Raises: OutOfRange when no reading is usable
    Source: `fouling_resistance` on stack = air + net.
    """
    if not np.any(np.isfinite(net_stack_K)):
        raise OutOfRange("no usable stack reading in the series")
    return fouling_resistance(furnace, net_stack_K + air_C, clean_net_K + air_C, air_C)
