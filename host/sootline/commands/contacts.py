"""Who is told of what and when: check the contacts, send them a test."""

import argparse
from collections.abc import Sequence
from pathlib import Path

from sootline.courier import ways
from sootline.errors import UserError
from sootline.files import contacts
from sootline.messages.contacts import Contacts, plan

TITLE = "sootline test"
BODY = "Nothing is wrong; somebody tests from the command line whether messages reach you."


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser("sootline contacts", description=__doc__)
    parser.add_argument("--data", type=Path, default=Path("sootline-data"), metavar="FOLDER", help="store and contacts")
    parts = parser.add_subparsers(dest="part", required=True)
    parts.add_parser("example", help=f"write a {contacts.NAME} to fill in")
    parts.add_parser("check", help="say who is told what and when, or what is wrong with the file")
    test = parts.add_parser("test", help="send a test now, beside a running host or without one")
    test.add_argument("name", nargs="?", help="of one contact (default: all)")
    options = parser.parse_args(argv)
    path = options.data / contacts.NAME
    if options.part == "example":
        contacts.write(path)
        print(f"{path} is written; put in your own contacts, then: sootline contacts --data {options.data} check")
        return 0
    people = contacts.load(path)
    if not people.people and people.heartbeat is None:
        raise UserError(f"{path}: nobody is told of anything; begin with: sootline contacts example")
    return _check(people) if options.part == "check" else _test(people, options.name)


def _check(people: Contacts) -> int:
    wrong = 0
    for contact in people.people:
        print(contact.name)
        for what, how in plan(contact).items():
            print(f"  {what:<13} {how}")
        for i, way in enumerate(contact.ways, 1):
            if not ways.usable(way):
                wrong += 1
                print(
                    f"  way {i} cannot be used: '{way.partition('://')[0]}://' is unknown, or the address is incomplete"
                )
    if people.heartbeat is not None:
        print(f"sign of life every {people.heartbeat.every_s / 60:g} min")
    else:
        print("no sign of life to a watcher outside: when this host dies, nobody is told")
    if not any(contact.turn == 1 for contact in people.people):
        print("nobody has turn 1")
    return 1 if wrong else 0


def _test(people: Contacts, name: str | None) -> int:
    chosen = [contact for contact in people.people if name in (None, contact.name)]
    if not chosen:
        raise UserError(f"no contact is called '{name}'; there are {', '.join(one.name for one in people.people)}")
    failed = 0
    for contact in chosen:
        for i, way in enumerate(contact.ways, 1):
            error = ways.send(way, TITLE, "" if contact.form == "short" else BODY)
            failed += error is not None
            print(
                f"{contact.name}, way {i} ({way.partition('://')[0]}): {error or 'gone out; ask whether it has come'}"
            )
    return 1 if failed else 0
