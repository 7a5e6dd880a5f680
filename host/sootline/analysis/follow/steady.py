"""The steady stack of each firing: net of the air, corrected for what varies without ash, and for unfinished warming.

residual [K] = net - baseline - sum b_j (z_j - mean z_j) - offset
net      [K] = steady stack (warming.py) - return air (its stand-ins: room, else nothing; one for all firings)
z            = what moves the stack without ash where it is measured: outdoor air (draft), atomising air, nozzle oil;
               and the air itself, which the flue follows by the exchanger's effectiveness only, not one to one; and
               the flue before the light-off: cold steel warms on long after the flue has begun to settle
b            = ridge regression over the learning firings, frozen with the baseline
offset   [K] = steps that are no ash: those explained by a log entry, where the firings after it differ plainly from the
               trend before, and those `stack-step` has found, until a log entry says that they were mended
"""

import statistics
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from sootline.analysis.follow.warming import Curve, Reading, learn, read
from sootline.analysis.plant import Plant
from sootline.analysis.usual import MAD_TO_SD
from sootline.events import Event
from sootline.profile import LogEntry

NEED, NEED_DAYS, DAY_MS = 30, 7.0, 86_400_000
SETTLED_S = 480.0  # before its warming is known, a firing as long as this is taken to have settled
REFERENCES, REFERRED = ("return_air", "room"), 0.8  # the first that this share of the learning firings has
AROUND = 8  # firings before and after a log entry that tell its step
STEP_K, STEP_SE = 6.0, 4.0  # a smaller step, or one of fewer standard errors, is no step
RISE_PER_HOUR, RISE_PER_HOUR_SD = 0.12, 0.10  # K per burning hour: usual fouling (8-30 K per 100 h, common practice)
COVARIATES = {"outdoor_end": 10.0, "air_pressure_end": 5e3, "nozzle_end": 5.0}  # with their usual spread
RIDGE_K = 4.0  # prior sd of the effect of one usual spread
# T_flue = T_air + (T_flame - T_air) e^-NTU: net falls by e^-NTU, 0.1 to 0.2, for each kelvin of air (any text on heat
# exchangers); what else comes with colder air, as denser combustion air and more draft, is known no better than this
AIR, AIR_SLOPE, AIR_SLOPE_SD, AIR_K = "air", -0.15, 0.3, 10.0
START, START_K = "start", 20.0
DAY_SD_K = 4.0  # what a day adds to all its firings alike: 5 to 10 K unnormalised (common practice), half of it left
EXPLAINED_BY = ("batch", "nozzle", "shutter", "blower", "repair", "electrodes", "service")


@dataclass(frozen=True, slots=True)
class Steady:
    """One firing, also kept as an event of kind `steady`. residual_K is None while the baseline is being learned."""

    t_ms: int
    burned_h: float
    net_K: float
    residual_K: float | None
    supply_rise_K: float | None
    z: Mapping[str, float | None] = field(default_factory=dict)


@dataclass(slots=True)
class _Baseline:
    level_K: float
    sd_K: float
    slopes: dict[str, float]
    means: dict[str, float]
    slope_sd: dict[str, float] = field(default_factory=dict)  # how well each slope is known


@dataclass(slots=True)
class _Learning:
    """Firings by column: the flue as it was read, and the air by the name of its probe."""

    t_ms: list[int] = field(default_factory=list)
    hours: list[float] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    air_C: list[dict[str, float | None]] = field(default_factory=list)
    z: list[dict[str, float | None]] = field(default_factory=list)
    net_K: list[float] = field(default_factory=list)  # once the curve is learned


class StackSeries:
    """Calls every listener in `on_steady` for each firing long enough to tell."""

    def __init__(self, plant: Plant, burned_s: Callable[[], float]) -> None:
        self.plant = plant
        self._burned_s = burned_s
        self.on_steady: list[Callable[[Steady], None]] = []
        self.explained_ms: int | None = None
        self._restart()
        plant.on_event("firing", self._fired, learns=True)
        plant.on_log(self._logged)

    def _restart(self) -> None:
        self.baseline: _Baseline | None = None
        self.curve: Curve | None = None
        self.reference: str | None = None
        self.offset_K = 0.0
        self.clean_since_ms: int | None = None
        self._learning = _Learning()
        self._home_K: float | None = None  # the offset before a step nobody has explained
        self._before: deque[tuple[float, float]] = deque(maxlen=2 * AROUND)  # burning hours, residual
        self._after: list[float] | None = None

    @property
    def learned(self) -> int:
        """Firings learned from, at most NEED; below it while the baseline is not there."""
        return NEED if self.baseline is not None else min(len(self._learning.readings), NEED - 1)

    @property
    def sd_K(self) -> float:
        return self.baseline.sd_K if self.baseline is not None else 0.0

    def suspect(self, firings: int) -> None:
        """The last firings seem to have stepped away: they, and what follows, no longer tell where the trend is."""
        if self._home_K is None:
            self._home_K = self.offset_K
            for _ in range(min(firings, len(self._before))):
                self._before.pop()

    def acquit(self) -> None:
        """The suspected step has gone by itself."""
        self._home_K = None

    def explain(self, step_K: float) -> None:
        """Take a suspected step, which is not ash, out of the residuals until a log entry tells that it was mended."""
        self.offset_K += step_K

    def _logged(self, entry: LogEntry) -> None:
        if entry.kind == "cleaning":
            self._restart()
            self.clean_since_ms = entry.at_ms
        elif entry.kind in EXPLAINED_BY:
            self._after = []
        self.explained_ms = entry.at_ms

    def _fired(self, event: Event) -> None:
        reading = read(event, self.plant.history)
        if reading is None or event.duration_s < self.plant.settings.steady_min_s:
            return
        air_C = {name: event.number(f"{name}_end") for name in REFERENCES}
        z = {name: event.number(name) for name in COVARIATES} | {START: reading.start_C}
        hours = self._burned_s() / 3600
        if self.baseline is None:
            self._learn(event.end_ms, hours, reading, air_C, z)
        net = self._net_K(reading, air_C)
        if net is None:
            return
        z = self._with_air(z, air_C)
        supply, returned = event.number("supply_air_end"), event.number("return_air_end")
        supply_rise = supply - returned if supply is not None and returned is not None else None
        residual = None if self.baseline is None else self._residual(hours, net, z)
        if self.baseline is not None:
            net -= self._effect(self.baseline, {START: z[START]})
        self._tell(event, Steady(event.end_ms, hours, net, residual, supply_rise, z))

    def _net_K(self, reading: Reading, air_C: dict[str, float | None]) -> float | None:
        """Net of the air; None where the firing was too short to tell, or the probe it is compared with is lost."""
        if self.curve is None:
            air = next((air_C[name] for name in REFERENCES if air_C[name] is not None), None)
            return reading.tail_C - (air or 0.0) if reading.duration_s >= SETTLED_S else None
        steady, air = self.curve.steady_C(reading), air_C[self.reference] if self.reference is not None else 0.0
        return None if steady is None or air is None else steady - air

    def _tell(self, firing: Event, steady: Steady) -> None:
        """Keep the firing's steady stack as an event of its own, and tell whoever waits for it."""
        features: dict[str, float | str | bool | None] = {
            "burned_total_h": steady.burned_h,
            "net_K": steady.net_K,
            "residual_K": steady.residual_K,
            "supply_rise_K": steady.supply_rise_K,
        }
        self.plant.happened(Event(firing.furnace, "steady", firing.start_ms, firing.end_ms, features))
        for listener in self.on_steady:
            listener(steady)

    def _residual(self, hours: float, net_K: float, z: dict[str, float | None]) -> float | None:
        """The residual; None while the step of a log entry is being learned from the firings after it."""
        base = self.baseline
        assert base is not None
        raw = net_K - base.level_K - self._effect(base, z)
        if self._after is not None:
            self._after.append(raw)
            if len(self._after) < AROUND:
                return None
            self._settle(hours)
        residual = raw - self.offset_K
        if self._home_K is None:
            self._before.append((hours, residual))
        return residual

    def _settle(self, hours: float) -> None:
        """The firings after a log entry are in: have they stepped away from the trend before it?"""
        assert self._after is not None and self.baseline is not None
        offset = self.offset_K if self._home_K is None else self._home_K
        if len(self._before) >= AROUND // 2:
            then_h = statistics.median(h for h, _ in self._before)
            trend_K = statistics.median(r for _, r in self._before) + RISE_PER_HOUR * (hours - then_h)
            step = statistics.median(self._after) - offset - trend_K
            se = 1.25 * self.baseline.sd_K * (2 / AROUND) ** 0.5
            if abs(step) > max(STEP_K, STEP_SE * se):
                offset += step
        self.offset_K, self._home_K, self._after = offset, None, None

    @staticmethod
    def _effect(base: _Baseline, z: dict[str, float | None]) -> float:
        total = 0.0
        for name, slope in base.slopes.items():
            value = z.get(name)
            if value is not None:
                total += slope * (value - base.means[name])
        return total

    def _learn(
        self, t_ms: int, hours: float, reading: Reading, air_C: dict[str, float | None], z: dict[str, float | None]
    ) -> None:
        learning = self._learning
        learning.t_ms.append(t_ms)
        learning.hours.append(hours)
        learning.readings.append(reading)
        learning.air_C.append(air_C)
        learning.z.append(z)
        n = len(learning.readings)
        if n < NEED or t_ms - learning.t_ms[0] < NEED_DAYS * DAY_MS:
            return
        self.curve = learn(learning.readings)
        share = {name: sum(air[name] is not None for air in learning.air_C) / n for name in REFERENCES}
        self.reference = next((name for name in REFERENCES if share[name] >= REFERRED), None)
        nets = [self._net_K(reading, air) for reading, air in zip(learning.readings, learning.air_C, strict=True)]
        told = [k for k, net in enumerate(nets) if net is not None]
        if len(told) < NEED:
            self.curve = None
            return
        chosen = _Learning(
            [learning.t_ms[k] for k in told],
            [learning.hours[k] for k in told],
            z=[self._with_air(learning.z[k], learning.air_C[k]) for k in told],
            net_K=[net for net in nets if net is not None],
        )
        self.baseline = _fit(chosen)
        self._learning = _Learning()

    def _with_air(self, z: dict[str, float | None], air_C: dict[str, float | None]) -> dict[str, float | None]:
        return z | {AIR: None if self.reference is None else air_C[self.reference]}


def _fit(learning: _Learning) -> _Baseline:
    """Robust ridge regression of the learning firings on burning hours and covariates; the level at the first firing.

    The fouling slope has a prior, so that a week of data cannot bend the clean level far: value and spread above. Each
    day has an effect of its own (a mixed model, Laird & Ware 1982): a hundred firings of a week are seven days still.
    """
    y = np.array(learning.net_K)
    hours = np.array(learning.hours) - learning.hours[0]
    spreads = COVARIATES | {AIR: AIR_K, START: START_K}
    names = [name for name in spreads if all(z.get(name) is not None for z in learning.z)]
    means = {name: statistics.fmean(float(z[name] or 0.0) for z in learning.z) for name in names}
    days = np.array(learning.t_ms) // DAY_MS
    of_day = [(days == day).astype(float) for day in np.unique(days)]
    mean_h = sum(day * float(hours[day > 0].mean()) for day in of_day)  # the course of a day is no fouling
    columns = [np.ones(len(y)), np.asarray(mean_h)]
    columns += [np.array([float(z[name] or 0.0) - means[name] for z in learning.z]) / spreads[name] for name in names]
    columns += list(of_day)
    x = np.stack(columns, axis=1)
    plain = slice(0, 2 + len(names))  # without the days
    by_day = len(of_day)
    prior_mean = np.array(
        [0.0, RISE_PER_HOUR, *(AIR_SLOPE * AIR_K if name == AIR else 0.0 for name in names), *[0.0] * by_day]
    )
    prior_sd = np.array(
        [
            1e4,
            RISE_PER_HOUR_SD,
            *(AIR_SLOPE_SD * AIR_K if name == AIR else RIDGE_K for name in names),
            *[DAY_SD_K] * by_day,
        ]
    )
    weight = np.ones(len(y))
    sd = max(2.0, MAD_TO_SD * float(np.median(np.abs(y - np.median(y)))))
    beta = prior_mean
    for _ in range(5):  # Huber weights
        a = (x * weight[:, None]).T @ x / sd**2 + np.diag(1 / prior_sd**2)
        beta = np.linalg.solve(a, (x * weight[:, None]).T @ y / sd**2 + prior_mean / prior_sd**2)
        off = np.abs(y - x @ beta)
        sd = max(1.0, MAD_TO_SD * float(np.median(off)))
        weight = np.minimum(1.0, 1.5 * sd / np.maximum(off, 1e-9))
    slopes = {name: float(beta[2 + i]) / spreads[name] for i, name in enumerate(names)}
    known = np.sqrt(np.diag(np.linalg.inv(a)))
    slope_sd = {name: float(known[2 + i]) / spreads[name] for i, name in enumerate(names)}
    left = np.abs(y - x[:, plain] @ beta[plain])  # with what the days add
    return _Baseline(float(beta[0]), max(sd, MAD_TO_SD * float(np.median(left))), slopes, means, slope_sd)
