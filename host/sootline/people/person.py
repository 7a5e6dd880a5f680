"""A person, and what each role may do."""

from dataclasses import dataclass
from typing import Literal, get_args

Role = Literal["nobody", "viewer", "helper", "owner"]
ROLES: tuple[Role, ...] = get_args(Role)
"""From the least to the most; each may do what those before it may."""

Act = Literal["see", "acknowledge", "log", "manage"]
_LEAST: dict[Act, Role] = {"see": "viewer", "acknowledge": "helper", "log": "helper", "manage": "owner"}


@dataclass(frozen=True, slots=True)
class Person:
    """Whoever asks.

    name:    as others read it; empty where it is not known
    furnace: the only furnace they may see; None for all
    known:   they have signed in, so that the name is certain; else it is what their browser said last
    by_link: they came by a shared link
    """

    name: str
    role: Role
    furnace: str | None = None
    known: bool = True
    by_link: bool = False


NOBODY = Person("", "nobody", known=False)


def may(person: Person, act: Act) -> bool:
    """Whether the role of `person` allows `act`."""
    return at_least(person.role, _LEAST[act])


def at_least(role: Role, least: Role) -> bool:
    """Whether a role is `least` or more."""
    return ROLES.index(role) >= ROLES.index(least)
