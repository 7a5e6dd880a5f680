"""All decision trees by alarm. An alarm that is its own cause (`board-offline`, `service-due`) has none."""

from sootline.analysis.causes import (
    evidence_around,
    evidence_fire,
    evidence_heat,
    evidence_oil,
    evidence_sensor,
    evidence_stack,
    trees_fire,
    trees_heat,
    trees_oil,
    trees_sensor,
    trees_stack,
)
from sootline.analysis.causes.tree import Cause, Tree

EVIDENCE_FROM = (evidence_around, evidence_fire, evidence_heat, evidence_oil, evidence_sensor, evidence_stack)

TREES: dict[str, Tree] = {
    tree.alarm: tree for trees in (trees_oil, trees_heat, trees_fire, trees_stack, trees_sensor) for tree in trees.TREES
}


def guide(alarm: str) -> tuple[Cause, ...]:
    """The candidate causes of an alarm with what to look at, the usual ones first; empty for one without a tree."""
    tree = TREES.get(alarm)
    return () if tree is None else tuple(sorted(tree.causes, key=lambda cause: -cause.prior))
