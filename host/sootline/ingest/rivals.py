"""Two boards under one furnace's name: which of them is believed.

A board that boots anew draws a new boot id, and packs of its earlier boot may still come late. Only when an earlier
boot goes on living, its uptime keeping step with the clock at moments after the later one's start, are there two.
Then the one that was there first is believed, and the newcomer's packs are set aside until the first has been silent
for long.
"""

from dataclasses import dataclass

STEP_MS = 30_000  # an uptime must keep step with the clock at least this long ...
SLACK_MS = 5_000  # ... and this well
SILENCE_MS = 600_000  # after this the newcomer takes the place of the first


@dataclass(slots=True)
class _Earlier:
    """A boot that was followed by another: where its uptime stood when it was heard again."""

    received_ms: int
    uptime_ms: int


class Rivals:
    """The boots heard under one furnace's name, by receipt."""

    def __init__(self, believed: str | None = None) -> None:
        self.believed = believed
        self._started_ms = -(2**62)
        self._heard_ms = -(2**62)
        self._earlier: dict[str, _Earlier | None] = {}
        self._set_aside: set[str] = set()

    def admits(self, boot: str, uptime_ms: int, base_ms: int, received_ms: int) -> bool:
        """Whether a pack of this boot is to be believed; base_ms is where it stands on the Unix clock."""
        if boot == self.believed or self.believed is None:
            self._believe(boot, uptime_ms, base_ms, received_ms)
            return True
        if boot in self._set_aside:
            if received_ms - self._heard_ms <= SILENCE_MS:
                return False
            self._set_aside.clear()
        elif boot in self._earlier:
            if self._lives_on(boot, uptime_ms, base_ms, received_ms):
                self._set_aside.add(self.believed)
                self._believe(boot, uptime_ms, base_ms, received_ms)
            return True
        self._earlier[self.believed] = None
        self._believe(boot, uptime_ms, base_ms, received_ms)
        return True

    def _believe(self, boot: str, uptime_ms: int, base_ms: int, received_ms: int) -> None:
        self._earlier.pop(boot, None)
        self.believed = boot
        self._started_ms = base_ms - uptime_ms
        self._heard_ms = max(received_ms, self._heard_ms)

    def _lives_on(self, boot: str, uptime_ms: int, base_ms: int, received_ms: int) -> bool:
        before = self._earlier[boot]
        if before is not None:
            passed_ms = received_ms - before.received_ms
            in_step = abs(passed_ms - (uptime_ms - before.uptime_ms)) <= SLACK_MS
            if in_step and passed_ms >= STEP_MS and base_ms > self._started_ms + STEP_MS:
                return True
            if in_step:
                return False
        self._earlier[boot] = _Earlier(received_ms, uptime_ms)
        return False
