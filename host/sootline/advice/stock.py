"""What was burned by day, week and batch, the firing rate, and how long the stock lasts in this weather."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf, isinf

import numpy as np

from sootline.advice.burned import DAY_MS, HOUR_MS, Burned, day_of, oil_named
from sootline.advice.figure import Figure
from sootline.analysis.course import generator
from sootline.errors import OutOfRange, UserError
from sootline.heat.degree_days import DaysLeft, FuelLine, days_to_empty, fuel_line_best_base
from sootline.heat.elementwise import FloatArray
from sootline.heat.oil import Oil
from sootline.heat.refill_use import OilBurned, firing_rate, input_against_rating, oil_burned
from sootline.profile import Profile
from sootline.store import Store

AHEAD_DAYS, RECENT_DAYS, WHOLE_H, FEWEST_DAYS = 180, 14, 18, 7
GROSS_SHARE = 0.03  # standard error of a heating value taken from the kind of oil (common practice)
LEVEL_SHARE = 0.03  # of the tank's contents, for a level sensor (common practice)
STOCK_SHARE = 0.05  # of a stock read off by eye or dipstick
WEATHER_SD_K = 3.0  # at least, of the mean outdoor temperature ahead when nobody forecasts it


@dataclass(frozen=True)
class Period:
    """Oil burned from one day, in a week or of a batch."""

    name: str
    start_ms: int
    end_ms: int
    burned: OilBurned


@dataclass(frozen=True)
class Given:
    """What a person told. oil: kind; litres: stock at the last reading [L]; outdoor_C: mean to expect [°C]."""

    oil: str | None = None
    litres: float | None = None
    outdoor_C: float | None = None


@dataclass(frozen=True)
class Left:
    """The stock [L] with its error, how it is known, the days it lasts, and the line of fuel against degree days."""

    litres: float
    error_l: float
    known: str
    days: DaysLeft
    line: FuelLine | None
    weather: str


@dataclass(frozen=True)
class Stock:
    """Everything that is told of the oil of one furnace; notes: what it rests on, and what is not known and why;
    days: every day looked at, where `periods` has the last ones
    """

    seen: Burned
    oil: Oil
    periods: dict[str, list[Period]]
    left: Left | None
    figures: tuple[Figure, ...]
    notes: tuple[str, ...]
    days: tuple[Period, ...]

    @property
    def empty_on(self) -> str | None:
        """The likely day on which the stock is burned up; None where that is not known or far."""
        if self.left is None or isinf(self.left.days.median):
            return None
        return day_of(self.seen.now_ms + self.left.days.median * DAY_MS)


def stock(store: Store, profile: Profile, now_ms: int, days: int, given: Given) -> Stock:
    """What was burned in the last days, and what is left.

    Raises: UserError where oil cannot be counted; OutOfRange for what was given and cannot be used
    """
    if profile.refill.differential_l is None:
        raise UserError("oil is counted in refills: set refill.differential_l in the profile [L]")
    seen = _span(store, profile, now_ms - now_ms % DAY_MS - (days - 1) * DAY_MS, now_ms)
    oil, note = oil_named(given.oil, store.folder)
    periods = {kind: _periods(seen, oil, cuts) for kind, cuts in _cuts(seen).items()}
    notes = [note]
    left = _left(store, seen, oil, given, notes)
    figures = (*_rate(seen, oil, notes), *_stock(left))
    each_day = tuple(_periods(seen, oil, _days(seen)))
    return Stock(seen, oil, periods, left, figures, tuple(notes), each_day)


def _span(store: Store, profile: Profile, start_ms: int, now_ms: int) -> Burned:
    firings, refills = (store.events(profile.furnace.id, kind, start_ms, now_ms + 1) for kind in ("firing", "refill"))
    filled = [event for event in refills if event.features.get("stalled") is not True]
    return Burned(profile, now_ms, start_ms, False, firings, filled, ())


def _days(seen: Burned) -> list[tuple[str, int]]:
    first = min((e.start_ms for e in (*seen.firings[:1], *seen.refills[:1])), default=seen.now_ms)
    return [(day_of(t_ms), t_ms) for t_ms in range(first - first % DAY_MS, seen.now_ms + 1, DAY_MS)]


def _cuts(seen: Burned) -> dict[str, list[tuple[str, int]]]:
    """Where days, weeks and batches begin: the name of each and its first moment."""
    days = _days(seen)
    first = days[0][1]
    monday = 4 * DAY_MS  # 1 January 1970 was a Thursday
    weeks = [(f"week of {name}", t_ms) for name, t_ms in days if (t_ms - monday) % (7 * DAY_MS) == 0]
    if days and (not weeks or weeks[0][1] > first):
        weeks.insert(0, (f"from {days[0][0]}", first))
    batches = [("before", first), *((e.note or day_of(e.at_ms), e.at_ms) for e in seen.log("batch"))]
    return {"day": days[-RECENT_DAYS:], "week": weeks, "batch": batches}


def _periods(seen: Burned, oil: Oil, cuts: Sequence[tuple[str, int]]) -> list[Period]:
    made = []
    for (name, start_ms), (_, end_ms) in pairwise([*cuts, ("", seen.now_ms + 1)]):
        used = seen.oil(oil, start_ms, end_ms)
        assert used is not None  # the profile has the differential
        made.append(Period(name, start_ms, end_ms, used))
    return made


def _rate(seen: Burned, oil: Oil, notes: list[str]) -> Iterator[Figure]:
    used = seen.oil(oil, seen.clean_ms, seen.now_ms + 1)
    assert used is not None
    yield Figure("burned", "oil burned", used.litres, "oil", f"at 15 °C, {used.refills} refills", oil_burned,
                 used.standard_error_l)  # fmt: skip
    yield Figure("hours", "burning hours", seen.hours, "hours", "", Burned.hours.fget)  # type: ignore[attr-defined]
    gross = oil.gross_MJ_kg * oil.density15_kg_m3 / 1000.0
    try:
        rate = firing_rate(used, seen.hours, gross, GROSS_SHARE * gross)
    except OutOfRange as error:
        notes.append(f"firing rate: not known: {error}")
        return
    yield Figure("rate", "firing rate", rate.l_per_h, "flow", "", firing_rate, rate.l_per_h_se)
    yield Figure("input", "heat input, gross", rate.input_W / 1000, "heat input", "", firing_rate,
                 rate.input_se_W / 1000)  # fmt: skip
    rated_kW = seen.profile.furnace.rated_input_kW
    if rated_kW is None:
        notes.append("rating: not known; set furnace.rated_input_kW in the profile")
        return
    check = input_against_rating(rate, rated_kW * 1000.0)
    words = "over its rating by more than the error: have it looked at" if check.overfired else ""
    if check.above_space_heater_limit:
        words = f"{words}; above 500 000 Btu/h (40 CFR 279.23)".removeprefix("; ")
    yield Figure("of_rating", "input over rating", check.ratio, "ratio", words, input_against_rating, check.ratio_se)


def _left(store: Store, seen: Burned, oil: Oil, given: Given, notes: list[str]) -> Left | None:
    """The stock and how long it lasts; None and a note where the stock is not known."""
    stock = _in_tank(store, seen, given, notes)
    if stock is None:
        return None
    first_ms = _cuts(seen)["week"][0][1] + DAY_MS if seen.refills else seen.now_ms  # the first day may be half seen
    whole = range(first_ms, seen.now_ms - seen.now_ms % DAY_MS, DAY_MS)
    fuel = np.array([p.burned.litres for p in _periods_of(seen, oil, whole)])
    if fuel.size == 0 or fuel.sum() <= 0:
        notes.append("days left: not known; nothing was burned on a whole day of those looked at")
        return Left(*stock, DaysLeft(inf, inf, inf), None, "")
    outdoor = _outdoor(store, seen.furnace, whole)
    known = np.isfinite(outdoor)
    try:
        if known.sum() < FEWEST_DAYS:
            raise OutOfRange(f"{known.sum()} whole days with an outdoor temperature, {FEWEST_DAYS} are needed")
        line = fuel_line_best_base(fuel[known], [np.array([c]) for c in outdoor[known]])
    except OutOfRange as error:
        notes.append(f"degree days: not used: {error}; the use of the last {RECENT_DAYS} days is carried on")
        return Left(*stock, _at_present_rate(stock[0], stock[1], fuel[-RECENT_DAYS:]), None, "as of late")
    recent = outdoor[known][-RECENT_DAYS:]
    mean_C = float(recent.mean()) if given.outdoor_C is None else given.outdoor_C
    sd_K = max(WEATHER_SD_K, float(recent.std())) if given.outdoor_C is None else WEATHER_SD_K
    days = days_to_empty(
        stock[0], line, np.full(AHEAD_DAYS, mean_C), np.full(AHEAD_DAYS, sd_K),
        generator(seen.furnace, seen.now_ms), stock[1],
    )  # fmt: skip
    return Left(*stock, days, line, f"at {mean_C:.0f} ± {sd_K:.0f} °C outdoors")


def _in_tank(store: Store, seen: Burned, given: Given, notes: list[str]) -> tuple[float, float, str] | None:
    if given.litres is not None:
        return given.litres, STOCK_SHARE * given.litres, "as given"
    volume = seen.profile.supply.volume_l
    levels = store.read(seen.furnace, seen.now_ms - HOUR_MS, seen.now_ms + 1, ("supply_level",)).values
    level = levels.get("supply_level", np.empty(0))
    if volume is None or not np.any(np.isfinite(level)):
        notes.append(
            "stock: not known; tell what is in the tank (--litres), or measure supply_level and set supply.volume_l"
        )
        return None
    ratio = float(np.nanmean(level))
    return max(ratio, 0.0) * volume, LEVEL_SHARE * volume, f"supply tank at {ratio:.0%}"


def _periods_of(seen: Burned, oil: Oil, whole: range) -> list[Period]:
    if not whole:
        return []
    return _periods(seen, oil, [*((day_of(t_ms), t_ms) for t_ms in whole), ("rest", whole.stop)])[: len(whole)]


def _outdoor(store: Store, furnace: str, whole: range) -> FloatArray:
    """Mean of the hourly outdoor temperatures of each day [°C], NaN where fewer than 18 of its hours were measured."""
    days = []
    for start_ms in whole:
        read = store.read(furnace, start_ms, start_ms + DAY_MS, ("outdoor",))
        values = read.values.get("outdoor", np.full(len(read), np.nan))
        known = np.isfinite(values)
        hour = (read.t_ms[known] - start_ms) // HOUR_MS
        count = np.bincount(hour, minlength=24)
        total = np.bincount(hour, values[known], minlength=24)
        there = count > 0
        days.append(float((total[there] / count[there]).mean()) if there.sum() >= WHOLE_H else np.nan)
    return np.array(days)


def _at_present_rate(stock_l: float, error_l: float, fuel_l: FloatArray) -> DaysLeft:
    """Days the stock lasts at the mean use of the last days, 80 % from the errors of both.

    Source: quotient of stock and mean daily use; errors added in quadrature.
    """
    use = float(fuel_l.mean())
    use_se = float(fuel_l.std(ddof=1) / fuel_l.size**0.5) if fuel_l.size > 1 else use
    days = stock_l / use
    spread = 1.2816 * days * float(np.hypot(error_l / max(stock_l, 1e-9), use_se / use))
    return DaysLeft(max(days - spread, 0.0), days, days + spread)


def _stock(left: Left | None) -> Iterator[Figure]:
    if left is None:
        return
    yield Figure("stock", "stock", left.litres, "oil", left.known, oil_burned, left.error_l)
    if left.line is not None:
        line, function = left.line, fuel_line_best_base
        yield Figure("base", "degree-day base", line.base_C, "temperature", f"R² {max(line.r2, 0.0):.2f}", function)
        yield Figure("per_degree_day", "oil per degree day", line.beta, "oil per degree day",
                     f"{line.periods} days", function, line.covariance[1][1] ** 0.5)  # fmt: skip
        yield Figure("per_day", "oil whatever the weather", line.alpha, "oil per day", "", function,
                     line.covariance[0][0] ** 0.5)  # fmt: skip
    function_left = _at_present_rate if left.line is None else days_to_empty
    for key, name, days in (
        ("days_low", "lasts at least", left.days.low),
        ("days", "lasts, likely", left.days.median),
        ("days_high", "lasts at most", left.days.high),
    ):
        shown = None if isinf(days) else days
        note = f"longer than {AHEAD_DAYS} days" if shown is None else left.weather if key == "days" else "10 % beyond"
        yield Figure(key, name, shown, "days", note, function_left)
