"""When the room of a furnace freezes if nobody comes: what decides whether a fault may wake somebody."""

import math
from dataclasses import dataclass
from datetime import datetime

from sootline.alarms import Alarm

COOLING_H = 10.0  # time constant of a light workshop left without heat; common practice: 5 to 30 h
FREEZE_C = 3.0  # where the profile gives no limit of its own


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is known of the cold at one furnace now.

    room_C, outdoor_C: None without a fresh reading; freeze_C: the owner's limit of the room
    freeze_at_ms:      when the room reaches it at the rate of the last hour, None when it does not fall
    """

    room_C: float | None = None
    outdoor_C: float | None = None
    freeze_C: float = FREEZE_C
    freeze_at_ms: int | None = None


def freezes_at_ms(alarm: Alarm, outlook: Outlook, now_ms: int) -> int | None:
    """The earliest of what is measured and what must be feared; None when it does not freeze.

    Feared: Newton's law of cooling, T = T_out + (T_room - T_out) exp(-t / COOLING_H), from when the fire is out.
    Without `room` it freezes now when it is below 0 °C outdoors; without both, nobody can say that it does not.
    """
    known = [moment for moment in (outlook.freeze_at_ms, _moment_ms(alarm.detail.get("freeze_at"))) if moment]
    feared = _feared_ms(outlook, _fire_out_ms(alarm, now_ms), now_ms)
    return min((*known, *(() if feared is None else (feared,))), default=None)


def _feared_ms(outlook: Outlook, from_ms: int, now_ms: int) -> int | None:
    room, outdoor, limit = outlook.room_C, outlook.outdoor_C, outlook.freeze_C
    if room is None:
        return now_ms if outdoor is None or outdoor < 0 else None
    if room <= limit:
        return now_ms
    if outdoor is None or outdoor >= limit:
        return None
    return from_ms + round(COOLING_H * 3_600_000 * math.log((room - outdoor) / (limit - outdoor)))


def _fire_out_ms(alarm: Alarm, now_ms: int) -> int:
    left = alarm.detail.get("fire_left_min")
    return max(now_ms, alarm.raised_ms + round(left * 60_000)) if isinstance(left, int | float) else now_ms


def _moment_ms(text: object) -> int | None:
    return round(datetime.fromisoformat(text).timestamp() * 1000) if isinstance(text, str) else None
