"""Exact factors between SI and the units furnace people use, temperatures and API gravity.

Source: NIST Special Publication 811 (2008), appendix B; all follow from the inch (0.0254 m), the pound (0.45359237 kg),
standard gravity (9.80665 m/s²), the US gallon (231 in³) and the IT Btu (2326 J per kg for 1 Btu per lb).
"""

from sootline.heat.elementwise import F, check_range

ABSOLUTE_ZERO_C = -273.15
POUND_KG = 0.45359237
GALLON_L = 231 * 0.0254**3 * 1000
BTU_J = 2326.0 * POUND_KG
PSI_PA = POUND_KG * 9.80665 / 0.0254**2
INCH_WATER_PA = 1000.0 * 9.80665 * 0.0254  # conventional inch of water
W_PER_BTU_PER_H = BTU_J / 3600.0
KJ_PER_KG_PER_BTU_PER_LB = 2.326
MJ_PER_L_PER_BTU_PER_GAL = BTU_J / GALLON_L / 1e6
L_PER_S_PER_GAL_PER_H = GALLON_L / 3600.0
WATER_60F_KG_PER_M3 = 999.016


def kelvin(temperature_C: F) -> F:
    """Thermodynamic temperature [K] of `temperature_C` [°C]; not below absolute zero.

    Source: NIST SP 811, T/K = t/°C + 273.15.
    """
    check_range("temperature", temperature_C, ABSOLUTE_ZERO_C, 1e6, "°C")
    return temperature_C - ABSOLUTE_ZERO_C


def celsius(temperature_K: F) -> F:
    """Celsius temperature [°C] of `temperature_K` [K]; not below 0 K.

    Source: NIST SP 811, t/°C = T/K - 273.15.
    """
    check_range("temperature", temperature_K, 0.0, 1e6, "K")
    return temperature_K + ABSOLUTE_ZERO_C


def fahrenheit(temperature_C: F) -> F:
    """Fahrenheit temperature [°F] of `temperature_C` [°C].

    Source: NIST SP 811, t/°F = 1.8 t/°C + 32.
    """
    return 1.8 * temperature_C + 32.0


def celsius_from_fahrenheit(temperature_F: F) -> F:
    """Celsius temperature [°C] of `temperature_F` [°F].

    Source: NIST SP 811, t/°C = (t/°F - 32) / 1.8.
    """
    return (temperature_F - 32.0) / 1.8


def api_gravity(specific_gravity: float) -> float:
    """API gravity [°API] from specific gravity 60/60 °F [-].

    API = 141.5 / SG - 131.5. Valid: SG 0.6 to 1.1.
    Source: API MPMS chapter 11.1 / ASTM D1250.
    """
    check_range("specific gravity", specific_gravity, 0.6, 1.1, "")
    return 141.5 / specific_gravity - 131.5


def specific_gravity(api: float) -> float:
    """Specific gravity 60/60 °F [-] from API gravity [°API].

    SG = 141.5 / (API + 131.5). Valid: API 0 to 100.
    Source: API MPMS chapter 11.1 / ASTM D1250.
    """
    check_range("API gravity", api, 0.0, 100.0, "°API")
    return 141.5 / (api + 131.5)
