"""The ash a batch brings, what stays in the exchanger, and how full the budget is."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sootline.heat.elementwise import FloatArray, check_positive, check_range

WeighedAsh = Literal["agrees", "more", "less"]
RETAINED_SHARE = 0.10  # until learned
RETAINED_SPREAD = 2.0  # one-sigma factor of the unlearned share


@dataclass(frozen=True)
class BurnedBatch:
    """Oil burned from one batch since the last cleaning: litres at 15 °C, density [kg/m³], ash [% by mass]."""

    volume_l: float
    density15_kg_m3: float
    ash_percent: float


@dataclass(frozen=True)
class AshBudget:
    """Ash [kg] brought in, kept in the exchanger (10 %, 50 %, 90 % points) and the share of the budget used [-]."""

    brought_kg: float
    kept_low_kg: float
    kept_kg: float
    kept_high_kg: float
    used: float | None


def ash_brought(batch: BurnedBatch) -> float:
    """Ash [kg] in the oil burned from one batch.

    m = V rho x / 100. Each 0.1 % in 1000 US gal of 0.895 kg/L oil is 3.4 kg (7.4 lb).
    Valid: ash 0 to 10 % by mass.
    Raises: OutOfRange
    Source: definition of ash content (ASTM D482 or sulfated ash D874 as tested).
    """
    check_range("volume burned", batch.volume_l, 0.0, 1e6, "L")
    check_range("density at 15 °C", batch.density15_kg_m3, 700.0, 1100.0, "kg/m³")
    check_range("ash", batch.ash_percent, 0.0, 10.0, "% by mass")
    return batch.volume_l / 1000.0 * batch.density15_kg_m3 * batch.ash_percent / 100.0


def retained_share(brought_kg: Sequence[float], weighed_kg: Sequence[float]) -> tuple[float, float]:
    """Share of the ash that stays in the exchanger [-] and its one-sigma factor [-], learned from weighed cleanings.

    Log-normal updating of a prior 0.10 x/ 2 with one observation ln(weighed/brought) a cleaning, scatter x/ 1.5.
    Valid: weighings of the dry deposit, same exchanger.
    Raises: OutOfRange
    Source: emission factor 66 A lb/1000 gal (AP-42 section 1.11, atomising burner, as quoted in a state template)
    implies that about 90 % leaves; the spreads are assumed, common practice.
    """
    precision = 1.0 / np.log(RETAINED_SPREAD) ** 2
    weighted = precision * np.log(RETAINED_SHARE)
    for brought, weighed in zip(brought_kg, weighed_kg, strict=True):
        check_positive("ash brought", brought, "kg")
        check_positive("ash weighed", weighed, "kg")
        weighted += np.log(weighed / brought) / np.log(1.5) ** 2
        precision += 1.0 / np.log(1.5) ** 2
    return float(np.exp(weighted / precision)), float(np.exp(1.0 / np.sqrt(precision)))


def ash_budget(
    batches: Sequence[BurnedBatch], share: float, share_factor: float, full_kg: float | None = None
) -> AshBudget:
    """Ash brought and kept since the last cleaning [kg], against the amount at which the owner cleans.

    kept = share x brought, with 80 % limits share x/ factor^1.2816.
    Raises: OutOfRange
    Source: sum of `ash_brought`; share from `retained_share`.
    """
    check_range("retained share", share, 0.0, 1.0, "")
    check_range("share factor", share_factor, 1.0, 10.0, "")
    brought = sum(ash_brought(b) for b in batches)
    kept = share * brought
    spread = share_factor**1.2816
    used = None if full_kg is None else kept / full_kg
    return AshBudget(brought, kept / spread, kept, min(kept * spread, brought), used)


def hours_to_full(
    full_kg: float,
    kept_kg: float,
    oil_rate_l_per_h: float,
    batch: BurnedBatch,
    share: float,
    share_factor: float,
    draws: FloatArray,
) -> FloatArray:
    """Burning hours until the ash budget is full [h], one for each standard normal draw [-] of the retained share.

    h = (full/f - kept)/(rate rho x share), f = factor^draw scaling what is kept; 0 when it is full already.
    Raises: OutOfRange
    Source: ash balance with the burned batch continuing.
    """
    check_positive("full budget", full_kg, "kg")
    check_positive("oil rate", oil_rate_l_per_h, "L/h")
    per_l = ash_brought(BurnedBatch(1.0, batch.density15_kg_m3, batch.ash_percent))
    check_positive("ash of the burned batch", per_l, "kg/L")
    factor = share_factor**draws
    hours: FloatArray = np.maximum(0.0, (full_kg / factor - kept_kg) / (per_l * share * oil_rate_l_per_h))
    return hours


def weighed_verdict(weighed_kg: float, expected_kg: float) -> WeighedAsh:
    """Comparison of weighed with expected ash [kg]: "agrees" within a factor 2, else "more" or "less".

    Raises: OutOfRange
    Source: factor 2 is the project's stated acceptance for a weighed deposit.
    """
    check_positive("ash expected", expected_kg, "kg")
    check_range("ash weighed", weighed_kg, 0.0, 1000.0, "kg")
    if weighed_kg > 2.0 * expected_kg:
        return "more"
    return "less" if weighed_kg < 0.5 * expected_kg else "agrees"
