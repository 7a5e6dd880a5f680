"""Who may sign in: add, list and remove people, and give a new password.

Passwords are asked for, never taken from the command line, where others could read them; a script gives one line on
standard input. The running service sees every change at once.
"""

import argparse
import getpass
import sys
import time
from collections.abc import Sequence
from contextlib import closing

from sootline.commands import _arguments
from sootline.errors import UserError
from sootline.people.people import People, proper_name
from sootline.people.person import ROLES
from sootline.units import age

_ROLES = "owner (everything), helper (acknowledge, log), viewer (look)"


def main(argv: Sequence[str]) -> int:
    options = _parser().parse_args(argv)
    if not options.data.is_dir():
        raise UserError(f"{options.data}: there is no such folder; give the one of 'sootline run' with --data")
    with closing(People(options.data)) as people:
        if options.what == "list":
            _list(people)
        elif options.what == "add":
            name = proper_name(options.name)
            people.add(name, options.role, _password(), _now_ms())
            print(f"{name} can sign in as {options.role}")
        elif options.what == "password":
            _known(people, options.name)
            people.set_password(options.name, _password())
            print(f"{options.name} has a new password and is signed out everywhere")
        else:
            people.remove(options.name)
            print(f"{options.name} is removed and signed out everywhere")
    return 0


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("sootline people", description=__doc__)
    what = parser.add_subparsers(dest="what", required=True, metavar="add|list|remove|password")
    for name, words in (
        ("add", "somebody who can then sign in"),
        ("list", "everybody, with role and when they last looked"),
        ("remove", "somebody, and end their sessions"),
        ("password", "give somebody a new password, and end their sessions"),
    ):
        one = what.add_parser(name, help=words, description=words)
        _arguments.data(one, "of 'sootline run'")
        if name != "list":
            one.add_argument("name", metavar="NAME")
        if name == "add":
            one.add_argument("--role", choices=ROLES[1:], required=True, help=_ROLES)
    return parser


def _known(people: People, name: str) -> None:
    if all(account.name.casefold() != name.casefold() for account in people.accounts(_now_ms())):
        raise UserError(f"there is nobody called {name}; 'sootline people list' shows everybody")


def _password() -> str:
    """The password, asked for twice where somebody sits at the terminal."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    try:
        given = getpass.getpass("Password: ")
        again = getpass.getpass("The same again: ")
    except EOFError:
        raise UserError("no password was given; nothing was changed") from None
    if given != again:
        raise UserError("the two are not the same; nothing was changed")
    return given


def _list(people: People) -> None:
    accounts = people.accounts(_now_ms())
    if not accounts:
        print("nobody yet: whoever sits at this machine is the owner, and nobody else can look")
    for account in accounts:
        seen = "not signed in" if account.seen_ms is None else f"looked {age((_now_ms() - account.seen_ms) / 1000)}"
        print(f"{account.name:<24} {account.role:<8} {account.sessions} signed in, {seen}" if account.sessions
              else f"{account.name:<24} {account.role:<8} {seen}")  # fmt: skip
    if links := people.links(_now_ms()):
        print(f"shared links that can still be used: {len(links)}; the settings page shows them")
