"""The file of contacts, which holds passwords: who is told, read again when it is changed."""

import os
from pathlib import Path

from sootline.errors import UserError
from sootline.messages.contacts import EXAMPLE, Contacts, parse

NAME = "contacts.toml"
MODE = 0o600


def load(path: Path) -> Contacts:
    """The contacts in a file; nobody where there is none. Raises UserError with one line that says what to do."""
    try:
        mode = path.stat().st_mode & 0o777
        text = path.read_text(encoding="utf-8")
    except (FileNotFoundError, NotADirectoryError):
        return Contacts()
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise UserError(f"{path}: is not UTF-8 text") from None
    if mode & 0o077:
        raise UserError(f"{path}: others can read the passwords in it; run: chmod 600 {path}")
    return parse(text, str(path))


def write(path: Path, text: str = EXAMPLE) -> None:
    """A new file that only its owner can read. Raises UserError where there is one already."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, MODE), "w", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise UserError(f"{path}: is there already; it was left as it is") from None
    except OSError as error:
        raise UserError(f"{path}: cannot be written: {error.strerror}") from None


class ContactsFile:
    """The contacts as the file has them now; while it cannot be used, those it had before and the reason.

    problem: one line, None where the file can be used
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._stamp: tuple[int, int, int] | None = None
        self.contacts = load(path)
        self._stamp = self._look()
        self.problem: str | None = None

    def again(self) -> Contacts:
        """Read the file if it has changed."""
        stamp = self._look()
        if stamp != self._stamp:
            self._stamp = stamp
            try:
                self.contacts, self.problem = load(self._path), None
            except UserError as error:
                self.problem = f"{error}; until then everybody is told as before"
        return self.contacts

    def _look(self) -> tuple[int, int, int] | None:
        try:
            found = self._path.stat()
        except OSError:
            return None
        return found.st_mtime_ns, found.st_size, found.st_mode
