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

    slowing_ratio: float = _setting(0.30, "1", "contract: seconds per refill up by more than this")
    slowing_sd: float = _setting(4.0, "1", "contract: and by more than this many residual sd")
    slowing_refills: float = _setting(20.0, "1", "contract: judged over this many refills")
    slowing_soon_days: float = _setting(7.0, "d", "contract: low turns medium when the limit is this near")
    cold_oil_per_K: float = _setting(
        -0.018,
        "1/K",
        "log seconds per kelvin of oil before it is learned: 13 s at 5 degC for 10 s at 20 (common practice)",
    )
    overdue_ratio: float = _setting(1.6, "1", "contract: times the usual burning between refills")
    idle_refill_window_s: float = _setting(21600.0, "s", "contract: two refills within 6 h")
    idle_refill_burned_s: float = _setting(300.0, "s", "contract: with less than 5 min burned")
    chatter_runs: float = _setting(3.0, "1", "contract: more short runs than this in 30 min")
    use_ratio: float = _setting(0.15, "1", "contract: oil per burning hour up by more than this")
    use_hours: float = _setting(10.0, "h", "contract: judged over at least this many burning hours")
    use_sd: float = _setting(4.0, "1", "contract: and by more than this many sd of the mean")

    # preheat
    climb_window_s: float = _setting(
        300.0, "s", "five minutes of heating stand clear of probes that count in half kelvins"
    )
    climb_K: float = _setting(2.0, "K", "per window; slow heaters in big tanks give 0.5 K/min, most 2-8")
    preheat_slow_ratio: float = _setting(1.5, "1", "times the predicted duration (contract)")
    preheat_slow_sd: float = _setting(4.0, "1", "and by this many robust sd of the furnace's own log climb rates")
    preheat_slow_margin_s: float = _setting(120.0, "s", "added, for short climbs are measured coarsely")
    stalled_K_per_min: float = _setting(0.1, "K/min", "contract")
    stalled_under_K: float = _setting(3.0, "K", "contract: this far under the set point")

    stuck_K_per_min: float = _setting(0.5, "K/min", "contract: still climbing this fast")
    stuck_after_s: float = _setting(180.0, "s", "contract: this long after the drive went off")
    stuck_share: float = _setting(
        0.4, "1", "of the usual climb: a shorted relay heats on as before, an overshoot dies away"
    )
    stuck_over_K: float = _setting(5.0, "K", "contract: this far above the control band")
    soak_s: float = _setting(
        1500.0, "s", "a nozzle block soaks in chamber heat for about 20 min after a firing (common practice)"
    )

    # ignition and flame
    trial_s: float = _setting(
        90.0, "s", "longest trial for ignition before its usual time is learned (common practice: 15-90 s)"
    )
    no_rise_s: float = _setting(300.0, "s", "contract: oil ready and no stack rise for this long")
    delayed_s: float = _setting(3.0, "s", "contract: mean of 5 times to flame above usual by more")
    delayed_sd: float = _setting(4.0, "1", "contract: and by more than this many sd")
    loss_confirm_s: float = _setting(20.0, "s", "the call must still be on this long after the fire ended")
    relit_after_s: float = _setting(
        40.0, "s", "a control that lost its flame waits before it retries (60-90 s, common practice)"
    )
    relit_within_s: float = _setting(130.0, "s", "a fire back this soon was a recycle, not a thermostat")
    step_unreferred: float = _setting(
        1.2, "1", "without return air or room the air's own swing is in the stack: steps must be this much larger"
    )
    no_heat_s: float = _setting(2700.0, "s", "contract: call unanswered this long")
    no_heat_ratio: float = _setting(1.5, "1", "contract: or this many times the usual")
    unasked_s: float = _setting(120.0, "s", "heat this long after the call ended, or without one")
    cycling_s: float = _setting(180.0, "s", "contract: mean firing shorter than this over 6 firings")
    cycling_starts: float = _setting(5.0, "1", "contract: or more starts than this in an hour")

    # the stack, firing by firing
    steady_min_s: float = _setting(240.0, "s", "shorter firings say too little about the steady stack")
    step_K: float = _setting(15.0, "K", "contract: medians of 5 firings before and after differ by more")
    step_sd: float = _setting(4.0, "1", "contract: and by more than this many sd")
    step_usual_sd: float = _setting(
        4.5, "1", "and by more than this many sd of what neighbouring fives usually differ: 1000 tests a season, < 1 %"
    )
    stack_low_K: float = _setting(150.0, "K", "contract: net of the air, condensation below (270 degF, NORA manual)")

    # air, supply, room, input
    air_band_kPa: float = _setting(10.0, "kPa", "working band when the profile has none (1.5 psi, common practice)")
    air_out_s: float = _setting(30.0, "s", "contract: outside the band this long while firing")
    heat_kWh_per_l: float = _setting(10.684, "kWh/l", "used oil, gross: 0.138 mmBtu/gal (40 CFR 98 Table C-1)")
    overfire_ratio: float = _setting(1.10, "1", "contract: input over rated")
    overfire_back_ratio: float = _setting(1.05, "1", "contract: gone below this")
    overfire_hours: float = _setting(2.0, "h", "contract: over this many burning hours")
    supply_notice_days: float = _setting(3.0, "d", "when the profile has none")
    supply_urgent_h: float = _setting(12.0, "h", "contract: medium turns high inside this")
    freeze_near_K: float = _setting(
        8.0, "K", "above the limit; the air falls fast at first, then slowly with the walls"
    )
    freeze_notice_h: float = _setting(4.0, "h", "time to get there and bring heat (common practice)")

    # sensors
    frozen_s: float = _setting(7200.0, "s", "contract: not one count in this time while others moved")
    frozen_slow_s: float = _setting(
        43200.0, "s", "the same for room, outdoor and supply, which really stand still at night"
    )
    spikes: float = _setting(3.0, "1", "this many impossible readings in 10 min are not one spark")
    bad_readings_s: float = _setting(30.0, "s", "faults must last this long; single CRC errors are weather")
    good_s: float = _setting(1800.0, "s", "contract: good for this long to return")
    cold_drift_K: float = _setting(
        8.0, "K", "a probe this far from its own usual cold difference spoils set points; half of it is weather"
    )

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
    prove_s: float = _setting(
        1800.0, "s", "after its cause has gone, a consequence has this long to go too: preheat and a proved firing"
    )

    # statistics
    learning_factor: float = _setting(2.0, "1", "contract: limits are this much wider while learning")


def table() -> list[Field[Any]]:
    """The settings as dataclass fields: name, default, metadata `unit` and `reason`."""
    return list(fields(Settings))
