"""Swap test: is a difference in the probe or in the channel?"""

from dataclasses import dataclass

from sootline.errors import UserError

BATH_DRIFT_LIMIT_K = 3.0


@dataclass(frozen=True, slots=True)
class Swap:
    """First probe less second probe, and first channel less second channel [K]."""

    probe_K: float
    channel_K: float


def swap_test(first_C: tuple[float, float], swapped_C: tuple[float, float]) -> Swap:
    """Two probes in one bath: (probe 1, probe 2) on their own channels, then on each other's, readings in Celsius.

    With d = probe 1 less probe 2, before and after: probes differ by (d1 + d2) / 2, channels by (d1 - d2) / 2, whatever
    the bath does in between. Raises UserError when the bath moved more than 3 K.
    """
    drift = (sum(swapped_C) - sum(first_C)) / 2
    if abs(drift) > BATH_DRIFT_LIMIT_K:
        raise UserError(f"The bath moved {drift:+.1f} K between the readings: repeat in a bigger, stirred bath.")
    d1, d2 = first_C[0] - first_C[1], swapped_C[0] - swapped_C[1]
    return Swap((d1 + d2) / 2, (d1 - d2) / 2)
