"""Heat that leaves by the flue, the efficiency left, and what a kelvin of stack temperature costs.

The Siegert coefficients are those of light heating oil; no set for used or vegetable oil is published, so
for those the result is an estimate. The oxygen form is preferred for mixed fuels: the carbon dioxide form
shifts with the fuel.
"""

from dataclasses import dataclass

from sootline.errors import OutOfRange
from sootline.heat.elementwise import F, check_range

A1_CO2, A2_O2, B = 0.50, 0.68, 0.007  # heating oil EL
ASSUMED_O2_PERCENT = 7.0  # between the 5 and 9 % usual on converted burners; common practice
_LOWEST_STACK_C, _HIGHEST_STACK_C = 60.0, 550.0


def _check(stack_C: F, air_C: float) -> None:
    check_range("stack temperature", stack_C, _LOWEST_STACK_C, _HIGHEST_STACK_C, "°C")
    check_range("combustion air temperature", air_C, -40.0, 60.0, "°C")


def flue_loss_o2(stack_C: F, air_C: float, o2_percent: float) -> F:
    """Flue loss by Siegert's formula, oxygen form [% of net heating value].

    qA = (tA - tL)(A2/(21 - O2) + B), A2 0.68, B 0.007; tA flue gas [°C], tL combustion air [°C], O2 dry [%].
    Valid: stack 60 to 550 °C with no condensation, O2 0 to 15 %. Against an enthalpy balance within 0.25
    points up to 300 °C and lambda 1.5, within 0.8 up to 400 °C and lambda 2.2, low at the hot end.
    Raises: OutOfRange
    Source: Siegert formula as used with the German 1. BImSchV and EN 50379, heating oil EL coefficients.
    """
    _check(stack_C, air_C)
    check_range("flue oxygen", o2_percent, 0.0, 15.0, "%")
    return (stack_C - air_C) * (A2_O2 / (21.0 - o2_percent) + B)


def flue_loss_co2(stack_C: F, air_C: float, co2_percent: float) -> F:
    """Flue loss by Siegert's formula, carbon dioxide form [% of net heating value].

    qA = (tA - tL)(A1/CO2 + B), A1 0.50, B 0.007; tA flue gas [°C], tL combustion air [°C], CO2 dry [%].
    Valid: stack 60 to 550 °C with no condensation, CO2 4 to 16 %; biased for vegetable oils (use the oxygen
    form).
    Raises: OutOfRange
    Source: Siegert formula as used with the German 1. BImSchV and EN 50379, heating oil EL coefficients.
    """
    _check(stack_C, air_C)
    check_range("flue carbon dioxide", co2_percent, 4.0, 16.0, "%")
    return (stack_C - air_C) * (A1_CO2 / co2_percent + B)


def loss_slope_o2(o2_percent: float) -> float:
    """Efficiency lost per kelvin of stack temperature [%/K of net heating value].

    d qA / d tA = A2/(21 - O2) + B.
    Valid: O2 0 to 15 %, other things (air, firing rate) unchanged.
    Raises: OutOfRange
    Source: derivative of the Siegert oxygen form; the rule "40 °F is 1 %" is this at O2 3 %.
    """
    check_range("flue oxygen", o2_percent, 0.0, 15.0, "%")
    return A2_O2 / (21.0 - o2_percent) + B


def extra_oil_fraction(rise_K: F, efficiency: float, o2_percent: float = ASSUMED_O2_PERCENT) -> F:
    """Extra oil burned for the same heat [-] when the stack runs `rise_K` [K] above clean.

    fraction = rise s / eta, s the loss slope as a fraction per kelvin, eta the efficiency [-].
    Valid: rise -100 to 300 K, eta 0.4 to 1; first order in the rise.
    Raises: OutOfRange
    Source: derivative of the Siegert oxygen form over the efficiency.
    """
    check_range("stack rise", rise_K, -100.0, 300.0, "K")
    check_range("efficiency", efficiency, 0.4, 1.0, "")
    return rise_K * (loss_slope_o2(o2_percent) / 100.0 / efficiency)


@dataclass(frozen=True)
class FlueReading:
    """A technician's reading: stack and air [°C], O2 or CO2 [% dry], and whether the fuel is light heating oil."""

    stack_C: float
    air_C: float
    o2_percent: float | None = None
    co2_percent: float | None = None
    heating_oil: bool = False


@dataclass(frozen=True)
class Efficiency:
    """Flue loss and efficiency [% of net heating value], the form used, and what makes it an estimate, if anything."""

    loss_percent: float
    efficiency_percent: float
    slope_percent_per_K: float
    form: str
    estimate_because: tuple[str, ...]


def efficiency(reading: FlueReading) -> Efficiency:
    """Combustion efficiency [%] and its slope [%/K] from a flue reading, oxygen form first.

    eta = 100 - qA. Casing loss, soot and CO are not in it. Without O2 and CO2 an oxygen of 7 % is assumed
    and said.
    Raises: OutOfRange
    Source: Siegert formula (see `flue_loss_o2`, `flue_loss_co2`); assumed 7 % O2 is common practice.
    """
    because = [] if reading.heating_oil else ["coefficients of light heating oil used for another oil"]
    if reading.o2_percent is None and reading.co2_percent is None:
        because.append(f"no flue reading: O2 {ASSUMED_O2_PERCENT:g} % assumed")
    if reading.o2_percent is None and reading.co2_percent is not None:
        loss = flue_loss_co2(reading.stack_C, reading.air_C, reading.co2_percent)
        slope, form = A1_CO2 / reading.co2_percent + B, "CO2"
    else:
        o2 = ASSUMED_O2_PERCENT if reading.o2_percent is None else reading.o2_percent
        loss, slope, form = flue_loss_o2(reading.stack_C, reading.air_C, o2), loss_slope_o2(o2), "O2"
    if loss >= 100.0:
        raise OutOfRange(f"a flue loss of {loss:.0f} % is impossible; check the readings")
    return Efficiency(loss, 100.0 - loss, slope, form, tuple(because))
