"""`sootline board update`: bring this version of the board code to a board over the air."""

import argparse
from typing import Any

from sootline.boards import key as keys
from sootline.boards import release as releases
from sootline.boards.remote import Remote
from sootline.boards.update import update
from sootline.broker import DEFAULT_PORT
from sootline.commands import _arguments, _broker
from sootline.errors import UserError
from sootline.ingest.client import Address
from sootline.wire import topics


def add(actions: "argparse._SubParsersAction[Any]") -> None:
    parser = actions.add_parser("update", help="update a board over the air", description="Update a board.")
    parser.add_argument("furnace", help="whose board")
    _arguments.data(parser, "has the key")
    parser.add_argument("--older", action="store_true", help="go back to an earlier version than the board runs")
    parser.add_argument(
        "--burner-is-off", action="store_true", help="you have looked: counts only where no reading tells"
    )
    _broker.add(parser)
    parser.set_defaults(run=_run)


def _run(options: argparse.Namespace) -> int:
    if not topics.FURNACE_ID.fullmatch(options.furnace):
        raise UserError(f"'{options.furnace}' is no name of a furnace")
    if not options.data.is_dir():
        raise UserError(f"{options.data}: there is no such folder; name the one of sootline run with --data")
    release = releases.build(keys.load(options.data), older=options.older)
    address = _broker.address(options) or Address(port=DEFAULT_PORT)
    with Remote(address, options.root, options.furnace) as remote:
        update(remote, release, lambda text: print(text, flush=True), burner_off=options.burner_is_off)
    return 0
