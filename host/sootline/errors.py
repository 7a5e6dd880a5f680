"""Every error sootline raises on purpose.

SootlineError
├── UserError        something a person can put right: one line that says what to do
│   └── ProfileError a profile that cannot be used as it stands
├── StoreUnavailable the disk refuses; waiting and trying again can help
├── StoreDamaged     a file of the store is not what was written
└── OutOfRange       an equation asked for a value outside its validity (also a ValueError)

Bad messages are not errors: they come back as `wire.pack.Rejected` and are set aside and counted.
"""

from collections.abc import Iterable


class SootlineError(Exception):
    """Base of all errors raised on purpose."""


class UserError(SootlineError):
    """Something the person at the keyboard can put right; its text is the one line they see."""


def no_furnace(name: str, where: object, known: Iterable[str]) -> UserError:
    """What to say of a furnace that is not among those known in a store, a file or a server."""
    there = ", ".join(known)
    return UserError(f"there is no furnace '{name}' in {where}; {'there are ' + there if there else 'nor any other'}")


class ProfileError(UserError):
    """A profile with an unknown key, an impossible number or text that is not TOML."""


class StoreUnavailable(SootlineError):
    """The disk is full, read-only or gone. Nothing of the attempt was kept; the same attempt may be made again."""


class StoreDamaged(SootlineError):
    """A file of the store is missing or not what was written; its text names the file and what to do."""


class OutOfRange(SootlineError, ValueError):
    """A value outside the stated validity of an equation."""
