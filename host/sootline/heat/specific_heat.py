"""Heat it takes to warm oil."""

from sootline.heat.elementwise import F, check_range, sqrt


def specific_heat(temperature_C: F, specific_gravity: float) -> F:
    """Specific heat of petroleum oil [J/(kg K)] at `temperature_C` [°C].

    c = (0.388 + 0.00045 t_F) / sqrt(d) Btu/(lb °F), d the specific gravity 60/60 °F [-], 1 Btu/(lb °F) =
    4186.8 J/(kg K).
    Valid: -20 to 200 °C (measured from 0 °C up), d 0.75 to 1.0; within 2-4 % (from memory). Vegetable oils,
    about 1900-2200 J/(kg K) between 35 and 180 °C, differ by up to 5 %.
    Raises: OutOfRange
    Source: Cragoe, NBS Miscellaneous Publication 97 (1929).
    """
    check_range("oil temperature", temperature_C, -20.0, 200.0, "°C")
    check_range("specific gravity", specific_gravity, 0.75, 1.0, "")
    return (0.388 + 0.00045 * (1.8 * temperature_C + 32.0)) / sqrt(specific_gravity) * 4186.8
