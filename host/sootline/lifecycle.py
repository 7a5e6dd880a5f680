"""An alarm as people meet it: the record of the analysis together with what they did about it.

States as in ISA-18.2 / IEC 62682: unacknowledged, acknowledged, returned (gone), shelved, suppressed. A latched alarm,
one that returns when it is gone *and* acknowledged, stays in sight until a person has seen it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from sootline.alarms import PRIORITIES, Acknowledgement, Alarm, Shelf
from sootline.analysis.catalogue import KINDS
from sootline.analysis.watch import Key
from sootline.now import InService
from sootline.profile import ServiceMode

RETURNED_SHOWN_MS = 24 * 3_600_000  # a returned alarm nobody acknowledged stays in sight this long


def merge(
    alarm: Alarm, acknowledged: Acknowledgement | None = None, shelved: Shelf | None = None, now_ms: int = 0
) -> Alarm:
    """The record with people's acts.

    A rise in priority after them undoes them: it asks anew, and leaves the shelf. It also leaves the shelf when its
    number has grown by a fifth.
    """
    if shelved is not None and shelved.until_ms <= now_ms:
        shelved = None
    escalated_ms, worsened_ms = _detail_ms(alarm, "escalated"), _detail_ms(alarm, "worsened")
    if acknowledged is not None and escalated_ms is not None and escalated_ms > acknowledged.at_ms:
        acknowledged = None
    if shelved is not None and max(escalated_ms or 0, worsened_ms or 0) > shelved.at_ms:
        shelved = None
    state = alarm.state
    if alarm.cleared_ms is None and state != "suppressed":
        state = "shelved" if shelved else "acknowledged" if acknowledged else "unacknowledged"
    return replace(alarm, state=state, acknowledged=acknowledged, shelved=shelved)


def stands(alarm: Alarm) -> bool:
    """Whether a merged record still stands: its condition does, or it is latched and nobody has seen it."""
    latched = KINDS[alarm.alarm].latched and alarm.state != "suppressed"
    return alarm.cleared_ms is None or (latched and alarm.acknowledged is None)


def in_sight(alarm: Alarm, now_ms: int) -> bool:
    """Whether a merged record belongs on the list of present alarms."""
    if stands(alarm):
        return True
    if alarm.acknowledged is not None or alarm.state == "suppressed" or alarm.cleared_ms is None:
        return False
    return now_ms - alarm.cleared_ms < RETURNED_SHOWN_MS


def in_service(mode: ServiceMode | None, now_ms: int) -> InService | None:
    """Who works on a furnace now, the board's silence notwithstanding."""
    if mode is None or mode.until_ms <= now_ms:
        return None
    return InService(mode.by, mode.reason, mode.at_ms, mode.until_ms)


@dataclass(slots=True)
class AlarmList:
    """All alarms of all furnaces as the analysis has them, and people's acts.

    merged: the records as people meet them; every method keeps them up to date
    """

    acknowledged: dict[Key, Acknowledgement] = field(default_factory=dict)
    shelved: dict[Key, Shelf] = field(default_factory=dict)
    merged: dict[Key, Alarm] = field(default_factory=dict)
    _found: dict[Key, Alarm] = field(default_factory=dict)

    def update(self, found: Mapping[Key, Alarm], removed: Iterable[Key], now_ms: int) -> list[Alarm]:
        """Take in what the analysis has changed; the merged records that changed."""
        for key in removed:
            self._found.pop(key, None)
            self.merged.pop(key, None)
        self._found.update(found)
        return self._merge(found, now_ms)

    def acknowledge(self, key: Key, by: str, now_ms: int) -> list[Alarm]:
        """Somebody has the alarm; nothing for one there is no more, or that somebody has already."""
        if key not in self._found or self.merged[key].acknowledged is not None:
            return []
        self.acknowledged[key] = Acknowledgement(by, now_ms)
        return self._merge([key], now_ms)

    def shelve(self, key: Key, shelf: Shelf, now_ms: int) -> list[Alarm]:
        """Somebody wants to hear no more of it for a while."""
        if key not in self._found:
            return []
        self.shelved[key] = shelf
        return self._merge([key], now_ms)

    def unshelve(self, now_ms: int) -> list[Alarm]:
        """What has lain on the shelf long enough comes off it."""
        due = [key for key, shelf in self.shelved.items() if shelf.until_ms <= now_ms]
        for key in due:
            del self.shelved[key]
        return self._merge([key for key in due if key in self._found], now_ms)

    def in_sight(self, furnace: str, now_ms: int) -> tuple[Alarm, ...]:
        """Present alarms of a furnace, the most pressing first."""
        present = [alarm for alarm in self.merged.values() if alarm.furnace == furnace and in_sight(alarm, now_ms)]
        return tuple(sorted(present, key=_pressing))

    def standing(self) -> dict[tuple[str, str, str | None], Alarm]:
        """What stands, by furnace, alarm and channel: the newest of each."""
        alarms = sorted((alarm for alarm in self.merged.values() if stands(alarm)), key=lambda alarm: alarm.raised_ms)
        return {(alarm.furnace, alarm.alarm, alarm.channel): alarm for alarm in alarms}

    def _merge(self, keys: Iterable[Key], now_ms: int) -> list[Alarm]:
        changed = []
        for key in keys:
            alarm = merge(self._found[key], self.acknowledged.get(key), self.shelved.get(key), now_ms)
            if self.merged.get(key) != alarm:
                self.merged[key] = alarm
                changed.append(alarm)
        return changed


def _pressing(alarm: Alarm) -> tuple[bool, int, int]:
    return (not stands(alarm), -PRIORITIES.index(alarm.priority), -alarm.raised_ms)


def _detail_ms(alarm: Alarm, key: str) -> int | None:
    text = alarm.detail.get(key)
    return round(datetime.fromisoformat(text).timestamp() * 1000) if isinstance(text, str) else None
