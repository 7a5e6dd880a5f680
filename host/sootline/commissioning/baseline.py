"""The clean baseline: net stack temperature of steady firings after cleaning."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from sootline.errors import UserError

LEAST_FIRINGS = 5
LEAST_FIRING_MIN = 20.0
REPEATABILITY_K = 3.0  # converter and cold junction
MAD_TO_SD = 1.4826  # for normal data


@dataclass(frozen=True, slots=True)
class Baseline:
    """Median net stack temperature [K], its robust standard deviation [K], and the least band an alarm may use [K]."""

    net_K: float
    spread_K: float
    least_band_K: float


def baseline(net_K: Sequence[float], firing_min: Sequence[float]) -> Baseline:
    """From the net stack temperature at minute 15 to 20 of each firing. Raises UserError under five long firings."""
    if len(net_K) != len(firing_min):
        raise UserError("Note a length for each firing.")
    long = [net for net, minutes in zip(net_K, firing_min, strict=True) if minutes >= LEAST_FIRING_MIN]
    if len(long) < LEAST_FIRINGS:
        raise UserError(f"{len(long)} firings of {LEAST_FIRING_MIN:g} min or more: the baseline needs {LEAST_FIRINGS}.")
    centre = median(long)
    spread = MAD_TO_SD * median(abs(net - centre) for net in long)
    return Baseline(centre, spread, max(2 * spread, REPEATABILITY_K))


def band_suffices(band_K: float, clean: Baseline) -> bool:
    """False means: insufficient baseline, the alarm would follow the scatter."""
    return band_K >= clean.least_band_K
