"""Density of oil against temperature, and what a counted litre is worth at 15 °C."""

from typing import Literal

from sootline.heat.elementwise import F, check_range, exp

Kind = Literal["lubricant", "fuel-oil"]

# K0 [kg²/(m⁶ K)] and K1 [kg/(m³ K)] for density at 15 °C, and the density range of the row [kg/m³].
_ROWS: dict[Kind, tuple[float, float, float, float]] = {
    "lubricant": (0.0, 0.6278, 800.0, 1164.0),
    "fuel-oil": (186.9696, 0.4862, 839.0, 1075.0),
}


def expansion_coefficient(density15_kg_m3: float, kind: Kind = "lubricant") -> float:
    """Thermal expansion coefficient at 15 °C [1/K].

    alpha = K0/rho^2 + K1/rho, rho the density at 15 °C [kg/m³].
    Valid: lubricants 800-1164 kg/m³ (from memory), fuel oils 839-1075 kg/m³. Vegetable oils expand about as
    lubricants.
    Raises: OutOfRange
    Source: API MPMS chapter 11.1 / ASTM D1250 metric constants.
    """
    k0, k1, low, high = _ROWS[kind]
    check_range("density at 15 °C", density15_kg_m3, low, high, "kg/m³")
    return k0 / density15_kg_m3**2 + k1 / density15_kg_m3


def volume_correction_factor(temperature_C: F, density15_kg_m3: float, kind: Kind = "lubricant") -> F:
    """Volume correction factor VCF [-]: litres at 15 °C per litre at `temperature_C` [°C].

    VCF = exp(-alpha dT (1 + 0.8 alpha dT)), dT = t - 15.
    Valid: -50 to 150 °C.
    Raises: OutOfRange
    Source: API MPMS chapter 11.1 / ASTM D1250 (the 2004 edition's temperature-scale shift, below 1e-5, is
    left out).
    """
    check_range("oil temperature", temperature_C, -50.0, 150.0, "°C")
    alpha = expansion_coefficient(density15_kg_m3, kind)
    step = alpha * (temperature_C - 15.0)
    return exp(-step * (1.0 + 0.8 * step))


def density(temperature_C: F, density15_kg_m3: float, kind: Kind = "lubricant") -> F:
    """Density [kg/m³] at `temperature_C` [°C].

    rho(t) = rho15 VCF(t).
    Raises: OutOfRange
    Source: API MPMS chapter 11.1 / ASTM D1250.
    """
    return density15_kg_m3 * volume_correction_factor(temperature_C, density15_kg_m3, kind)


def litres_at_15C(volume_l: F, temperature_C: F, density15_kg_m3: float, kind: Kind = "lubricant") -> F:
    """Standard volume [L at 15 °C] of `volume_l` [L] measured at `temperature_C` [°C].

    V15 = V VCF(t).
    Raises: OutOfRange
    Source: API MPMS chapter 11.1 / ASTM D1250.
    """
    return volume_l * volume_correction_factor(temperature_C, density15_kg_m3, kind)
