"""What changes slowly: weather, the supply tank, filter and ash, and the small wandering of air and pressure."""

import math
import random
from dataclasses import dataclass, field

from sootline.sim.exchanger import Exchanger
from sootline.sim.faults import FaultBook
from sootline.sim.oil import Oil, blend
from sootline.sim.spec import FurnaceSpec
from sootline.sim.weather import DAY_MS, HOUR_MS, Weather

TICK_MS = 60_000
SUPPLY_TAU_S = 3 * 3600.0
CLEANED_SHARE = 0.96  # of the ash that a usual cleaning takes out
USABLE_SUPPLY = 0.02  # the suction pipe ends above the water and sludge

# Wandering of excess air: wind and temperature over a day, damper and linkage within the hour; of air pressure.
_DAY_AIR, _HOUR_AIR, _PRESSURE = (0.018, 20 * 3600.0), (0.008, 1200.0), (0.004, 1800.0)


@dataclass(slots=True)
class Surroundings:
    """Slow quantities, advanced a minute at a time.

    filter_resistance: 1 is clean; fouling_K_W: ash on the gas side; air_wander, pressure_wander: relative
    """

    spec: FurnaceSpec
    weather: Weather
    exchanger: Exchanger
    rng: random.Random
    outdoor_C: float = 0.0
    supply_C: float = 10.0
    supply_oil: Oil | None = None
    filter_resistance: float = 1.0
    fouling_K_W: float = 0.0
    ash_kg: float = 0.0
    nozzle_flow: float = 1.0
    thermostat_C: float = 16.0
    supply_mm2_s: float = 400.0
    nozzle_mm2_s: float = 15.0
    _wander: dict[tuple[float, float], float] = field(default_factory=dict)

    def start(self, t_ms: int, room_C: float) -> None:
        """Settle at the first moment: the supply tank has taken up its surroundings."""
        self.supply_oil = self.spec.first_oil
        self._wander = {scale: self.rng.gauss(0.0, scale[0]) for scale in (_DAY_AIR, _HOUR_AIR, _PRESSURE)}
        self.outdoor_C = self.weather.outdoor_C(t_ms)
        self.supply_C = self._around_supply_C(room_C, 0.0)
        self.thermostat_C = self._schedule_C(t_ms)

    def tick(self, t_ms: int, room_C: float, nozzle_C: float, burned_kg: float, oil: Oil, faults: FaultBook) -> None:
        """One minute on; `burned_kg` since the last tick, `oil` in the day tank."""
        step_s = TICK_MS / 1000.0
        self.outdoor_C = self.weather.outdoor_C(t_ms)
        around_C = self._around_supply_C(room_C, faults.size("cold-oil"))
        self.supply_C += (around_C - self.supply_C) * step_s / SUPPLY_TAU_S
        self.filter_resistance += faults.size("filter-plugging") * TICK_MS / DAY_MS
        ash_kg = burned_kg * oil.ash_percent / 100.0 * (faults.size("high-ash") or 1.0)
        self.ash_kg += ash_kg
        self.fouling_K_W += ash_kg * self.exchanger.ash_K_W_per_kg
        for scale, value in self._wander.items():
            keep = math.exp(-step_s / scale[1])
            self._wander[scale] = value * keep + self.rng.gauss(0.0, scale[0]) * math.sqrt(1.0 - keep * keep)
        self.thermostat_C = self._schedule_C(t_ms)
        self.look_at_oil(nozzle_C, oil)

    def look_at_oil(self, nozzle_C: float, oil: Oil) -> None:
        """Viscosities as of now."""
        assert self.supply_oil is not None
        self.supply_mm2_s = self.supply_oil.viscosity_mm2_s(self.supply_C)
        self.nozzle_mm2_s = oil.viscosity_mm2_s(nozzle_C)

    @property
    def air_wander(self) -> float:
        return self._wander[_DAY_AIR] + self._wander[_HOUR_AIR]

    @property
    def pressure_wander(self) -> float:
        return self._wander[_PRESSURE]

    def clean(self, share: float = CLEANED_SHARE) -> None:
        self.fouling_K_W *= 1.0 - share
        self.ash_kg *= 1.0 - share

    def fill(self, present_l: float, litres: float, oil: Oil) -> float:
        """Pour `litres` of `oil` into the supply tank; the contents [L] after it."""
        assert self.supply_oil is not None
        litres = min(litres, self.spec.supply_volume_l - present_l)
        if litres > 0.0:
            self.supply_oil = blend(self.supply_oil, oil, litres / (present_l + litres))
        return present_l + litres

    def _around_supply_C(self, room_C: float, colder_K: float) -> float:
        indoor = self.spec.supply_indoor_share
        return indoor * room_C + (1.0 - indoor) * self.outdoor_C - colder_K

    def _schedule_C(self, t_ms: int) -> float:
        b = self.spec.building
        hour = t_ms % DAY_MS / HOUR_MS
        return b.day_C if b.day_from_h <= hour < b.day_to_h else b.night_C
