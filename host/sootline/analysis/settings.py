"""Every threshold of the analysis, in one table: value, unit, and why it is that value.

`sootline whatif --set NAME=VALUE` re-runs stored history with another value.
"""

from dataclasses import Field, dataclass, field, fields
from typing import Any


def _setting(value: float, unit: str, reason: str) -> Any:
    return field(default=value, metadata={"unit": unit, "reason": reason})


@dataclass(frozen=True, slots=True)
class Settings:
    # the fire, seen by the stack
    stack_rise_window_s: float = _setting(60.0, "s", "longer than the lag of a 3 mm sheathed probe (20-35 s)")
    stack_rise_K: float = _setting(12.0, "K", "per window; a lit flame heats the flue by tens of kelvin a minute")
    stack_fall_window_s: float = _setting(45.0, "s", "short, so that a flame loss is seen before the retry")
    stack_fall_K: float = _setting(12.0, "K", "per window; gusts and doors move a steady stack by less")
    flame_proof_K: float = _setting(8.0, "K", "stack rise that proves a flame (common practice)")
    proved_s: float = _setting(300.0, "s", "a firing counts as proved after this (contract)")

    # refills
    limit_s: float = _setting(20.0, "s", "limiter run time when neither given nor learned (common practice)")
    overrun_margin_s: float = _setting(2.0, "s", "past the limit before the limiter has surely failed")
    overrun_margin_ratio: float = _setting(0.10, "1", "the same, as a share of the limit; the larger counts")
    overrun_float_s: float = _setting(2.0, "s", "the pump may run on this long after the float stops calling")
    limit_tolerance_s: float = _setting(0.5, "s", "a run this near the limit was ended by the limiter")
    usual_run_ratio: float = _setting(0.8, "1", "a usual run below this share of the limit is well short of it")
    chatter_run_s: float = _setting(2.0, "s", "a shorter run is float chatter, not a refill")
    dip_wait_s: float = _setting(150.0, "s", "the cold oil has mixed and the probe followed by then")
    dip_small_ratio: float = _setting(0.35, "1", "a dip below this share of the usual one: no oil came")
    dip_noise_K: float = _setting(0.3, "K", "dips below this cannot be told from probe noise")

    # preheat
    climb_window_s: float = _setting(120.0, "s", "two minutes of heating stand clear of probe noise")
    climb_K: float = _setting(0.8, "K", "per window; a quarter of what a working heater gives (2-8 K/min)")
    preheat_slow_ratio: float = _setting(1.5, "1", "times the predicted duration (contract)")
    preheat_slow_margin_s: float = _setting(120.0, "s", "added, for short climbs are measured coarsely")
    stalled_window_s: float = _setting(300.0, "s", "contract")
    stalled_K_per_min: float = _setting(0.1, "K/min", "contract")
    stalled_under_K: float = _setting(3.0, "K", "contract: this far under the set point")

    # limits when the profile has none
    tank_limit_C: float = _setting(95.0, "Cel", "day tank, common practice: under the flash point and the boil")
    nozzle_limit_C: float = _setting(130.0, "Cel", "nozzle block, common practice: coking starts at 120-150")
    stack_limit_C: float = _setting(370.0, "Cel", "common practice alarm, 650-750 degF; type L vents lower")
    over_limit_s: float = _setting(10.0, "s", "contract: above the limit for this long")
    limit_hysteresis_K: float = _setting(3.0, "K", "back below the limit by this to count as gone")

    # the watcher
    offline_s: float = _setting(600.0, "s", "contract: no word for this long, or 5 intervals")
    offline_high_s: float = _setting(7200.0, "s", "contract: medium turns high")
    repeat_s: float = _setting(1800.0, "s", "contract: one raise per alarm, channel and furnace in 30 min")
    prove_s: float = _setting(600.0, "s", "a suppressed alarm whose cause has gone must stand this long to sound")

    # statistics
    learning_factor: float = _setting(2.0, "1", "contract: limits are this much wider while learning")


def table() -> list[Field[Any]]:
    """The settings as dataclass fields: name, default, metadata `unit` and `reason`."""
    return list(fields(Settings))
