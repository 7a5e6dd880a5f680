"""The limits a furnace runs into, from its profile, its stored readings and what was typed in."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from sootline.advice.burned import Burned, day_ms
from sootline.errors import OutOfRange, UserError
from sootline.events import Event
from sootline.heat.ash import BurnedBatch, ash_budget, hours_to_full, retained_share
from sootline.heat.cleaning_date import Limits, MoneyLimit, cleaning_date
from sootline.heat.cleaning_limits import (
    RiseLimit,
    clean_stack_at_coldest,
    draft_rise_limit,
    smoke_limit_hours,
    vent_rise_limit,
)
from sootline.heat.economics import loss_per_kelvin_hour
from sootline.heat.elementwise import FloatArray
from sootline.heat.flue_loss import Efficiency, FlueReading, efficiency
from sootline.heat.oil import Oil
from sootline.heat.refill_use import OilBurned
from sootline.store import Store

DAY_MS = 86_400_000
AT_RISE_K = 41.7  # 75 °F over clean when the owner has no limit: boiler makers' practice
LEARNED_FROM = 30  # firings after a cleaning that stand for the clean furnace
LATEST = 10  # firings that stand for now
SETTLED_MS = 300_000
ASSUMED_AIR_C = 20.0
NO_DIFFERENTIAL = "set refill.differential_l in the profile"


@dataclass(frozen=True)
class Given:
    """What a person told beside what is stored.

    oil: kind burned; season_end: cleaned anyway on that day; coldest_C: coldest day ahead [°C]; smoke: spot tests since
    the cleaning; ash_full_kg: ash in the exchanger at which it is cleaned [kg]; ash_kg: ash weighed [kg]
    """

    oil: str | None = None
    season_end: date | None = None
    coldest_C: float | None = None
    smoke: tuple[tuple[date, float], ...] = ()
    ash_full_kg: float | None = None
    ash_kg: float | None = None


@dataclass
class Found:
    """What is known of the limits: the limits, the function behind each, and why the others are not known."""

    at_rise: dict[str, RiseLimit] = field(default_factory=dict)
    at_hours: dict[str, FloatArray] = field(default_factory=dict)
    money: MoneyLimit | None = None
    season_end_day: float | None = None
    behind: dict[str, Callable[..., object]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def limits(self) -> Limits:
        return Limits(self.at_rise, self.at_hours, self.season_end_day, self.money)


def find(store: Store, seen: Burned, oil: Oil, used: OilBurned | None, given: Given, draws: FloatArray) -> Found:
    """Every limit that can be known. draws: standard normal draws for the limits in burning hours.

    Raises: OutOfRange, UserError for what was typed in and cannot be used
    """
    found = Found()
    own_K = seen.profile.cleaning.at_rise_K
    found.at_rise["rise"] = RiseLimit(AT_RISE_K if own_K is None else own_K)
    found.behind["rise"] = cleaning_date
    if own_K is None:
        found.notes.append(f"rise: {AT_RISE_K:g} K taken (common practice); set cleaning.at_rise_K for your own")
    from_store: dict[str, Callable[[], None]] = {
        "stack limit": lambda: _stack(seen, given, found),
        "draft": lambda: _draft(store, seen, found),
        "money": lambda: _money(seen, used, found),
    }
    for name, add in from_store.items():
        try:
            add()
        except OutOfRange as error:
            found.notes.append(f"{name}: no date: {error}")
    _smoke(seen, given, draws, found)
    _ash(seen, oil, used, given, draws, found)
    if given.season_end is None:
        found.notes.append("season end: not known (--season-end DATE)")
    else:
        found.season_end_day = (day_ms(given.season_end) - seen.now_ms) / DAY_MS
        found.behind["season end"] = cleaning_date
    return found


def _stack(seen: Burned, given: Given, found: Found) -> None:
    limit_C = seen.profile.stack.limit_C
    if limit_C is None:
        raise OutOfRange("set stack.limit_C in the profile")
    stack, _, outdoor = steady_stack(seen, seen.steady[:LEARNED_FROM])
    known = stack[np.isfinite(stack)]
    if known.size < 5:
        raise OutOfRange("too few firings while clean")
    level_C, sd_K = float(known.mean()), max(float(known.std(ddof=1)), 5.0)
    coldest = given.coldest_C if given.coldest_C is not None else _lowest(column(seen.firings, "outdoor_end"))
    try:
        if coldest is None:
            raise OutOfRange("no outdoor temperature")
        cold_C, cold_sd_K = clean_stack_at_coldest(outdoor, stack, coldest)
        if cold_C > level_C:  # a stack that seems to cool with the weather is not relied on
            level_C, sd_K = cold_C, cold_sd_K
        found.notes.append(f"stack limit: clean stack {level_C:.0f} °C with {coldest:.0f} °C outdoors")
    except OutOfRange as error:
        found.notes.append(f"stack limit: clean stack {level_C:.0f} °C in the weather it was seen in ({error})")
    found.at_rise["stack limit"] = vent_rise_limit(limit_C, level_C, sd_K)
    found.behind["stack limit"] = vent_rise_limit


def _draft(store: Store, seen: Burned, found: Found) -> None:
    last_of_day = {e.end_ms // DAY_MS: e for e in seen.steady if e.number("residual_K") is not None}
    rise, draft = [], []
    for event in last_of_day.values():
        read = store.read(seen.furnace, event.end_ms - SETTLED_MS, event.end_ms, ("draft_fire",))
        values = read.values.get("draft_fire", np.empty(0))
        if not np.any(np.isfinite(values)):
            continue
        rise.append(float(event.number("residual_K") or 0.0))
        draft.append(float(np.nanmean(values)))
    if not draft:
        raise OutOfRange("the draft over the fire (channel draft_fire) was not read at any firing with a known rise")
    limit = draft_rise_limit(np.array(rise), np.array(draft))
    if limit is None:
        found.notes.append("draft: does not weaken clearly with the rise; no limit in sight")
        return
    found.at_rise["draft"] = limit
    found.behind["draft"] = draft_rise_limit


def _money(seen: Burned, used: OilBurned | None, found: Found) -> None:
    cost, value = seen.profile.cleaning.cost, seen.profile.cleaning.oil_value_per_l
    if not cost or not value:
        found.notes.append("money: not known; set cleaning.cost and cleaning.oil_value_per_l in the profile")
    elif used is None:
        found.notes.append(f"money: not known; {NO_DIFFERENTIAL}")
    elif used.refills < 3 or seen.hours <= 0:
        found.notes.append("money: not known; needs 3 refills since it was clean")
    else:
        burner = flue(seen)
        loss = loss_per_kelvin_hour(
            used.litres / seen.hours, value, burner.slope_percent_per_K, burner.efficiency_percent / 100.0
        )
        found.money = MoneyLimit(cost, loss)
        found.behind["money"] = loss_per_kelvin_hour
        found.notes.append(f"money: estimate, {'; '.join(burner.estimate_because)}")


def _smoke(seen: Burned, given: Given, draws: FloatArray, found: Found) -> None:
    if not given.smoke:
        found.notes.append("smoke: not known; tell spot tests made since the cleaning (--smoke DATE=NUMBER)")
        return
    tests = sorted(given.smoke)
    hours = np.array([seen.hours_at(day_ms(day) + DAY_MS) for day, _ in tests])
    left = smoke_limit_hours(hours, np.array([number for _, number in tests]), draws)
    found.at_hours["smoke"] = np.maximum(0.0, left - (seen.hours - hours[-1]))
    found.behind["smoke"] = smoke_limit_hours


def _ash(seen: Burned, oil: Oil, used: OilBurned | None, given: Given, draws: FloatArray, found: Found) -> None:
    if used is None:
        found.notes.append(f"ash: not known; {NO_DIFFERENTIAL}")
        return
    if used.litres <= 0 or seen.hours <= 0:
        found.notes.append("ash: not known; nothing burned since it was clean")
        return
    if given.ash_full_kg is None:
        found.notes.append("ash: not known; tell the ash at which you clean (--ash-full-kg)")
        return
    share, factor = retained_share([], [])
    batch = burned_batch(oil, used)
    kept = ash_budget([batch], share, factor).kept_kg
    rate = used.litres / seen.hours
    found.at_hours["ash"] = hours_to_full(given.ash_full_kg, kept, rate, batch, share, factor, draws)
    found.behind["ash"] = hours_to_full


def burned_batch(oil: Oil, used: OilBurned) -> BurnedBatch:
    return BurnedBatch(used.litres, oil.density15_kg_m3, oil.ash_percent)


def flue(seen: Burned) -> Efficiency:
    """Efficiency now from the last firings' stack; no flue gas reading is stored, so an estimate."""
    stack, air, _ = steady_stack(seen, seen.steady[-LATEST:])
    if not np.any(np.isfinite(stack)):
        raise OutOfRange("no firing was long enough to tell the stack")
    return efficiency(FlueReading(float(np.nanmean(stack)), float(np.nanmean(air))))


def steady_stack(seen: Burned, steady: Sequence[Event]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Steady gross stack, the air it is judged against, and outdoor air of each firing [°C], NaN where not known."""
    lit = {e.start_ms: e for e in seen.firings}
    firings = [lit.get(e.start_ms, e) for e in steady]
    returned, room = column(firings, "return_air_end"), column(firings, "room_end")
    reference = np.where(np.isfinite(returned), returned, np.where(np.isfinite(room), room, np.nan))
    net = column(steady, "net_K")  # over nothing where neither is measured (follow/steady.py)
    stack = net + np.where(np.isfinite(reference), reference, 0.0)
    return stack, np.where(np.isfinite(reference), reference, ASSUMED_AIR_C), column(firings, "outdoor_end")


def clean_until_ms(seen: Burned) -> int:
    """The end of the firings that stand for the clean furnace."""
    return seen.steady[min(len(seen.steady), LEARNED_FROM) - 1].end_ms if seen.steady else seen.clean_ms


def column(events: Iterable[Event], feature: str) -> FloatArray:
    """A feature of each event, NaN where it was not measured."""
    values = [event.number(feature) for event in events]
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)


def _lowest(values: FloatArray) -> float | None:
    return float(np.nanmin(values)) if np.any(np.isfinite(values)) else None


def day_given(text: str) -> date:
    """A day as a person types it. Raises: UserError"""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UserError(f"'{text}' is no date; write it like 2026-05-01") from None


def smoke_given(text: str) -> tuple[date, float]:
    """A smoke spot test as a person types it: DATE=NUMBER. Raises: UserError"""
    day, _, number = text.partition("=")
    try:
        return date.fromisoformat(day), float(number)
    except ValueError:
        raise UserError(f"'{text}': write it as DATE=NUMBER, such as 2026-02-01=1") from None
