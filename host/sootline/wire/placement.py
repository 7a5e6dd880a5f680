"""Where packs without a clock belong in time.

A pack with relative times is placed at `uptime + offset`. The offset is the board's own clock once it was set in that
boot; until then it is the smallest (receipt - uptime) among that boot's packs within six hours either side: a pack
that was delayed cannot pull the others, for a delay only ever makes the difference larger.
"""

from bisect import bisect_left, insort
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

WINDOW_MS = 6 * 3600 * 1000


@dataclass(slots=True)
class BootClock:
    """What is known of one boot's clock. The same packs in any order, any number of times, give the same clock.

    received: (uptime_ms, receipt_ms) of packs with relative times, the earliest receipt of each uptime
    synced:   (uptime_ms, offset_ms) of packs whose board clock was set
    """

    received: list[tuple[int, int]] = field(default_factory=list)
    synced: list[tuple[int, int]] = field(default_factory=list)

    def saw_relative(self, uptime_ms: int, receipt_ms: int) -> None:
        i = bisect_left(self.received, (uptime_ms, -(2**62)))
        if i < len(self.received) and self.received[i][0] == uptime_ms:
            self.received[i] = (uptime_ms, min(receipt_ms, self.received[i][1]))
        else:
            self.received.insert(i, (uptime_ms, receipt_ms))

    def saw_absolute(self, uptime_ms: int, base_ms: int) -> None:
        """Remember the board's own clock; only its first reading is needed, for only earlier packs lack one."""
        insort(self.synced, (uptime_ms, base_ms - uptime_ms))
        del self.synced[1:]

    def place(self, uptime_ms: int) -> int:
        """Base time on the Unix clock [ms] of a relative pack of this boot."""
        if self.synced:
            return uptime_ms + self.synced[0][1]
        low = bisect_left(self.received, (uptime_ms - WINDOW_MS, -(2**62)))
        high = bisect_left(self.received, (uptime_ms + WINDOW_MS + 1, -(2**62)))
        return uptime_ms + min(receipt - uptime for uptime, receipt in self.received[low:high])

    def place_all(self, uptimes_ms: Sequence[int]) -> list[int]:
        """Base times [ms] of several relative packs of this boot, given in order of uptime."""
        if self.synced:
            return [uptime + self.synced[0][1] for uptime in uptimes_ms]
        i = bisect_left(self.received, (uptimes_ms[0] - WINDOW_MS, -(2**62))) if uptimes_ms else 0
        placed = []
        ahead: deque[tuple[int, int]] = deque()  # (uptime, offset) within reach, offsets rising: the first is smallest
        for uptime in uptimes_ms:
            while i < len(self.received) and self.received[i][0] <= uptime + WINDOW_MS:
                near, receipt = self.received[i]
                while ahead and ahead[-1][1] >= receipt - near:
                    ahead.pop()
                ahead.append((near, receipt - near))
                i += 1
            while ahead[0][0] < uptime - WINDOW_MS:
                ahead.popleft()
            placed.append(uptime + ahead[0][1])
        return placed
