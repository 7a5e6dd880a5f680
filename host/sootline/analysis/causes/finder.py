"""Keeps `detail["causes"]` of every standing alarm up to date, at moments that only the plant clock decides."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from sootline.analysis.book import Entry
from sootline.analysis.causes.rank import Ranked, rank
from sootline.analysis.causes.recorder import Recorder
from sootline.analysis.causes.scene import EVIDENCE, Finding, Scene
from sootline.analysis.causes.tree import Cause
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
        self._behind: dict[tuple[str, str | None], tuple[object, dict[str, list[dict[str, Any]]]]] = {}
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
        place = (entry.alarm, entry.channel)
        which = (entry.raised_ms, entry.priority, entry.detail.get("repeats"))  # worse or again: seen afresh
        known, findings = self._found.get(place, (None, {}))
        if known != which:
            same = isinstance(known, tuple) and known[0] == entry.raised_ms
            findings = {n: f for n, f in findings.items() if same and f.holds and EVIDENCE[n].keeps}
        findings = look(self.engine, self.seen, entry, findings, afresh=known != which)
        self._found[place] = (which, findings)
        known, behind = self._behind.get(place, (None, {}))
        behind = (behind if known == which else {}) | self._causes_behind(entry)
        self._behind[place] = (which, behind)
        causes = likely(entry, findings, behind)
        if entry.detail.get("causes") != causes:
            entry.detail["causes"] = causes
            if entry not in self.plant.book.changed:
                self.plant.book.changed.append(entry)

    def _causes_behind(self, entry: Entry) -> dict[str, list[dict[str, Any]]]:
        """Cause -> the causes of the alarm that stands behind it, where one does."""
        found = {}
        standing = self.plant.book.all_standing()
        for cause in TREES[entry.alarm].causes:
            behind = (other for alarm in cause.behind for other in standing if other.alarm == alarm)
            told = next((other.detail["causes"] for other in behind if other.detail.get("causes")), None)
            if told:
                found[cause.id] = [dict(item) for item in told]
        return found


def look(
    engine: Engine, seen: Recorder, entry: Entry, before: Mapping[str, Finding], afresh: bool = False
) -> dict[str, Finding]:
    """What is found now, and what was found before and cannot be measured any more."""
    scene = Scene(engine, seen, entry)
    findings = dict(before)
    for name in TREES[entry.alarm].evidence:
        evidence = EVIDENCE[name]
        if before and not afresh and evidence.once:
            continue
        if name in before and evidence.keeps and before[name].holds:
            continue
        finding = evidence.test(scene)
        if finding is not None:
            findings[name] = finding
    return findings


def likely(
    entry: Entry, findings: Mapping[str, Finding], behind: Mapping[str, list[dict[str, Any]]] | None = None
) -> list[dict[str, Any]]:
    """The causes as they go into the record of the alarm, most probable first, at most five.

    What their probabilities leave of 1 is something else. behind: as `CauseFinder._causes_behind` gives it; its causes
    share the probability of the one they stand behind, by P(cause | this alarm) = P(cause | that one) P(that | this).
    """
    told: list[dict[str, Any]] = []
    for ranked in rank(TREES[entry.alarm], findings):
        if ranked.cause is None:
            continue
        further = (behind or {}).get(ranked.cause.id, [])
        for item in further:
            told.append({**item, "probability": item["probability"] * ranked.probability, "branch": ranked.cause.id})
        rest = 1.0 - sum(item["probability"] for item in further)
        told.append(_record(ranked.cause, ranked, ranked.probability * max(rest, 0.0)))
    told.sort(key=lambda item: -item["probability"])
    return [{**item, "probability": round(item["probability"], 2)} for item in told if item["probability"] >= LEAST][
        :MOST
    ]


def _record(cause: Cause, ranked: Ranked, probability: float) -> dict[str, Any]:
    return {
        "id": cause.id,
        "cause": cause.cause,
        "probability": probability,
        "evidence": list(ranked.words),
        "first": cause.step,
    }
