"""Naive Bayes, checked against Bayes' rule worked by hand and against the enumeration of the joint distribution."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sootline.analysis.causes.daily import DAY_MS, Daily
from sootline.analysis.causes.rank import HIGH, LOW, rank
from sootline.analysis.causes.scene import EVIDENCE, Finding
from sootline.analysis.causes.tree import Cause, Tree
from sootline.analysis.causes.trees import TREES


def _cause(id: str, prior: float, **given: float) -> Cause:
    return Cause(id, id, prior, "Look.", ("it",), given={name.replace("_", "-"): p for name, p in given.items()})


def _by_id(ranking) -> dict[str, float]:
    return {"other" if r.cause is None else r.cause.id: r.probability for r in ranking}


def test_the_screening_example() -> None:
    """Gigerenzer's mammography figures: prior 1 %, hit 80 %, false alarm 9.6 % make 7.8 % (from memory, widely taught).

    The rest class is the healthy group; its false-alarm rate is the evidence's base rate.
    """
    base = EVIDENCE["oil-rate-up"].base
    tree = Tree(
        "test", "worked example", (_cause("ill", 0.01, oil_rate_up=0.8), _cause("well", 0.98, oil_rate_up=0.096))
    )
    ranking = _by_id(rank(tree, {"oil-rate-up": Finding(True, "")}))
    rest = 0.01 * base
    assert ranking["ill"] == pytest.approx(0.008 / (0.008 + 0.98 * 0.096 + rest))
    assert ranking["ill"] / (ranking["ill"] + ranking["well"]) == pytest.approx(0.078, abs=0.001)


def test_nothing_measured_leaves_the_priors() -> None:
    tree = TREES["refill-timeout"]
    ranking = _by_id(rank(tree, {}))
    assert ranking == pytest.approx({**{cause.id: cause.prior for cause in tree.causes}, "other": tree.rest})


@given(st.sampled_from(sorted(TREES)), st.data())
def test_equals_the_joint_distribution_enumerated(alarm: str, data: st.DataObject) -> None:
    """P(cause and findings) multiplied out as a table, summed and divided: the definition."""
    tree = TREES[alarm]
    names = data.draw(st.lists(st.sampled_from(tree.evidence), unique=True, max_size=6))
    holds = {name: data.draw(st.booleans()) for name in names}
    joint = {}
    for cause, prior in [*((c, c.prior) for c in tree.causes), (None, tree.rest)]:
        p = prior
        for name, on in holds.items():
            table = {} if cause is None else cause.given
            hit = min(max(table.get(name, EVIDENCE[name].base), LOW), HIGH)
            p *= hit if on else 1 - hit
        joint["other" if cause is None else cause.id] = p
    total = math.fsum(joint.values())
    ranking = rank(tree, {name: Finding(on, name) for name, on in holds.items()})
    assert _by_id(ranking) == pytest.approx({id: p / total for id, p in joint.items()})
    assert math.fsum(r.probability for r in ranking) == pytest.approx(1.0)
    assert [r.probability for r in ranking] == sorted((r.probability for r in ranking), reverse=True)


def test_order_of_findings_is_no_matter() -> None:
    tree = TREES["flame-loss"]
    findings = {"at-refill": Finding(True, "a"), "came-back": Finding(False, "b"), "air-low": Finding(False, "c")}
    answers = {
        tuple((r.cause and r.cause.id, round(r.probability, 12)) for r in rank(tree, dict(order)))
        for order in itertools.permutations(findings.items())
    }
    assert len(answers) == 1


def test_words_say_what_decided_and_what_speaks_against() -> None:
    ranking = rank(TREES["refill-timeout"], {"no-dip": Finding(True, "no dip: 0.2 K of the usual 3.2")})
    words = {r.cause.id: r.words for r in ranking if r.cause is not None}
    assert words["air-leak"] == ("no dip: 0.2 K of the usual 3.2",)
    assert words["float-stuck-down"] == ("against: no dip: 0.2 K of the usual 3.2",)


def test_usual_leaves_today_out_and_needs_some_values() -> None:
    daily = Daily()
    assert daily.usual() is None and daily.last() is None
    for day in range(5):
        for k in range(6):
            daily.add(day * DAY_MS + k, 10.0 + day)
    for k in range(20):
        daily.add(5 * DAY_MS + k, 50.0)
    assert daily.usual() == 12.0 and daily.last(3) == 50.0
    assert daily.day_before(5 * DAY_MS + DAY_MS // 2) == 14.0
    assert daily.day_before(5 * DAY_MS + 1) == 13.0


def test_usual_of_a_first_day_leaves_the_last_three_out() -> None:
    daily = Daily()
    for value in (10.0, 10.0, 10.0, 10.0, 99.0, 99.0):
        daily.add(1, value)
    assert daily.usual() is None
    daily.add(2, 99.0)
    assert daily.usual() == 10.0
