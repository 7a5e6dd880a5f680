"""Who is told of what and when: check the contacts, send them a test."""

import argparse
import time
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from sootline.advice.burned import store_of
from sootline.commands import _arguments
from sootline.courier import ways
from sootline.courier.around import OutlooksThen
from sootline.errors import UserError
from sootline.files import contacts, profiles
from sootline.messages.contacts import Contacts, plan
from sootline.messages.digest import DAY_MS
from sootline.messages.hours import quiet_until_ms
from sootline.messages.rehearse import rehearse

TITLE = "sootline test"
BODY = "Nothing is wrong; somebody tests from the command line whether messages reach you."


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser("sootline contacts", description=__doc__)
    _arguments.data(parser, "store and contacts")
    parts = parser.add_subparsers(dest="part", required=True)
    parts.add_parser("example", help=f"write a {contacts.NAME} to fill in")
    parts.add_parser("check", help="say who is told what and when, or what is wrong with the file")
    test = parts.add_parser("test", help="send a test now, beside a running host or without one")
    test.add_argument("name", nargs="?", help="of one contact (default: all)")
    past = parts.add_parser("rehearse", help="list what would have been said of the alarms that are kept")
    past.add_argument("--days", type=float, default=28.0, metavar="DAYS", help="of the past (default: %(default)g)")
    for part in parts.choices.values():  # --data may stand behind the part, too, as in the other commands
        part.add_argument("--data", type=Path, default=argparse.SUPPRESS, metavar="FOLDER", help="store and contacts")
    options = parser.parse_args(argv)
    if options.part == "rehearse" and not options.days > 0:
        raise UserError("--days of the past must be more than none")
    path = options.data / contacts.NAME
    if options.part == "example":
        contacts.write(path)
        print(f"{path} is written; put in your own contacts, then: sootline contacts --data {options.data} check")
        return 0
    people = contacts.load(path)
    if not people.people and people.heartbeat is None:
        raise UserError(f"{path}: nobody is told of anything; begin with: sootline contacts example")
    if options.part == "rehearse":
        return _rehearse(people, options.data, options.days)
    return _check(people) if options.part == "check" else _test(people, options.name)


def _rehearse(people: Contacts, folder: Path, days: float) -> int:
    now_ms = time.time_ns() // 1_000_000
    known = profiles.load_folder(folder / "profiles")
    with store_of(folder) as store:
        said = rehearse(
            people,
            store.alarms(since_ms=now_ms - round(days * DAY_MS)),
            now_ms - round(days * DAY_MS),
            now_ms,
            outlooks=lambda t_ms: OutlooksThen(store, lambda name: known.get(name) or profiles.default(name), t_ms),
        )
    for one in said:
        when = datetime.fromtimestamp(one.made_ms / 1000)
        print(f"{when:%a %d %b %H:%M}  {one.contact:<12} {one.what:<7} {one.title}")
    woken = sum(
        quiet_until_ms(one.made_ms, person.quiet, None) is not None
        for one in said
        if one.key is not None and (person := people.person(one.contact)) is not None
    )
    print(f"{len(said)} messages in {days:g} days, {woken} of them in quiet hours")
    return 0


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
