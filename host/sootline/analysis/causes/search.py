"""Guided fault finding: one step at a time through the causes of an alarm, the likeliest first.

The ranking starts from what the analysis has measured, or from the priors where nothing stands, and every answer moves
it by the rule of rank.py. What needs the power off comes after the power is off, or not at all. The end is what was
found, or somebody licensed; nothing here ever sends anybody to the primary reset, or says that a furnace may run.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from sootline.analysis.catalogue import KINDS
from sootline.analysis.causes.rank import LOW, posterior
from sootline.analysis.causes.tree import Cause, Tree
from sootline.analysis.causes.trees import TREES
from sootline.logbook import Answer, Search

SEES = 0.9  # a person who looks finds the fault where it is; coarse, like the trees (common practice)
MISTAKES = 0.05  # ... or takes something else for it
LEAST = 0.02  # a cause less likely than this is not worth the walk
# seen or heard only while it has power, hands off; asked before the power goes off, or not at all
POWERED = frozenset({"does the motor hum or turn", "loop pump", "cut-in pressure", "other loads", "smoke", "draft"})
NOT_BY_HAND = frozenset({"voltage", "spray", "control lamp"})  # a meter on live parts, a spray to be seen: for others
CHAMBER = frozenset({"ignition-failure", "lockout", "no-heat", "flame-loss"})  # oil may lie in the chamber
RESET = "Leave the primary reset alone meanwhile: every press can put more unburned oil into the chamber."
PRESSED = "It was pressed already: do not press it again."
CALL = "Call somebody licensed."
LEAVE_OFF = "Leave it off until they have seen it."
POOLED = "Leave it off and shut the oil valve: oil in the chamber can light all at once."
WHO_DECIDES = "Whether it may run again is for whoever mended it, or somebody licensed, to say; no sensor here can."

Kind = Literal["first", "chamber", "off", "watch", "look"]
Given = Sequence[tuple[str, str]]  # (step, answer), in order


@dataclass(frozen=True, slots=True)
class Step:
    """What to do or look at now.

    key:     names the step in an answer
    ask:     the words
    items:   what to look at, one after the other; an answer `fault:0` is for the first
    answers: (value, words) of the other answers
    cause:   what a fault here would speak for, with its probability now
    """

    key: str
    kind: Kind
    ask: str
    answers: tuple[tuple[str, str], ...]
    items: tuple[str, ...] = ()
    cause: Cause | None = None
    probability: float = 0.0

    def takes(self, answer: str) -> bool:
        """Whether this is one of its answers."""
        faults = {f"fault:{i}" for i in range(len(self.items))}
        return answer in faults or answer in dict(self.answers)

    def said(self, answer: str) -> str:
        """One of its answers in words."""
        if answer in dict(self.answers):
            return dict(self.answers)[answer]
        return f"something is wrong: {self.items[int(answer.removeprefix('fault:'))]}"


@dataclass(frozen=True, slots=True)
class End:
    """why: `found` (cause and item say what), `nothing`, or `stopped` (something could not be done, or oil lies)."""

    why: Literal["found", "nothing", "stopped"]
    lines: tuple[str, ...]
    cause: Cause | None = None
    item: str | None = None


def beginning(alarm: str, causes: object = None) -> dict[str, float]:
    """Probability of each cause by its id before anybody has looked, "other" for the rest.

    causes: `detail["causes"]` of the alarm that stands; without it the priors. What it leaves out shares what is left.
    """
    tree = TREES[alarm]
    priors = {cause.id: cause.prior for cause in tree.causes} | {"other": tree.rest}
    told: dict[str, float] = {}
    for item in causes if isinstance(causes, list | tuple) else ():
        if isinstance(item, Mapping) and isinstance(item.get("probability"), int | float):
            name = str(item.get("branch", item.get("id")))
            if name in priors:
                told[name] = told.get(name, 0.0) + float(item["probability"])
    if not told:
        return priors
    left = [name for name in priors if name not in told]
    share = max(1.0 - sum(told.values()), LOW) / (sum(priors[name] for name in left) or 1.0)
    start = told | {name: priors[name] * share for name in left}
    total = sum(start.values())
    return {name: p / total for name, p in start.items()}


def step(alarm: str, start: Mapping[str, float], given: Given) -> Step | End:
    """The next step after the answers given, or the end."""
    answers = dict(given)
    opening = _opening(alarm, answers)
    if opening is not None:
        return opening
    found = _found(alarm, start, given)
    if found is not None:
        return found
    now = ranking(alarm, start, given)
    for cause in sorted(TREES[alarm].causes, key=lambda cause: -now[cause.id]):
        if now[cause.id] < LEAST:
            break
        for key in (f"watch:{cause.id}", f"look:{cause.id}"):
            items = _open_items(alarm, key, answers)
            if not items or key in answers or (key.startswith("watch") and not _has_power(alarm, answers)):
                continue
            if cause.power_off and key.startswith("look"):
                if "off" not in answers:
                    return _off()
                if answers["off"] != "done":
                    continue
            return _look(cause, key, items, now[cause.id])
    return _nothing(alarm, answers)


def where(search: Search) -> Step | End:
    """The step a search has come to, or its end."""
    return step(search.alarm, search.start, [(answer.step, answer.answer) for answer in search.answers])


def answered(search: Search, answer: Answer) -> Search | None:
    """The search with one more answer, or with the last taken back (`back`); None for an answer to another step."""
    here = where(search)
    key = here.key if isinstance(here, Step) else "end"
    if answer.step != key:
        return None
    if answer.answer == "back" and search.answers:
        return replace(search, answers=search.answers[:-1], ended=None, found=None)
    if not isinstance(here, Step) or not here.takes(answer.answer):
        return None
    worded = replace(answer, asked="; ".join(here.items) or here.ask, said=here.said(answer.answer))
    further = replace(search, answers=(*search.answers, worded))
    end = where(further)
    if isinstance(end, Step):
        return further
    found = f"{end.cause.cause}: {end.item}" if end.cause is not None else None
    return replace(further, ended=end.why, found=found)


def ranking(alarm: str, start: Mapping[str, float], given: Given) -> dict[str, float]:
    """Probability of each cause, and of "other", after the answers given."""
    tree = TREES[alarm]
    names = [*(cause.id for cause in tree.causes), "other"]
    tables = [table for table in _tables(tree, given) if table]
    return dict(zip(names, posterior([start.get(name, LOW) for name in names], tables), strict=True))


def _tables(tree: Tree, given: Given) -> Iterable[list[float]]:
    """P(answer | cause) for each answer that tells something, over the causes and the rest class."""
    fine: set[str] = set()
    for key, answer in given:
        items = [item for item in _items(tree.alarm, key) if item not in fine]
        if not items or answer == "unknown":
            continue
        if answer == "fine":
            fine.update(items)
            yield [1.0 - SEES * _share(tree.alarm, cause, items) for cause in tree.causes] + [1.0 - MISTAKES]
        else:
            item = items[int(answer.removeprefix("fault:"))]
            yield [SEES if item in cause.look else MISTAKES for cause in tree.causes] + [MISTAKES]


def _share(alarm: str, cause: Cause, looked: Sequence[str]) -> float:
    """Of what shows a cause, the share that was looked at."""
    items = [item for part in ("watch", "look") for item in _items(alarm, f"{part}:{cause.id}")]
    return sum(item in looked for item in items) / len(items) if items else 0.0


def _items(alarm: str, key: str) -> tuple[str, ...]:
    """What is looked at in the step `key`; nothing for another kind of step.

    The chamber is looked into before anything. What only shows with power has a step of its own where hands go in.
    """
    part, _, name = key.partition(":")
    cause = next((cause for cause in TREES[alarm].causes if cause.id == name), None)
    if cause is None or part not in ("watch", "look"):
        return ()
    items = [item for item in cause.look if alarm not in CHAMBER or "pooled oil" not in item]
    if cause.power_off:
        items = [item for item in items if item not in NOT_BY_HAND and (item in POWERED) == (part == "watch")]
    elif part == "watch":
        return ()
    return tuple(items)


def _open_items(alarm: str, key: str, answers: Mapping[str, str]) -> tuple[str, ...]:
    """Of these, what nobody has said to be in order yet."""
    fine = {item for other, answer in answers.items() if answer == "fine" for item in _items(alarm, other)}
    return tuple(item for item in _items(alarm, key) if item not in fine)


def _has_power(alarm: str, answers: Mapping[str, str]) -> bool:
    """Whether nothing so far has asked to switch it off."""
    return alarm not in CHAMBER and KINDS[alarm].hazard == "none" and "off" not in answers


def _opening(alarm: str, answers: Mapping[str, str]) -> Step | End | None:
    """What comes before any looking: the first step of a dangerous alarm, and the chamber."""
    if KINDS[alarm].hazard != "none" and alarm not in CHAMBER:
        if "first" not in answers:
            done, cannot = ("done", "Done, go on"), ("cannot", "I cannot do that")
            return Step("first", "first", KINDS[alarm].first_step, (done, cannot))
        if answers["first"] != "done":
            return End("stopped", (CALL, LEAVE_OFF))
    if alarm in CHAMBER:
        if "chamber" not in answers:
            ask = "Switch it off. Look in the chamber for pooled oil, door open, standing aside."
            dry, pooled = ("dry", "No oil lies there"), ("pooled", "Oil lies there, or I cannot tell")
            return Step("chamber", "chamber", ask, (dry, pooled))
        if answers["chamber"] != "dry":
            return End("stopped", (POOLED, CALL))
    return None


def _off() -> Step:
    ask = "Power off at the service switch or the breaker, oil valve shut, 30 min to cool. The next things are inside."
    return Step("off", "off", ask, (("done", "It is off and cool"), ("cannot", "I cannot, or may not, do that")))


def _look(cause: Cause, key: str, items: tuple[str, ...], probability: float) -> Step:
    answers = (("fine", "Nothing wrong at any of them" if len(items) > 1 else "Nothing wrong there"),
               ("unknown", "I cannot tell"))  # fmt: skip
    if key.startswith("watch"):
        return Step(key, "watch", "Look and listen, hands off", answers, items, cause, probability)
    return Step(key, "look", "Look at", answers, items, cause, probability)


def _found(alarm: str, start: Mapping[str, float], given: Given) -> End | None:
    """The end, where somebody has seen a fault: the likeliest cause that shows there."""
    answers: dict[str, str] = {}
    for i, (key, answer) in enumerate(given):
        if answer.startswith("fault:"):
            item = _open_items(alarm, key, answers)[int(answer.removeprefix("fault:"))]
            now = ranking(alarm, start, given[: i + 1])
            cause = max((c for c in TREES[alarm].causes if item in c.look), key=lambda c: now[c.id])
            return End("found", (cause.step, WHO_DECIDES), cause, item)
        answers[key] = answer
    return None


def _nothing(alarm: str, answers: Mapping[str, str]) -> End:
    left = () if answers.get("off") != "cannot" else ("What needs the power off was not looked at.",)
    leave = (LEAVE_OFF,) if KINDS[alarm].hazard != "none" or alarm in CHAMBER else ()
    looked = any(key.startswith(("look:", "watch:")) for key in answers)
    return End("nothing" if looked else "stopped", (*left, CALL, *leave))
