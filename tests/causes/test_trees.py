"""The trees as data: sound numbers, safe words, nothing that cannot be reached."""

import re

import pytest

from sootline.analysis.catalogue import KINDS
from sootline.analysis.causes.scene import EVIDENCE
from sootline.analysis.causes.tree import POWER_OFF, Cause, Tree
from sootline.analysis.causes.trees import EVIDENCE_FROM, TREES, guide

CAUSES = [(tree, cause) for tree in TREES.values() for cause in tree.causes]
WITHOUT_TREE = {"board-offline", "service-due"}  # each is its own cause

FORBIDDEN = (
    r"\bsafe\b",  # never "safe to run"
    r"reset (it )?again", r"second reset", r"twice", r"keep (on )?reset",
    r"press(ing)? (it )?again", r"try (it )?again",
    r"primary reset",  # nothing here ever sends anybody to the primary reset
    r"\bbridge\b(?! it\.)", r"jumper", r"bypass", r"disable",
    r"\bset (the )?(air|shutter|pressure|draft|nozzle)", r"\bopen the shutter\b", r"raise the pressure", r"\bpsi\b",
)  # fmt: skip


def texts(cause: Cause) -> list[str]:
    return [cause.cause, cause.first, cause.step, *cause.look]


def test_every_alarm_has_a_tree_or_is_its_own_cause() -> None:
    assert set(TREES) == set(KINDS) - WITHOUT_TREE
    assert all(guide(alarm) == () for alarm in WITHOUT_TREE)


@pytest.mark.parametrize("tree", TREES.values(), ids=TREES)
def test_priors_leave_something_for_what_nobody_thought_of(tree: Tree) -> None:
    assert 0.04 <= tree.rest <= 0.2
    assert all(0 < cause.prior < 1 for cause in tree.causes)
    assert len({cause.id for cause in tree.causes}) == len(tree.causes)
    assert "other" not in {cause.id for cause in tree.causes}
    assert tree.source


@pytest.mark.parametrize(("tree", "cause"), CAUSES, ids=[f"{t.alarm}:{c.id}" for t, c in CAUSES])
def test_likelihoods_are_probabilities_of_evidence_there_is(tree: Tree, cause: Cause) -> None:
    assert cause.given, "a cause that no evidence speaks for can never be told from the rest"
    for name, p in cause.given.items():
        assert name in EVIDENCE and 0 < p < 1
    assert any(_ratio(p, EVIDENCE[name].base) >= 1.49 for name, p in cause.given.items())


def _ratio(p: float, base: float) -> float:
    """How far a finding can move this cause against one that has nothing to do with it."""
    return max(p / base, base / p, (1 - p) / (1 - base), (1 - base) / (1 - p))


def test_evidence_is_explained_and_used() -> None:
    assert len(EVIDENCE_FROM) == 6
    used = {name for tree in TREES.values() for name in tree.evidence}
    assert used == set(EVIDENCE)
    for evidence in EVIDENCE.values():
        assert len(evidence.doc) > 15 and 0 < evidence.base < 1


@pytest.mark.parametrize(("tree", "cause"), CAUSES, ids=[f"{t.alarm}:{c.id}" for t, c in CAUSES])
def test_words_are_short_and_never_dangerous(tree: Tree, cause: Cause) -> None:
    for text in texts(cause):
        assert 3 <= len(text) <= 160, (len(text), text)
        for pattern in FORBIDDEN:
            assert not re.search(pattern, text, re.IGNORECASE), (pattern, text)
    assert cause.first[0].isupper() and cause.first.endswith(".") and cause.look
    assert not cause.cause.endswith(".")


@pytest.mark.parametrize(("tree", "cause"), CAUSES, ids=[f"{t.alarm}:{c.id}" for t, c in CAUSES])
def test_a_reset_is_named_once_and_only_after_the_cause(tree: Tree, cause: Cause) -> None:
    """The only button anybody is sent to is the refill reset, after mending, once (common practice)."""
    if re.search(r"\breset\b", cause.first):
        allowed = ("then push the refill reset once.", "No reset.", "before any reset.", "before it is reset")
        assert any(words in cause.first for words in allowed), cause.first


@pytest.mark.parametrize(("tree", "cause"), CAUSES, ids=[f"{t.alarm}:{c.id}" for t, c in CAUSES])
def test_power_off_first_where_hands_go_in(tree: Tree, cause: Cause) -> None:
    hands = (r"element", r"\brelay\b", r"electrode", r"\bmotor\b", r"\bbelt\b", r"fuse", r"terminal", r"transformer")
    mains = any(re.search(word, text) for word in hands for text in (cause.first, *cause.look))
    mains = mains and tree.alarm != "sensor-fault"  # probes carry no mains
    quick = cause.id in (
        "by-hand",
        "low-oil",
        "air-pressure",
        "filter",
        "cut-out",
        "supply-empty",
    )  # look only, or said otherwise
    assert cause.power_off or not mains or quick, texts(cause)
    assert cause.step.startswith(POWER_OFF) == cause.power_off


@pytest.mark.parametrize("alarm", ["ignition-failure", "lockout"])
def test_a_failed_start_looks_in_the_chamber_before_anything(alarm: str) -> None:
    """Pooled oil first, door open, standing aside (NORA Oilheat Technicians Manual)."""
    for cause in guide(alarm):
        assert "pooled oil" in cause.first and "standing aside" in cause.first


def test_fire_in_the_flue_goes_to_the_fire_service() -> None:
    for tree, cause in CAUSES:
        if cause.id == "soot-fire":
            assert "fire service" in cause.first, tree.alarm
