"""The heated space: air and structure, doors, the thermostat on its wall."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass
class Building:
    """One space: loss [W/K], air and quick contents, structure [J/K], coupling [W/K], gains [W], stratification [K]."""

    loss_W_K: float
    air_J_K: float
    mass_J_K: float
    coupling_W_K: float
    gain_W: float
    wind_share: float
    strata_K: float
    sensor_tau_s: float


class Room:
    """State of a space [degC]: air, structure, thermostat element, return air."""

    __slots__ = ("air", "building", "element", "mass", "strata")

    def __init__(self, building: Building, start_C: float) -> None:
        self.building = building
        self.air = start_C
        self.element = start_C
        self.mass = start_C - 2.0
        self.strata = building.strata_K

    def step(
        self,
        dt: float,
        heat_W: float,
        outdoor_C: float,
        wind: float,
        door: float,
        day: bool,
        blower: bool,
        other_W: float = 0.0,
    ) -> None:
        """Advance ``dt`` [s]; ``door`` multiplies the loss (1 = shut), ``day`` says whether people and sun add heat."""
        b = self.building
        loss = b.loss_W_K * door * (1.0 + b.wind_share * wind)
        gain = (b.gain_W if day else 0.15 * b.gain_W) + other_W
        to_mass = b.coupling_W_K * (self.air - self.mass)
        self.air += dt * (heat_W + gain - loss * (self.air - outdoor_C) - to_mass) / b.air_J_K
        self.mass += dt * to_mass / b.mass_J_K
        self.element += (1.0 - math.exp(-dt / b.sensor_tau_s)) * (self.air - self.element)
        layer = 0.3 * b.strata_K if blower else b.strata_K
        self.strata += (1.0 - math.exp(-dt / 900.0)) * (layer - self.strata)

    @property
    def return_C(self) -> float:
        """Air at the furnace inlet, which hangs a little above the working height [degC]."""
        return self.air + self.strata


@dataclass
class Schedule:
    """Set point by day and in setback [degC], hours of the day it is occupied, whether weekends are set back."""

    day_C: float
    night_C: float
    from_h: float
    to_h: float
    weekends: bool
    heated_days: tuple[int, ...] | None = None

    def at(self, hour: float, weekday: int) -> float:
        """Set point [degC] at an hour of a weekday (Monday is 0)."""
        if self.heated_days is not None and weekday not in self.heated_days:
            return self.night_C
        if self.heated_days is None and weekday >= 5 and not self.weekends:
            return self.night_C
        return self.day_C if self.from_h <= hour < self.to_h else self.night_C
