"""What would have rung with other settings: run the past again and list what changes."""

import argparse
import difflib
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime

import msgspec

from sootline.alarms import Alarm, iso
from sootline.analysis.settings import Settings
from sootline.commands import _history
from sootline.commands._history import Past
from sootline.errors import UserError
from sootline.profile import Profile

NEAR_MS = 1_800_000  # raised this near to each other: the same alarm, found sooner or later


@dataclass(frozen=True, slots=True)
class Change:
    """was: as it rang, None where it is new; would: with the other settings, None where it would have been quiet"""

    was: Alarm | None
    would: Alarm | None

    @property
    def kind(self) -> str:
        return "more" if self.was is None else "less" if self.would is None else "other"

    @property
    def alarm(self) -> Alarm:
        found = self.would or self.was
        assert found is not None
        return found


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser("sootline whatif", description=__doc__)
    parser.add_argument(
        "--set", action="append", required=True, metavar="KEY=VALUE",
        help="a setting such as stuck_after_s=240, or a key of the profile such as stack.limit_C=350; may be repeated",
    )  # fmt: skip
    parser.add_argument(
        "--since", metavar="DATE", help="list alarms from then on; what came before is still learned from"
    )
    parser.add_argument("--furnace", metavar="ID", help="only this one")
    parser.add_argument("--json", action="store_true", help="one JSON object a change")
    _history.add_arguments(parser)
    options = parser.parse_args(argv)
    since_ms = _time_ms(options.since)
    settings, keys = _parse(options.set)
    with _history.opened(options, options.furnace) as pasts:
        found = {name: compare(past, settings, keys, since_ms) for name, past in pasts.items()}
    changes = [change for of_one, _ in found.values() for change in of_one]
    for change in changes:
        print(msgspec.json.encode(_as_json(change)).decode() if options.json else _in_words(change))
    if not options.json:
        print(_total(changes, sum(n for _, n in found.values())))
    return 0


def compare(past: Past, settings: Settings, keys: dict[str, float], since_ms: int) -> tuple[list[Change], int]:
    """(what changes, how many alarms rang as it was) for one furnace from a time on."""
    was = [a for a in past.alarms() if a.raised_ms >= since_ms]
    would = [a for a in past.alarms(with_keys(past.profile, keys), settings) if a.raised_ms >= since_ms]
    return pair(was, would), len(was)


def pair(was: Iterable[Alarm], would: Iterable[Alarm]) -> list[Change]:
    """What differs between two runs, in order of time. Alarms of a kind that overlap in time are the same one."""
    left = list(would)
    changes = []
    for alarm in was:
        same = next((other for other in left if _same(alarm, other)), None)
        if same is not None:
            left.remove(same)
        if same is None or _told(alarm) != _told(same):
            changes.append(Change(alarm, same))
    changes += [Change(None, alarm) for alarm in left]
    return sorted(changes, key=lambda change: (change.alarm.raised_ms, change.alarm.alarm, change.alarm.channel or ""))


def _same(a: Alarm, b: Alarm) -> bool:
    if (a.furnace, a.alarm, a.channel) != (b.furnace, b.alarm, b.channel):
        return False
    apart = abs(a.raised_ms - b.raised_ms) <= NEAR_MS
    return apart or (a.raised_ms <= _end_ms(b) and b.raised_ms <= _end_ms(a))


def _end_ms(alarm: Alarm) -> int:
    return 2**62 if alarm.cleared_ms is None else alarm.cleared_ms


def _told(alarm: Alarm) -> tuple[object, ...]:
    return alarm.raised_ms, alarm.priority, alarm.suppressed_by


def _parse(given: Sequence[str]) -> tuple[Settings, dict[str, float]]:
    """Settings with the new values, and keys of the profile with theirs."""
    known = {f.name for f in fields(Settings)}
    values: dict[str, float] = {}
    keys: dict[str, float] = {}
    for item in given:
        key, _, text = item.partition("=")
        try:
            value = float(text)
        except ValueError:
            raise UserError(f"'{item}': write it as KEY=VALUE with a number, such as stuck_after_s=240") from None
        if key not in known and "." not in key:
            near = difflib.get_close_matches(key, known, 1, 0.0)
            raise UserError(f"there is no setting '{key}'; the nearest is '{near[0]}'")
        (keys if "." in key else values)[key] = value
    return replace(Settings(), **values), keys


def with_keys(profile: Profile, keys: dict[str, float]) -> Profile:
    """The profile with other numbers, such as {"stack.limit_C": 350.0}. Raises UserError for a key that is none."""
    known = {
        f"{section.name}.{f.name}": f.metadata
        for section in fields(Profile)
        if section.name not in ("log", "service")
        for f in fields(getattr(profile, section.name))
        if "low" in f.metadata
    }
    for key, value in keys.items():
        if key not in known:
            near = difflib.get_close_matches(key, known, 1, 0.0)[0]
            raise UserError(f"the profile has no number '{key}'; the nearest is '{near}'")
        low, high = known[key]["low"], known[key]["high"]
        if not low <= value <= high:
            raise UserError(f"'{key}' is {value:g}; it must lie between {low:g} and {high:g}")
        section, _, name = key.partition(".")
        profile = replace(profile, **{section: replace(getattr(profile, section), **{name: value})})
    return profile


def _time_ms(text: str | None) -> int:
    if text is None:
        return 0
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise UserError(f"'{text}' is no time; write it like 2026-01-31 or 2026-01-31T06:00:00Z") from None
    since_ms = round((moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp() * 1000)
    if since_ms > time.time_ns() // 1_000_000:
        raise UserError(f"{text} is in the future; nothing has been stored from then on")
    return since_ms


def _as_json(change: Change) -> dict[str, object]:
    return {
        "change": change.kind,
        "was": change.was and change.was.record(),
        "would": change.would and change.would.record(),
    }


def _in_words(change: Change) -> str:
    alarm = change.alarm
    place = f"{alarm.alarm}/{alarm.channel}" if alarm.channel else alarm.alarm
    sign = {"more": "+", "less": "-", "other": "~"}[change.kind]
    line = f"{sign} {iso(alarm.raised_ms)}  {alarm.furnace}  {place}  {_rank(alarm)}"
    if change.was is None or change.would is None:
        return line + (": would have rung" if change.was is None else ": would have been quiet")
    told = []
    minutes = (change.would.raised_ms - change.was.raised_ms) / 60_000
    if minutes:
        told.append(f"{abs(minutes):.1f} min {'later' if minutes > 0 else 'sooner'}")
    if _rank(change.was) != _rank(change.would):
        told.append(f"was {_rank(change.was)}")
    return f"{line}: {', '.join(told)}"


def _rank(alarm: Alarm) -> str:
    return alarm.priority + (f" under {alarm.suppressed_by}" if alarm.suppressed_by else "")


def _total(changes: Sequence[Change], rang: int) -> str:
    more, less, other = (sum(c.kind == kind for c in changes) for kind in ("more", "less", "other"))
    return f"{rang} alarms as it was: {more} more, {less} fewer, {other} at another time or priority"
