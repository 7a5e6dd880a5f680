"""Passwords and keys for a board: typed unseen, or from a file nobody else can read; never arguments, never shown."""

import stat
import tomllib
from collections.abc import Callable
from pathlib import Path

from sootline.errors import UserError

# Name in the file, what the person is asked for, place in the settings.
NAMES: dict[str, tuple[str, tuple[str, ...]]] = {
    "wifi_password": ("password of the wireless network", ("wifi", "password")),
    "broker_password": ("password of the board at the broker", ("broker", "password")),
    "psk_key": ("pre-shared key of the board, in hexadecimal", ("broker", "tls", "psk_key")),
}


def from_file(path: Path) -> Callable[[str], str | None]:
    """Secrets by name from a TOML file that only its owner can read. Raises UserError."""
    try:
        if stat.S_IMODE(path.stat().st_mode) & 0o077:
            raise UserError(f"{path}: others can read it; take that away from them first: chmod 600 {path}")
        found = tomllib.loads(path.read_text())
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror}") from None
    except ValueError:
        raise UserError(f'{path}: is no TOML; a line is like wifi_password = "..."') from None
    for name, value in found.items():
        if name not in NAMES or not isinstance(value, str):
            raise UserError(f"{path}: '{name}' is no secret in quotes; there are {', '.join(NAMES)}")
    return found.get


def from_person(getpass: Callable[[str], str]) -> Callable[[str], str | None]:
    """Secrets by name, typed; None where the person just pressed Enter."""
    return lambda name: getpass(f"{NAMES[name][0]} (Enter: the one on the board): ") or None
