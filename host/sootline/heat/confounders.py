"""What can look like ash and is not: blower, oil batch, moved probe, firing rate, return air. Each is tested by name.

The rise of the stack since clean is compared with what each cause would do. A test that lacks its channel says so.
"""

from dataclasses import dataclass
from math import hypot
from typing import Literal

import numpy as np

from sootline.heat.elementwise import FloatArray, check_range
from sootline.heat.exchanger import Furnace, stack_from_conductance

Cause = Literal["blower", "batch", "probe", "firing rate", "return air"]
Result = Literal["likely", "unlikely", "not tested"]


@dataclass(frozen=True)
class Level:
    """A mean and its standard error, in the unit of the quantity."""

    mean: float
    se: float


@dataclass(frozen=True)
class Spell:
    """Steady firings of one spell, before (clean) or after (now). None: the channel is missing.

    stack_C: gross stack [°C]; air_rise_K: supply minus return air [K]; rate_l_h: firing rate from refills [L/h];
    return_C: return air [°C]; lag_s: stack response time at start [s]; cold_offset_K: stack probe against the other
    temperatures after 6 h off [K].
    """

    stack_C: Level
    air_rise_K: Level | None = None
    rate_l_h: Level | None = None
    return_C: Level | None = None
    lag_s: Level | None = None
    cold_offset_K: Level | None = None


@dataclass(frozen=True)
class Finding:
    """One cause: the verdict, the rise it explains [K] (None: cannot be put in kelvin), and the evidence in words."""

    cause: Cause
    result: Result
    explains_K: float | None
    evidence: str


def _change(before: Level, after: Level) -> tuple[float, float]:
    """Change of the mean and how many standard errors it is."""
    change = after.mean - before.mean
    return change, change / max(hypot(before.se, after.se), 1e-9)


def blower(before: Spell, after: Spell) -> Finding:
    """Less warm air: supply minus return is up by over 10 % and 3 standard errors, beyond what the firing rate does.

    Ash takes heat from the air, so its rise falls a little; a slow belt, blocked filter or shut register lifts it.
    Source: heat balance of the air side, Q = m cp dT; the 10 % is common practice.
    """
    if before.air_rise_K is None or after.air_rise_K is None:
        return Finding("blower", "not tested", None, "needs supply and return air")
    change, errors = _change(before.air_rise_K, after.air_rise_K)
    expected = 1.0
    if before.rate_l_h is not None and after.rate_l_h is not None:
        expected = after.rate_l_h.mean / before.rate_l_h.mean
    share = after.air_rise_K.mean / before.air_rise_K.mean / expected - 1.0
    if share > 0.10 and errors > 3.0:
        return Finding("blower", "likely", None, f"air warms {share:.0%} more than the firing rate explains")
    text = f"air rise changed {change:+.1f} K, {share:+.0%} against the firing rate"
    return Finding("blower", "unlikely", None, text)


def stack_per_firing_rate(furnace: Furnace, u_W_m2K: float, air_C: float) -> float:
    """Stack rise [K] per 1 % more fuel at unchanged excess air, from the exchanger.

    More gas lowers NTU = U A/C; the gas-side coefficient grows with flow^0.6. Central difference over +-1 %.
    Raises: OutOfRange
    Source: effectiveness-NTU; exponent 0.6 for flow across tubes (0.8 inside tubes), textbook values from memory.
    """

    def stack(scale: float) -> float:
        scaled = Furnace(furnace.gas_W_K * scale, furnace.air_W_K, furnace.area_m2, furnace.gas_in_C)
        return float(stack_from_conductance(scaled, u_W_m2K * float(np.power(scale, 0.6)), air_C))

    return (stack(1.01) - stack(0.99)) / 2.0


def firing_rate(before: Spell, after: Spell, K_per_percent: float = 1.5) -> Finding:
    """More oil: the rate from refills is up by more than 3 % and 3 standard errors.

    K_per_percent: stack rise per 1 % of rate [K], 1.5 K when unknown (see `stack_per_firing_rate`).
    Raises: OutOfRange
    Source: effectiveness-NTU; refill count x differential, never pump seconds.
    """
    check_range("stack per firing rate", K_per_percent, 0.0, 10.0, "K/%")
    if before.rate_l_h is None or after.rate_l_h is None:
        return Finding("firing rate", "not tested", None, "needs the float differential and refills")
    change, errors = _change(before.rate_l_h, after.rate_l_h)
    percent = 100.0 * change / before.rate_l_h.mean
    explained = percent * K_per_percent
    likely = percent > 3.0 and errors > 3.0
    text = f"firing rate {percent:+.1f} % ({errors:+.1f} standard errors)"
    return Finding("firing rate", "likely" if likely else "unlikely", explained, text)


def return_air(before: Spell, after: Spell) -> Finding:
    """Warmer air in: the gross stack follows the return air about kelvin for kelvin; a net stack does not.

    Likely when the return air alone explains half of the gross rise or more, and is up by 3 standard errors.
    Source: effectiveness-NTU: dT_stack/dT_air = eps, about 0.8, taken as 1 to be safe.
    """
    if before.return_C is None or after.return_C is None:
        return Finding("return air", "not tested", None, "needs return air")
    change, errors = _change(before.return_C, after.return_C)
    rise = after.stack_C.mean - before.stack_C.mean
    likely = errors > 3.0 and rise > 0.0 and change >= 0.5 * rise
    text = f"return air {change:+.1f} K against a gross stack rise of {rise:+.1f} K"
    return Finding("return air", "likely" if likely else "unlikely", change, text)


def probe(before: Spell, after: Spell) -> Finding:
    """Probe moved or sooted over: its response time changes by 30 %, or it disagrees cold by over 2 K more than before.

    Source: first-order sensor response; 2 K agreement after 6 h off and 30 % are common practice.
    """
    seen: list[str] = []
    steady: list[str] = []
    if before.lag_s is not None and after.lag_s is not None:
        change, errors = _change(before.lag_s, after.lag_s)
        share = change / before.lag_s.mean
        moved = abs(share) > 0.30 and abs(errors) > 3.0
        (seen if moved else steady).append(f"response time {share:+.0%}")
    if before.cold_offset_K is not None and after.cold_offset_K is not None:
        change, errors = _change(before.cold_offset_K, after.cold_offset_K)
        moved = abs(change) > 2.0 and abs(errors) > 3.0
        (seen if moved else steady).append(f"cold reading shifted {change:+.1f} K")
    if not seen and not steady:
        return Finding("probe", "not tested", None, "needs starts from cold, or 6 h off")
    return Finding("probe", "likely" if seen else "unlikely", None, ", ".join(seen or steady))


def batch(rise_K: FloatArray, batch_change: int | None, residual_sd_K: float) -> Finding:
    """A step at a batch change: medians of 5 firings before and after differ by over max(15 K, 4 residual sd).

    rise_K: normalised rise of successive firings [K]; batch_change: index of the first firing on the new oil, or None
    when no batch changed since clean.
    Raises: OutOfRange
    Source: comparison of medians; limits as for a stack step.
    """
    check_range("residual scatter", residual_sd_K, 0.0, 100.0, "K")
    if batch_change is None:
        return Finding("batch", "unlikely", 0.0, "no oil batch changed")
    if batch_change < 5 or rise_K.size - batch_change < 5:
        return Finding("batch", "not tested", None, "needs 5 firings before and after the new batch")
    before = float(np.nanmedian(rise_K[batch_change - 5 : batch_change]))
    after = float(np.nanmedian(rise_K[batch_change : batch_change + 5]))
    step = after - before
    likely = abs(step) > max(15.0, 4.0 * residual_sd_K)
    return Finding("batch", "likely" if likely else "unlikely", step, f"step of {step:+.1f} K at the new batch")


def explain(
    before: Spell,
    after: Spell,
    rise_K: FloatArray,
    batch_change: int | None,
    residual_sd_K: float,
    K_per_percent: float = 1.5,
) -> list[Finding]:
    """All five causes, the likely ones first, the most kelvin explained first among them.

    Raises: OutOfRange
    Source: the five tests of this module.
    """
    findings = [
        blower(before, after),
        batch(rise_K, batch_change, residual_sd_K),
        probe(before, after),
        firing_rate(before, after, K_per_percent),
        return_air(before, after),
    ]
    order = {"likely": 0, "not tested": 1, "unlikely": 2}
    return sorted(findings, key=lambda f: (order[f.result], -abs(f.explains_K or 0.0)))
