"""Passwords: Argon2id with the second recommended parameters of RFC 9106, section 4 (64 MiB, 3 passes).

One at a time, so that nobody can fill a small computer's memory with them.
"""

import threading

import argon2
from argon2.exceptions import InvalidHashError, VerificationError

from sootline.errors import UserError

SHORTEST = 10
LONGEST = 200

_TURN = threading.Lock()
_HASHER = argon2.PasswordHasher(time_cost=3, memory_cost=64 * 1024, parallelism=4)
# what an unknown name is checked against, so that it takes as long as a wrong password; of random bytes nobody kept
_NOBODYS = "$argon2id$v=19$m=65536,t=3,p=4$0/fIITXALpKXoLEnyHhWPQ$1okdV/mj9Qe7J0J2MBKdfoAAo0o3e9Cg8R9RIVWd2YM"


def hashed(password: str) -> str:
    """The password as it is kept. Raises UserError where it is too short, too long or all one character.

    Length counts and nothing else is asked of it, as NIST SP 800-63B-4, section 3.1.1.2, says; a passphrase is best.
    """
    if len(password) < SHORTEST:
        raise UserError(f"the password must have at least {SHORTEST} characters; a few words are easiest to keep")
    if len(password) > LONGEST:
        raise UserError(f"the password must have at most {LONGEST} characters")
    if len(set(password)) < 3:
        raise UserError("the password is nearly all one character; take a few words")
    with _TURN:
        return _HASHER.hash(password)


def fits(kept: str | None, password: str) -> bool:
    """Whether a password is the kept one; takes as long, and says no, where none is kept."""
    try:
        with _TURN:
            return _HASHER.verify(kept or _NOBODYS, password[: LONGEST + 1]) and kept is not None
    except (VerificationError, InvalidHashError):
        return False


def is_outdated(kept: str) -> bool:
    """Whether the password was hashed with other parameters than are used now."""
    return _HASHER.check_needs_rehash(kept)
