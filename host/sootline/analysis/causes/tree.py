"""The form of a decision tree: the candidate causes of one alarm, with priors and likelihoods."""

from collections.abc import Mapping
from dataclasses import dataclass, field

POWER_OFF = "Power off, oil valve shut, 30 min to cool; then: "


@dataclass(frozen=True, slots=True)
class Cause:
    """One candidate.

    cause:     in trade words, as a phrase
    prior:     share of such alarms that have this cause, before anything is measured
    first:     what to do first; without the power-off sentence, which `step` adds
    look:      what to look at, one after the other
    power_off: hands go near mains, hot oil or moving parts: power off first
    given:     evidence -> P(it holds | this cause); evidence not named has its base rate, so that it says nothing
    behind:    alarms whose own causes are what is really the matter where this one is found
    """

    id: str
    cause: str
    prior: float
    first: str
    look: tuple[str, ...]
    power_off: bool = False
    given: Mapping[str, float] = field(default_factory=dict)
    behind: tuple[str, ...] = ()

    @property
    def step(self) -> str:
        """What to do first, with the power off where it must be."""
        return POWER_OFF + self.first[0].lower() + self.first[1:] if self.power_off else self.first


@dataclass(frozen=True, slots=True)
class Tree:
    """All candidates of one alarm. What the priors leave of 1 belongs to the rest class, "something else".

    source: where priors and likelihoods come from
    """

    alarm: str
    source: str
    causes: tuple[Cause, ...]

    @property
    def rest(self) -> float:
        return 1.0 - sum(cause.prior for cause in self.causes)

    @property
    def evidence(self) -> tuple[str, ...]:
        """Every piece of evidence that can move the ranking, in the order it is first named."""
        return tuple(dict.fromkeys(name for cause in self.causes for name in cause.given))
