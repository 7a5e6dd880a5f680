"""What one furnace is made of: the numbers its owner would read off plates, buckets and gauges."""

from dataclasses import dataclass
from typing import Literal

from sootline.channels import CHANNELS
from sootline.sim.oil import Oil


@dataclass(frozen=True, slots=True)
class Heater:
    """An oil heater: element, control and independent cut-out.

    power_W; setpoint_C: middle of the control band; band_K: width of that band (a thermostat's is wide, a solid-state
    relay's narrow); cutout_C: where the hand-reset cut-out opens; loss_W_K: loss to the room;
    half_share: power left [-] when one of two elements has failed
    """

    power_W: float
    setpoint_C: float
    band_K: float
    cutout_C: float
    loss_W_K: float
    half_share: float = 0.5


@dataclass(frozen=True, slots=True)
class Building:
    """The heated space: air and contents, the fabric behind them, and the thermostat's day.

    loss_W_K to outdoors; air_J_K, fabric_J_K heat capacities; coupling_W_K between the two;
    day_C from day_from_h to day_to_h (UTC), night_C otherwise; differential_K of the thermostat
    """

    loss_W_K: float = 750.0
    air_J_K: float = 6.0e6
    fabric_J_K: float = 60.0e6
    coupling_W_K: float = 4000.0
    day_C: float = 16.0
    night_C: float = 10.0
    day_from_h: float = 6.0
    day_to_h: float = 18.0
    differential_K: float = 2.0


@dataclass(frozen=True, slots=True)
class FurnaceSpec:
    """One furnace.

    firing_l_h: oil through the nozzle, litres an hour measured warm in the day tank; rated_W: rated input
    air_ratio: excess-air ratio at the shutter setting; air_pressure_Pa: atomising air, gauge
    clean_net_stack_K: steady net stack temperature of the clean furnace; fouling_K_per_100h: its rise per 100 burning
    hours on `first_oil`; stack_limit_C, tank_limit_C, nozzle_limit_C: what the owner never wants exceeded
    heating: do the oil heaters run always ("keep-warm") or only during a call ("on-call")
    tank_volume_l: day tank contents with the float up; differential_l: between the float's two levels
    low_level_l: contents at which the low-level switch stops heater and burner; high_level_l, overflow_l: contents at
    which the high-level switch makes and the tank runs over
    pump_l_h: refill pump with `first_oil` at 20 °C; suction_drop_Pa: friction in the suction side then, half of it the
    clean filter; limit_s: run time of the refill limiter
    supply_volume_l, supply_start_l: supply tank when full and at the start; supply_indoor_share [-]: how far its
    surroundings follow the room rather than the weather
    purge_s, trial_s, recycle_s: burner motor before oil, trial for ignition, wait after a lost flame; recycles: how
    often it tries again in one call; light_s: usual time from oil to flame
    channels: what the board is wired to
    """

    id: str
    rated_W: float
    firing_l_h: float
    tank: Heater
    nozzle: Heater
    channels: tuple[str, ...]
    first_oil: Oil
    heating: Literal["on-call", "keep-warm"] = "keep-warm"
    air_ratio: float = 1.5
    air_pressure_Pa: float = 97e3
    clean_net_stack_K: float = 262.0
    fouling_K_per_100h: float = 14.0
    stack_limit_C: float = 380.0
    tank_limit_C: float = 95.0
    nozzle_limit_C: float = 130.0
    tank_volume_l: float = 8.0
    differential_l: float = 0.45
    low_level_l: float = 4.6
    high_level_l: float = 8.4
    overflow_l: float = 8.8
    pump_l_h: float = 151.4
    suction_drop_Pa: float = 7.6e3
    limit_s: float = 20.0
    supply_volume_l: float = 900.0
    supply_start_l: float = 600.0
    supply_indoor_share: float = 0.65
    purge_s: float = 5.0
    trial_s: float = 15.0
    recycle_s: float = 60.0
    recycles: int = 3
    light_s: float = 2.2
    stack_probe_s: float = 15.0
    block_J_K: float = 1400.0
    mains_V: float = 120.0
    building: Building = Building()

    def __post_init__(self) -> None:
        unknown = [name for name in self.channels if name not in CHANNELS]
        if unknown:
            raise ValueError(f"no such channel: {', '.join(unknown)}")
        if not self.low_level_l < self.tank_volume_l - self.differential_l < self.high_level_l <= self.overflow_l:
            raise ValueError("day tank levels must rise: low level, float down, float up, high level, overflow")
