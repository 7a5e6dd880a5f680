"""The states in which the pages must look right."""

from dataclasses import replace

from sootline.now import SetAside
from tests.web.workshop import BLIND, LEARNING, NOW_MS, READY, StagedLive, alarm, furnace_now


def empty(live: StagedLive) -> None:
    live.clear()


def normal(live: StagedLive) -> None:
    live.put(furnace_now(), furnace_now("carriage-shop", "standby", stack=31.0, burner=0.0, call=0.0, old_s=42))


def trouble(live: StagedLive) -> None:
    """A refill stall with a consequence under it, a trend, and a critical alarm next door."""
    stall = alarm()
    under = alarm("preheat-stalled", minutes_ago=6, state="suppressed", suppressed_by="refill-timeout", channel="tank")
    stuck = alarm(
        "heater-stuck-on", "carriage-shop", priority="critical", hazard="fire", channel="nozzle", minutes_ago=3,
        first_step="Switch off at the breaker; the thermostat will not help. Smoke: leave and call the fire service.",
        detail={"rate_K_per_min": 2.6, "limit_C": 120.0, "act_within_min": 5, "repeats": 2},
    )  # fmt: skip
    slow = alarm(
        "refill-slowing", priority="low", minutes_ago=3000, first_step="Look at the refill filter on the next visit.",
        detail={"act_within_min": 10_080, "rise_ratio": 0.31, "limit_from": "2026-01-22", "limit_s": 20.0},
    )  # fmt: skip
    aside = (SetAside(NOW_MS - 90_000, "sootline/engine-shed/measurements", "not a SenML pack", 812),)
    live.put(
        replace(
            furnace_now(alarms=(stall, under, slow), readiness=READY + LEARNING + BLIND),
            set_aside={"not a SenML pack": 3},
            last_set_aside=aside,
        ),
        furnace_now("carriage-shop", "standby", (stuck,), stack=31.0, nozzle=74.0, burner=0.0, call=0.0),
    )


def learning(live: StagedLive) -> None:
    live.put(furnace_now(phase="preheat", readiness=READY + LEARNING, stack=26.0, nozzle=61.0, burner=0.0))


def offline(live: StagedLive) -> None:
    """One board silent for long, one for minutes, one with a broken probe."""
    gone = alarm(
        "board-offline", priority="medium", minutes_ago=95, first_step="Check the board's power supply and the Wi-Fi.",
        detail={"act_within_min": 120},
    )  # fmt: skip
    live.put(
        furnace_now(old_s=96 * 60, alarms=(gone,)),
        furnace_now("carriage-shop", "standby", old_s=260, stack=30.0),
        furnace_now("paint-shop", "firing", stack="open"),
    )


def twelve(live: StagedLive) -> None:
    """Twelve furnaces, one in each phase."""
    phases = (
        "firing", "standby", "preheat", "cool-down", "lockout", "off", "purge", "ignition", "recycle", "limit",
        "service", "unknown",
    )  # fmt: skip
    names = (
        "boiler-house", "carriage-shop", "engine-shed", "foundry", "goods-shed", "lamp-room", "paint-shop",
        "pattern-loft", "signal-works", "smithy", "stores", "timber-shop",
    )  # fmt: skip
    live.put(*(furnace_now(name, phase) for name, phase in zip(names, phases, strict=True)))  # type: ignore[arg-type]
    returned = alarm("flame-loss", "foundry", state="returned", minutes_ago=300, cleared_ms=NOW_MS - 9_000_000)
    live.put(furnace_now("goods-shed", "lockout", (alarm("lockout", "goods-shed", hazard="fire"),)))
    live.put(furnace_now("foundry", "cool-down", (returned,)))


STATES = {f.__name__: f for f in (empty, normal, trouble, learning, offline, twelve)}
