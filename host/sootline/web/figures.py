"""How well the alarms themselves behave: how many, how often at once, how long until somebody had them.

The limits are those of alarm management in process plants (ANSI/ISA-18.2-2016 table 7 and IEC 62682, from memory), for
one person who watches all day; an owner who has other work wants far less, so his own limit stands beside them.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from sootline import units, wording
from sootline.alarms import PRIORITIES, Alarm

DAY_MS = 86_400_000
TEN_MINUTES_MS = 600_000
OWNER_A_WEEK = 2
FLOOD = 10
CHATTER = 3
STALE_MS = DAY_MS


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure with its limit; good is None where there is too little to judge."""

    name: str
    value: str
    limit: str
    good: bool | None
    meaning: str


@dataclass(frozen=True, slots=True)
class Share:
    """Alarms of one priority: how many, which part, and the part that is usual."""

    name: str
    look: str
    count: int
    percent: int
    usual: str


@dataclass(frozen=True, slots=True)
class Figures:
    figures: tuple[Figure, ...]
    shares: tuple[Share, ...]
    most: tuple[tuple[str, int], ...]
    count: int


def figures(alarms: Iterable[Alarm], start_ms: int, end_ms: int) -> Figures:
    """Figures of the alarms raised in [start_ms, end_ms). Suppressed ones called for nobody and are counted apart."""
    within = [alarm for alarm in alarms if start_ms <= alarm.raised_ms < end_ms]
    called = [alarm for alarm in within if alarm.state != "suppressed"]
    made = (
        *_rates(called, start_ms, end_ms),
        _chatter(called),
        _stale(called, end_ms),
        _answered(called),
        Figure("Kept quiet as a consequence", str(len(within) - len(called)), "", None, "Stood under their cause."),
    )
    most = Counter(wording.alarm_title(alarm.alarm) for alarm in called).most_common(5)
    return Figures(made, _shares(called), tuple(most), len(called))


def _rates(called: Sequence[Alarm], start_ms: int, end_ms: int) -> Iterable[Figure]:
    days = (end_ms - start_ms) / DAY_MS
    a_week = 7 * len(called) / days if days else 0.0
    meaning = "What called for somebody. A plant allows its watchman about 1,000."
    yield Figure("Alarms a week", f"{a_week:.1f}", f"{OWNER_A_WEEK}", a_week <= OWNER_A_WEEK, meaning)
    windows = Counter((alarm.raised_ms - start_ms) // TEN_MINUTES_MS for alarm in called)
    peak = max(windows.values(), default=0)
    yield Figure("Most in ten minutes", str(peak), "10", peak <= FLOOD, "More than that, and nobody can follow.")
    floods = sum(1 for n in windows.values() if n > FLOOD)
    share = floods * TEN_MINUTES_MS / (end_ms - start_ms) if days else 0.0
    yield Figure("Time in a flood", f"{share:.1%}", "under 1%", share < 0.01, "Ten minutes with more than ten alarms.")


def _chatter(called: Sequence[Alarm]) -> Figure:
    again = Counter[tuple[str, str, str | None]]()
    for alarm in called:
        repeats = alarm.detail.get("repeats")
        if isinstance(repeats, int) and repeats + 1 >= CHATTER:
            again[(alarm.furnace, alarm.alarm, alarm.channel)] += 1
    return Figure("Chattering alarms", str(len(again)), "0", not again, "Came three times or more within half an hour.")


def _stale(called: Sequence[Alarm], end_ms: int) -> Figure:
    stale = sum(1 for a in called if a.cleared_ms is None and end_ms - a.raised_ms > STALE_MS)
    return Figure("Standing for over a day", str(stale), "under 5", stale < 5, "Either mend it, or it is no alarm.")


def _answered(called: Sequence[Alarm]) -> Figure:
    waits = [(a.acknowledged.at_ms - a.raised_ms) / 1000 for a in called if a.acknowledged is not None]
    value = units.duration(median(waits)) if waits else "–"
    return Figure("Until somebody had it", value, "", None, f"Middle of {len(waits)} that were answered.")


_USUAL = {
    "critical": "with high: about 5%",
    "high": "with critical: about 5%",
    "medium": "about 15%",
    "low": "about 80%",
}


def _shares(called: Sequence[Alarm]) -> tuple[Share, ...]:
    counts = Counter(alarm.priority for alarm in called)
    total = len(called) or 1
    return tuple(
        Share(
            wording.PRIORITY_WORDS[priority].word,
            wording.PRIORITY_WORDS[priority].look,
            counts[priority],
            round(100 * counts[priority] / total),
            _USUAL[priority],
        )
        for priority in reversed(PRIORITIES)
    )
