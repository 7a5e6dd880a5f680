"""Why an alarm was raised: its numbers, what was usual for the furnace, likely causes, the rule and its settings."""

import argparse
import inspect
import re
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields

from sootline import wording
from sootline.alarms import Alarm, iso
from sootline.analysis import offline
from sootline.analysis.catalogue import KINDS
from sootline.analysis.detect import DETECTORS
from sootline.analysis.engine import Engine
from sootline.analysis.sampling import Sampling
from sootline.analysis.settings import Settings
from sootline.analysis.usual import Usual
from sootline.channels import CHANNELS
from sootline.commands import _history
from sootline.commands._history import Past
from sootline.errors import UserError
from sootline.series import Rows
from sootline.units import System

NOT_NUMBERS = ("causes", "blind_to")
AFTER_MS = 1000  # the raise itself lies a moment after the time it is dated to
WIDTH = 100
FOLLOWERS = {
    "fire": "sootline.analysis.follow.fire",
    "heating": "sootline.analysis.follow.heating",
    "refills": "sootline.analysis.follow.refill",
    "stack": "sootline.analysis.follow.steady",
}  # what a rule may ask of the engine, and where it is worked out


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser("sootline explain", description=__doc__)
    parser.add_argument("furnace", metavar="FURNACE")
    parser.add_argument("alarm", metavar="ALARM", help="such as refill-timeout, or preheat-slow/nozzle")
    parser.add_argument("--raised", metavar="TIME", help="the one raised then (its beginning will do); else the last")
    parser.add_argument("--units", choices=("si", "us"), default="si")
    _history.add_arguments(parser)
    options = parser.parse_args(argv)
    name, _, channel = options.alarm.partition("/")
    if name not in KINDS:
        raise UserError(f"there is no alarm '{name}'; there are {', '.join(KINDS)}")
    if channel and channel not in CHANNELS:
        raise UserError(f"there is no channel '{channel}'")
    with _history.opened(options, options.furnace) as pasts:
        past = pasts[options.furnace]
        alarm = _find(past, name, channel, options.raised)
        lines = explain(past, name, alarm, options.units)
    print("\n".join(lines))
    return 0


def explain(past: Past, name: str, alarm: Alarm | None, units: System = "si") -> list[str]:
    """The explanation as lines of text; without an alarm, only the rule and what is usual."""
    lines = list(_heading(past, name, alarm))
    if alarm is not None:
        lines += _section("numbers", _numbers(alarm, units))
        lines += _section("likely causes", _causes(alarm))
        lines += _section("cannot be watched meanwhile", [", ".join(alarm.detail.get("blind_to") or ())])
    engine = _engine(past, None if alarm is None else alarm.raised_ms)
    lines += _section("usual for this furnace" + ("" if alarm is None else " until then"), usual(engine))
    lines += _section("rule", _rule(name))
    own, others = _settings(name)
    lines += _section("settings of the rule", own)
    lines += _section("settings of what it looks at", others)
    return lines


def _find(past: Past, name: str, channel: str, raised: str | None) -> Alarm | None:
    """The last alarm of that name in the past, or the one raised at a time; None when it never rang."""
    found = [a for a in past.alarms() if a.alarm == name and channel in ("", a.channel or "")]
    if raised is None:
        return found[-1] if found else None
    chosen = [a for a in found if str(iso(a.raised_ms)).startswith(raised.removesuffix("Z"))]
    if not chosen:
        times = ", ".join(str(iso(a.raised_ms)) for a in found) or "never"
        raise UserError(f"no {name} was raised at {raised}; it was raised {times}")
    return chosen[-1]


def _engine(past: Past, until_ms: int | None) -> Engine:
    """The analysis as it stood at a time, or at the end."""
    engine = Engine(past.profile, sampling=past.sampling or Sampling())
    for rows in _until(past.blocks(), 2**62 if until_ms is None else until_ms + AFTER_MS):
        engine.feed(rows)
    return engine


def _until(blocks: Iterable[Rows], until_ms: int) -> Iterator[Rows]:
    for rows in blocks:
        if len(rows) and rows.t_ms[0] > until_ms:
            return
        yield rows.between(-(2**62), until_ms + 1)


def usual(engine: Engine) -> list[str]:
    """What the furnace has taught the analysis so far, a line each, with how many it was learned from."""
    refills, stack = engine.refills, engine.stack
    known = [
        ("pump seconds of a refill", refills.usual_on_s, "s"),
        ("dip of the day tank at a refill", refills.usual_dip_K, "K"),
        ("burning between refills", refills.usual_burned_s, "s"),
        ("time to flame", engine.time_to_flame, "s"),
        ("from call to proved firing", engine.usual_wait_s, "s"),
        *((f"climb of the {channel}", h.usual_K_per_min, "K/min") for channel, h in engine.heating.items()),
    ]
    lines = [line for words, values, unit in known if (line := _usual_line(words, values, unit))]
    if refills.limit_s is not None:
        lines.append(f"refill limiter: {refills.limit_s:g} s")
    if stack.baseline is not None:
        lines.append(f"clean net stack: {stack.baseline.level_K:.0f} K, day-to-day scatter {stack.sd_K:.1f} K")
    else:
        lines.append(f"clean net stack: learning, {stack.learned} firings so far")
    return lines


def _usual_line(words: str, values: Usual, unit: str) -> str | None:
    if values.median is None:
        return None
    scatter = "" if values.sd is None else f", scatter {values.sd:.2g}"
    return f"{words}: {values.median:.3g} {unit}{scatter} ({values.count} seen)"


def _heading(past: Past, name: str, alarm: Alarm | None) -> Iterator[str]:
    furnace = past.profile.furnace.id
    if alarm is None:
        yield f"{furnace}: {name} has not been raised in what is stored"
    else:
        place = f"{name}/{alarm.channel}" if alarm.channel else name
        under = f", under {alarm.suppressed_by}" if alarm.suppressed_by else ""
        end = "still standing" if alarm.cleared_ms is None else f"until {iso(alarm.cleared_ms)}"
        yield f"{furnace}: {place}, {alarm.priority}{under}, raised {iso(alarm.raised_ms)}, {end}"
    yield from textwrap.wrap(wording.alarm_meaning(name), WIDTH)
    yield f"First: {KINDS[name].first_step}"


def _numbers(alarm: Alarm, units: System) -> list[str]:
    return [
        f"{wording.key_words(key)}: {wording.key_value(key, value, units)}"
        for key, value in alarm.detail.items()
        if key not in NOT_NUMBERS and value is not None
    ]


def _causes(alarm: Alarm) -> list[str]:
    lines = []
    for cause in alarm.detail.get("causes", ()):
        lines.append(f"{cause['probability']:4.0%}  {cause['cause']}")
        lines += [f"      {words}" for words in cause["evidence"]]
        lines.append(f"      first: {cause['first']}")
    return lines


def _rule(name: str) -> list[str]:
    detector = next((d for d in DETECTORS if d.alarm == name), None)
    doc = (offline.Offline if detector is None else detector).__doc__ or ""
    return inspect.cleandoc(doc).splitlines()


def _settings(name: str) -> tuple[list[str], list[str]]:
    """(settings that the rule reads, settings of the followers it asks): name, value, unit, reason."""
    detector = next((d for d in DETECTORS if d.alarm == name), None)
    source = inspect.getsource(offline if detector is None else sys.modules[detector.__module__])
    helpers = re.findall(r"^from (sootline\.analysis\.detect\.\w+) import", source, re.MULTILINE)
    own = _read_in(source, *(inspect.getsource(sys.modules[helper]) for helper in helpers))
    asked = {attribute for attribute in re.findall(r"engine\.(\w+)", source) if attribute in FOLLOWERS}
    others = _read_in(*(inspect.getsource(sys.modules[FOLLOWERS[attribute]]) for attribute in sorted(asked)))
    return _in_words(own), _in_words(others - own)


def _read_in(*sources: str) -> set[str]:
    return {name for source in sources for name in re.findall(r"settings\.(\w+)", source)}


def _in_words(names: set[str]) -> list[str]:
    return [
        f"{f.name} = {f.default:g} {f.metadata['unit']}: {f.metadata['reason']}"
        for f in fields(Settings)
        if f.name in names and isinstance(f.default, float)
    ]


def _section(title: str, lines: Iterable[str]) -> list[str]:
    lines = [line for line in lines if line]
    return ["", title, *(f"  {line}" for line in lines)] if lines else []
