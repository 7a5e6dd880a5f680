"""From a `FurnaceNow` to the words, colours and shapes of its page. No template decides anything."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sootline import units, wording
from sootline.alarms import PRIORITIES
from sootline.channels import CHANNELS, REQUIRED
from sootline.now import FurnaceNow, Readiness, Reading, SetAside
from sootline.units import Shown, System
from sootline.web.alarm_views import AlarmView, alarm_views, is_standing, is_unseen

# what the board reports at least, while nothing is on and nothing moves; announced by the board, else this
IDLE_INTERVAL_S = 60.0
# phases in which it does not do what it was asked to
STOPPED = ("recycle", "limit", "lockout")
# the ends of the bar beside a number; drawing only, no limit
SCALES = {"tank": (0.0, 120.0), "nozzle": (0.0, 150.0), "stack": (0.0, 450.0), "supply_level": (0.0, 1.0)}
EXTRAS = ("room", "outdoor", "supply_level", "air_pressure", "call", "burner")


@dataclass(frozen=True, slots=True)
class ReadingView:
    """One number with its unit and age. old: older than three reports; fault: words where the sensor failed."""

    channel: str
    label: str
    shown: Shown
    t_ms: int
    age: str
    old: bool
    fault: str | None
    on: bool
    fill: int | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """Is anything wrong? look picks colour and shape; word says it; line says what it is, or what is missing."""

    look: str
    word: str
    line: str


@dataclass(frozen=True, slots=True)
class ReadinessView:
    alarm: str
    title: str
    state: str
    words: str


@dataclass(frozen=True, slots=True)
class Fact:
    """A named value; t_ms where it is a moment and not a number."""

    label: str
    value: str
    t_ms: int | None = None


@dataclass(frozen=True, slots=True)
class FurnaceView:
    furnace: str
    name: str
    phase: wording.PhaseWords
    since_ms: int | None
    since: str
    verdict: Verdict
    service: str
    alarmed: bool
    old_after_s: float
    main: tuple[ReadingView, ...]
    extras: tuple[ReadingView, ...]
    all: tuple[ReadingView, ...]
    alarms: tuple[AlarmView, ...]
    learning: tuple[ReadinessView, ...]
    blind: tuple[ReadinessView, ...]
    ready: tuple[ReadinessView, ...]
    learned: str
    board: tuple[Fact, ...]
    set_aside: tuple[tuple[str, int], ...]
    last_set_aside: tuple[SetAside, ...]
    last_word_ms: int | None
    last_word: str


def _service(now: FurnaceNow, now_ms: int) -> str:
    """Who works on it, why and until when; empty while nobody does."""
    if now.service is None or now.service.until_ms <= now_ms:
        return ""
    return f"{now.service.by} works on it until {units.clock(now.service.until_ms, now_ms)}: {now.service.reason}"


def furnace_view(now: FurnaceNow, now_ms: int, system: System) -> FurnaceView:
    """Everything the pages show of one furnace."""
    old_after_s = old_after(now.board)
    readings = {
        name: _reading(name, reading, now_ms, old_after_s, system)
        for name, reading in sorted(now.readings.items(), key=lambda item: _ORDER.get(item[0], 99))
        if name in CHANNELS
    }
    silent = now.last_word_ms is None or now_ms - now.last_word_ms > old_after_s * 1000
    phase = wording.SILENT if silent else wording.phase_words(now.phase)
    since_ms = None if silent else now.phase_since_ms
    main = tuple(readings.get(name) or _missing(name, system) for name in REQUIRED)
    blind = _readiness(now.readiness, "blind")
    learning = _readiness(now.readiness, "learning")
    return FurnaceView(
        furnace=now.furnace,
        name=wording.furnace_name(now.furnace),
        phase=phase,
        since_ms=since_ms,
        since="" if since_ms is None else units.duration((now_ms - since_ms) / 1000),
        verdict=_verdict(now, silent, main, now_ms),
        service=_service(now, now_ms),
        alarmed=any(is_standing(alarm) for alarm in now.alarms),
        old_after_s=old_after_s,
        main=main,
        extras=tuple(readings[name] for name in EXTRAS if name in readings),
        all=tuple(readings.values()),
        alarms=alarm_views(now.alarms, now_ms, system),
        learning=learning,
        blind=blind,
        ready=_readiness(now.readiness, "ready"),
        learned=_learned(now.readiness),
        board=_board(now, now_ms),
        set_aside=tuple(sorted(now.set_aside.items(), key=lambda item: -item[1])),
        last_set_aside=tuple(sorted(now.last_set_aside, key=lambda item: -item.received_ms)),
        last_word_ms=now.last_word_ms,
        last_word="" if now.last_word_ms is None else units.age((now_ms - now.last_word_ms) / 1000),
    )


_ORDER = {name: i for i, name in enumerate(CHANNELS)}


def old_after(board: Mapping[str, object]) -> float:
    """Age [s] from which a reading is shown as old: three reports of an idle board."""
    idle_s = board.get("idle_interval")
    if isinstance(idle_s, bool) or not isinstance(idle_s, int | float) or not 1 <= idle_s <= 3600:
        idle_s = IDLE_INTERVAL_S
    return 3.0 * float(idle_s)


def _reading(name: str, reading: Reading, now_ms: int, old_after_s: float, system: System) -> ReadingView:
    age_s = (now_ms - reading.t_ms) / 1000
    fault = reading.fault and wording.FAULT_WORDS.get(reading.fault, reading.fault)
    return ReadingView(
        channel=name,
        label=wording.channel_label(name),
        shown=units.channel_value(name, None if fault else reading.value, system),
        t_ms=reading.t_ms,
        age=units.age(age_s),
        old=age_s > old_after_s,
        fault=fault,
        on=CHANNELS[name].kind == "state" and bool(reading.value),
        fill=None if fault else _fill(name, reading.value),
    )


def _fill(name: str, value: float | None) -> int | None:
    """How far a reading fills its scale [%]; None for a channel without one."""
    if name not in SCALES or value is None or math.isnan(value):
        return None
    low, high = SCALES[name]
    return round(100 * min(max((value - low) / (high - low), 0.0), 1.0))


def _missing(name: str, system: System) -> ReadingView:
    shown = units.channel_value(name, None, system)
    return ReadingView(name, wording.channel_label(name), shown, 0, "", True, "no reading yet", False, None)


def _verdict(now: FurnaceNow, silent: bool, main: tuple[ReadingView, ...], now_ms: int) -> Verdict:
    standing = [alarm for alarm in now.alarms if is_standing(alarm)]
    if standing:
        worst = max(standing, key=lambda alarm: (PRIORITIES.index(alarm.priority), alarm.raised_ms))
        words = wording.PRIORITY_WORDS[worst.priority]
        more = len(standing) - 1
        line = wording.alarm_title(worst.alarm) + (f" and {more} more" if more else "")
        if silent and worst.alarm != "board-offline":
            line += " (when last heard)"
        return Verdict(words.look, words.word, line)
    unseen = [alarm for alarm in now.alarms if is_unseen(alarm)]
    if unseen:
        worst = max(unseen, key=lambda alarm: (PRIORITIES.index(alarm.priority), alarm.raised_ms))
        others = f" and {len(unseen) - 1} more" if len(unseen) > 1 else ""
        return Verdict(
            "look", "Go and see", f"{wording.alarm_title(worst.alarm)}{others}: gone, but nobody has seen it."
        )
    if now.last_word_ms is None:
        return Verdict("gone", "No word yet", "The board has not been heard. Switch it on and check its network.")
    if silent:
        heard = units.age((now_ms - now.last_word_ms) / 1000)
        return Verdict("gone", "Old data", f"Last word from the board {heard}: what it does now is not known.")
    lost = [reading.label.lower() for reading in main if reading.old or reading.fault]
    if lost:
        return Verdict("gone", "Partly blind", f"No good reading of {_listed(lost)}.")
    if now.phase in STOPPED:
        return Verdict("look", "No alarm yet", f"{wording.phase_words(now.phase).word}: see what it waits for.")
    if now.phase == "unknown":
        return Verdict("gone", "Not known", "Nothing wrong seen, but too little either.")
    if any(alarm.state == "returned" and alarm.acknowledged is None for alarm in now.alarms):
        return Verdict("note", "Back to normal", "Something was wrong while nobody looked. See below.")
    if any(item.state == "learning" for item in now.readiness):
        return Verdict("learn", "Learning", f"{wording.NOTHING_WRONG} so far")
    return Verdict("calm", wording.NOTHING_WRONG, "")


def _readiness(items: Iterable[Readiness], state: str) -> tuple[ReadinessView, ...]:
    views = []
    for item in items:
        if item.state == state:
            words = {
                "ready": "ready",
                "learning": f"learning {item.have} of {item.need}",
                "blind": f"blind: needs {wording.need_words(item.needs)}",
            }[item.state]
            views.append(ReadinessView(item.alarm, wording.alarm_title(item.alarm).capitalize(), state, words))
    return tuple(views)


def _learned(items: Iterable[Readiness]) -> str:
    """The slowest learner: `learning 7 of 30 (lights late)`."""
    learning = [item for item in items if item.state == "learning" and item.need > 0]
    if not learning:
        return ""
    slowest = min(learning, key=lambda item: (item.have / item.need, -item.need))
    return f"learning {slowest.have} of {slowest.need} ({wording.alarm_title(slowest.alarm).lower()})"


def _board(now: FurnaceNow, now_ms: int) -> tuple[Fact, ...]:
    board = now.board
    facts = []
    if now.last_word_ms is not None:
        facts.append(Fact("Last word", units.age((now_ms - now.last_word_ms) / 1000), now.last_word_ms))
    online = board.get("online")
    if isinstance(online, bool):
        facts.append(Fact("Connection", "online" if online else "gone"))
    for key, label in (("firmware", "Firmware"), ("version", "Interface version"), ("clock", "Clock")):
        if key in board:
            facts.append(Fact(label, str(board[key])))
    facts += [Fact(label, words) for label, words in _board_numbers(board)]
    if "reset" in board:
        facts.append(Fact("Last restart by", str(board["reset"])))
    return tuple(facts)


def _board_numbers(board: Mapping[str, object]) -> Iterable[tuple[str, str]]:
    def number(key: str) -> float | None:
        value = board.get(key)
        return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None

    if (value := number("uptime")) is not None:
        yield "Up, when it announced itself", units.duration(value)
    if (value := number("buffered")) is not None:
        oldest = number("buffered_oldest_s")
        held = f", oldest {units.duration(oldest)}" if oldest and value else ""
        yield "Packs waiting on the board", f"{value:.0f}{held}"
    if (value := number("rssi")) is not None:
        strength = "good" if value >= -67 else "fair" if value >= -75 else "weak"
        yield "Radio", f"{strength} ({value:.0f} dBm)".replace("-", units.MINUS)
    if (value := number("heap_free")) is not None:
        yield "Free memory", f"{value / 1024:.0f} KiB"
    if (value := number("interval")) is not None:
        idle = number("idle_interval")
        yield "Reports every", f"{value:g} s" + (f", idle every {idle:g} s" if idle else "")


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


@dataclass(frozen=True, slots=True)
class Summary:
    """All furnaces in one line. need: those that need somebody, worst first."""

    look: str
    word: str
    line: str
    need: tuple[FurnaceView, ...]


_LOOKS = ("calm", "learn", "note", "gone", "look", "act", "now")


def summary(views: tuple[FurnaceView, ...]) -> Summary:
    if not views:
        return Summary("gone", "No furnace yet", "", ())
    worst_first = sorted(views, key=lambda view: -_LOOKS.index(view.verdict.look))
    worst = worst_first[0].verdict
    need = tuple(view for view in worst_first if view.verdict.look in ("note", "gone", "look", "act", "now"))
    if worst.look in ("calm", "learn"):
        where = f"at any of {len(views)} furnaces" if len(views) > 1 else f"at {views[0].name}"
        learns = "; still learning" if worst.look == "learn" else ""
        return Summary(worst.look, wording.NOTHING_WRONG, where + learns, ())
    return Summary(worst.look, worst.word, "", need)
