"""`board-offline`: the only alarm judged by arrival, not by what was measured."""

from dataclasses import replace
from typing import Any

import numpy as np

from sootline.alarms import Alarm, Priority, iso
from sootline.analysis.catalogue import KINDS
from sootline.analysis.plant import Plant
from sootline.analysis.settings import Settings
from sootline.profile import Profile
from sootline.series import Times

ALARM = "board-offline"
INTERVALS = 5


def patience_ms(plant: Plant) -> int:
    """How long the board may be silent: at rest it speaks seldom, and a word or two may be lost."""
    sampling = plant.sampling
    return round(1000 * max(plant.settings.offline_s, INTERVALS * max(sampling.interval_s, sampling.idle_interval_s)))


class Offline:
    """Follows words from the board by the host's clock.

    Rule: no word for max(10 min, 5 x interval): medium; high after 2 h, or at once if a heater or the pump was on, or
    the room may freeze. Returns at the next word. Source: contract.
    """

    def __init__(self, profile: Profile, settings: Settings) -> None:
        self.profile = profile
        self.settings = settings
        self.last_ms: int | None = None
        self.alarms: list[Alarm] = []

    @property
    def silent(self) -> bool:
        return bool(self.alarms) and self.alarms[-1].cleared_ms is None

    def heard(self, at_ms: int, plant: Plant) -> None:
        """A word from the board at at_ms."""
        self.tick(at_ms, plant)
        if self.silent:
            self._put(state="returned", cleared_ms=at_ms)
        self.last_ms = at_ms if self.last_ms is None else max(at_ms, self.last_ms)

    def words(self, times: Times, plant: Plant) -> None:
        """Rows known at their own times: each is a word."""
        if self.last_ms is not None:
            times = times[times > self.last_ms]
        if not len(times):
            return
        before = int(times[0]) if self.last_ms is None else self.last_ms
        gaps = np.diff(times, prepend=before)
        for i in np.flatnonzero(gaps > patience_ms(plant)):
            self.last_ms = int(times[i - 1]) if i else before
            self.heard(int(times[i]), plant)
        self.last_ms = int(times[-1])

    def tick(self, now_ms: int, plant: Plant) -> None:
        """The host's clock stands at now_ms."""
        if self.last_ms is None:
            return
        due_ms = self.last_ms + patience_ms(plant)
        high_ms = self.last_ms + round(self.settings.offline_high_s * 1000)
        if now_ms <= due_ms:
            return
        if not self.silent:
            risky = self._risky(plant)
            priority: Priority = "high" if risky else "medium"
            self._raise(priority, due_ms, plant, risky)
        if now_ms > high_ms and self.alarms[-1].priority == "medium":
            self._put(priority="high", detail={**self.alarms[-1].detail, "escalated": iso(high_ms)})

    def _risky(self, plant: Plant) -> str | None:
        """What makes a silent board urgent, judged by its last word."""
        for channel in ("pump", "tank_heater", "nozzle_heater"):
            latest = plant.history.latest(channel)
            if latest is not None and latest[1] > 0.5:
                return f"{channel} was on"
        freeze, room = self.profile.room.freeze_C, plant.history.latest("room")
        if freeze is not None and room is not None and room[1] < freeze + 2.0:
            return "the room may freeze"
        return None

    def _raise(self, priority: Priority, at_ms: int, plant: Plant, risky: str | None) -> None:
        kind = KINDS[ALARM]
        detail: dict[str, Any] = {"act_within_min": kind.act_within_min, "patience_s": patience_ms(plant) / 1000}
        if risky:
            detail["because"] = risky
        self.alarms.append(
            Alarm(
                self.profile.furnace.id, ALARM, None, priority, "unacknowledged", at_ms, None, at_ms,
                kind.hazard, kind.first_step, detail,
            )
        )  # fmt: skip

    def _put(self, **changes: Any) -> None:
        self.alarms[-1] = replace(self.alarms[-1], **changes)
