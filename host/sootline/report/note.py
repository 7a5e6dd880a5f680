"""The weekly note: a week of one furnace in a few short lines, in the owner's units."""

from collections.abc import Iterator

from sootline import units, wording
from sootline.report.season import Season
from sootline.units import System


def weekly_note(week: Season, system: System = "si", before: Season | None = None) -> tuple[str, ...]:
    """Lines of at most 160 characters; `before`: the week before it, to compare with.

    What was not measured is left out, and nothing is said to be safe.
    """
    return tuple(_lines(week, system, before))


def _lines(week: Season, system: System, before: Season | None) -> Iterator[str]:
    if not week.starts:
        yield f"{wording.furnace_name(week.furnace)}: not lit this week."
    else:
        starts = "1 start" if week.starts == 1 else f"{week.starts} starts"
        yield f"{wording.furnace_name(week.furnace)}: {week.hours:.0f} h of fire, {starts}{_oil(week, system, before)}."
    if week.rise_K is not None:
        rise, sd = (units.shown(value, "difference", system) for value in week.rise_K)
        yield f"Stack {rise.text} ± {sd} over its clean level, weather taken out."
    called = week.calls
    if called.total:
        night = f", {called.at_night} of them at night" if called.at_night else ""
        yield f"{called.total} alarm{'s' if called.total > 1 else ''}{night}; most often: {_most(called.most[0])}."
    else:
        yield f"No alarm. {wording.NOTHING_WRONG}."
    if called.standing:
        names = dict.fromkeys(wording.alarm_title(alarm.alarm).lower() for alarm in called.standing)
        yield f"Still standing: {', '.join(list(names)[:3])}{' and more' if len(names) > 3 else ''}."
    done = [wording.LOG_WORDS[kind].lower() for kind in dict.fromkeys(entry.kind for entry in week.log)]
    if done:
        yield f"Done: {', '.join(done[:4])}{' and more' if len(done) > 4 else ''}."


def _oil(week: Season, system: System, before: Season | None) -> str:
    if week.oil is None or not week.refills:
        return ""
    text = f", {units.show(week.oil.litres, 'volume', system)} of oil"
    if before is None or before.oil is None or before.oil.litres <= 0:
        return text
    return f"{text} ({units.show(before.oil.litres, 'volume', system)} the week before)"


def _most(most: tuple[str, int]) -> str:
    alarm, count = most
    title = wording.alarm_title(alarm).lower()
    return title if count == 1 else f"{title} ({count} times)"
