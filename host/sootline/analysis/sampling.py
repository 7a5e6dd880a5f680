"""How often a board reports, and from that how long a silent reading still counts."""

from dataclasses import dataclass

GAP_FACTOR = 3.0  # the contract: unknown across a gap longer than 3 x the interval then in force


@dataclass(frozen=True, slots=True)
class Sampling:
    """interval_s while anything is on or moves, idle_interval_s otherwise [s]."""

    interval_s: float = 5.0
    idle_interval_s: float = 60.0

    @property
    def active_gap_ms(self) -> int:
        return round(GAP_FACTOR * self.interval_s * 1000)

    @property
    def idle_gap_ms(self) -> int:
        return round(GAP_FACTOR * max(self.interval_s, self.idle_interval_s) * 1000)
