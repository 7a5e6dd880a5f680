"""Keeps `detail["causes"]` of every standing alarm up to date, at moments that only the plant clock decides."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from sootline.analysis.book import Entry
from sootline.analysis.catalogue import KINDS
from sootline.analysis.causes.rank import Ranked, rank
from sootline.analysis.causes.recorder import Recorder
from sootline.analysis.causes.scene import EVIDENCE, Finding, Scene
from sootline.analysis.causes.trees import TREES

if TYPE_CHECKING:
    from sootline.analysis.engine import Engine

LATER_MS = (180_000, 900_000, 3_600_000)  # a dip shows after 150 s, a fallen stack in minutes, a trend in an hour
SOONEST_MS = 3_600_000  # an alarm that is only confirmed again is not thought over more often than this
MOST, LEAST = 5, 0.02


class CauseFinder:
    """Looks when an alarm is raised, comes back or rises in priority, and 3, 15 and 60 min after that."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.plant = engine.plant
        self.seen = Recorder(engine)
        self._looked: dict[tuple[str, str | None], tuple[int, object]] = {}
        self._found: dict[tuple[str, str | None], tuple[object, dict[str, Finding]]] = {}
        self.plant.on_raise(self._raised)

    def _raised(self, entry: Entry) -> None:
        if entry.alarm not in TREES:
            return
        now_ms = self.plant.now_ms
        state = (entry.raised_ms, entry.priority, entry.detail.get("repeats"))
        looked = self._looked.get((entry.alarm, entry.channel))
        if looked is not None and looked[1] == state and now_ms - looked[0] < SOONEST_MS:
            return
        self._looked[(entry.alarm, entry.channel)] = (now_ms, state)
        self.look_again(entry)
        if looked is None or looked[1] != state:
            for later_ms in LATER_MS:
                self.plant.at(now_ms + later_ms, self._again, entry)

    def _again(self, entry: Entry) -> None:
        if entry.stands:
            self.look_again(entry)

    def look_again(self, entry: Entry) -> None:
        """Bring the causes of an alarm up to what is known now."""
        place, which = (entry.alarm, entry.channel), (entry.raised_ms, entry.detail.get("repeats"))
        known, findings = self._found.get(place, (None, {}))
        findings = look(self.engine, self.seen, entry, findings if known == which else {})
        self._found[place] = (which, findings)
        causes = likely(entry, findings)
        if entry.detail.get("causes") != causes:
            entry.detail["causes"] = causes
            if entry not in self.plant.book.changed:
                self.plant.book.changed.append(entry)


def look(engine: Engine, seen: Recorder, entry: Entry, before: Mapping[str, Finding]) -> dict[str, Finding]:
    """What is found now, and what was found before and cannot be measured any more."""
    scene = Scene(engine, seen, entry)
    findings = dict(before)
    for name in TREES[entry.alarm].evidence:
        evidence = EVIDENCE[name]
        if before and evidence.once:
            continue
        finding = evidence.test(scene)
        if finding is not None:
            findings[name] = finding
    return findings


def likely(entry: Entry, findings: Mapping[str, Finding]) -> list[dict[str, Any]]:
    """The causes as they go into the record of the alarm, most probable first, at most five."""
    ranking = [ranked for ranked in rank(TREES[entry.alarm], findings) if ranked.probability >= LEAST]
    return [_record(entry, ranked) for ranked in ranking[:MOST]]


def _record(entry: Entry, ranked: Ranked) -> dict[str, Any]:
    cause = ranked.cause
    return {
        "id": "other" if cause is None else cause.id,
        "cause": "something else" if cause is None else cause.cause,
        "probability": round(ranked.probability, 2),
        "evidence": list(ranked.words),
        "first": KINDS[entry.alarm].first_step if cause is None else cause.step,
    }
