"""Naive Bayes over the candidates of a tree.

P(cause | findings) ~ prior x product over findings of P(finding | cause); what is not measured leaves it as it is. The
rest class holds what the priors leave, with every evidence at its base rate, so the probabilities sum to 1. Evidence
is taken as independent given the cause, which is not quite so; the likelihoods are coarse and kept within 0.02..0.98
so that no single finding can rule a cause out.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from sootline.analysis.causes.scene import EVIDENCE, Finding
from sootline.analysis.causes.tree import Cause, Tree

LOW, HIGH = 0.02, 0.98
SAYS_SOMETHING = math.log(1.5)  # likelihood ratio against the average of the candidates


class Ranked(NamedTuple):
    """cause: None for the rest class; words: what was seen for it, and with "against: " what speaks against it."""

    cause: Cause | None
    probability: float
    words: tuple[str, ...]


def rank(tree: Tree, findings: Mapping[str, Finding]) -> list[Ranked]:
    """Every candidate and the rest class, most probable first; ties in the order of the tree."""
    candidates: list[Cause | None] = [*tree.causes, None]
    priors = [cause.prior for cause in tree.causes] + [tree.rest]
    tables = {
        name: [_likelihood(cause, name, finding.holds) for cause in candidates] for name, finding in findings.items()
    }
    shares = posterior(priors, tables.values())
    ranked = [Ranked(cause, shares[i], _words(i, priors, tables, findings)) for i, cause in enumerate(candidates)]
    return sorted(ranked, key=lambda item: -item.probability)


def posterior(priors: Sequence[float], tables: Iterable[Sequence[float]]) -> list[float]:
    """Probabilities that sum to 1. tables: for each finding its probability given each of the candidates."""
    logs = [math.log(max(prior, 1e-6)) for prior in priors]
    for table in tables:
        logs = [log + math.log(p) for log, p in zip(logs, table, strict=True)]
    highest = max(logs)
    weights = [math.exp(log - highest) for log in logs]
    total = sum(weights)
    return [weight / total for weight in weights]


def _likelihood(cause: Cause | None, name: str, holds: bool) -> float:
    p = EVIDENCE[name].base if cause is None else cause.given.get(name, EVIDENCE[name].base)
    p = min(max(p, LOW), HIGH)
    return p if holds else 1.0 - p


def _words(
    i: int, priors: list[float], tables: Mapping[str, list[float]], findings: Mapping[str, Finding]
) -> tuple[str, ...]:
    """What decided for and against candidate i, the strongest first."""
    told = []
    for name, table in tables.items():
        average = sum(prior * p for prior, p in zip(priors, table, strict=True)) / sum(priors)
        says = math.log(table[i] / average)
        if abs(says) >= SAYS_SOMETHING:
            told.append((-abs(says), ("" if says > 0 else "against: ") + findings[name].words))
    told.sort(key=lambda item: item[0])
    return tuple(dict.fromkeys(words for _, words in told))[:4]
