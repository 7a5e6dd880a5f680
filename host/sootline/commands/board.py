"""Boards: find, install, configure and check one over USB, read its log; update one over the air."""

import argparse
from collections.abc import Sequence

from sootline.commands import _board_update, _board_usb


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser("sootline board", description="Look after the boards.")
    actions = parser.add_subparsers(metavar="ACTION", required=True)
    for action in (_board_usb, _board_update):
        action.add(actions)
    options = parser.parse_args(argv)
    return int(options.run(options))
