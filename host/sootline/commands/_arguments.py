"""What several commands take."""

import argparse
from pathlib import Path


def data(parser: argparse.ArgumentParser | argparse._ArgumentGroup, holds: str = "the store's folder") -> None:
    parser.add_argument(
        "--data", type=Path, default=Path("sootline-data"), metavar="FOLDER", help=f"{holds} (default: %(default)s)"
    )


def port(text: str) -> int:
    """A port to listen on; 0 takes one that is free."""
    if not (text.isdecimal() and int(text) < 65_536):
        raise argparse.ArgumentTypeError(f"'{text}' is no port; give 0 to 65535")
    return int(text)


def add(parser: argparse.ArgumentParser) -> None:
    """What every command on the stored history takes."""
    data(parser)
    parser.add_argument("--oil", metavar="KIND", help="kind of oil; `sootline oil --kinds` lists them")
    parser.add_argument("--us", action="store_true", help="°F, gallons and pounds in the table")
    parser.add_argument("--json", action="store_true", help="JSON, always in SI units")
    parser.add_argument("--why", action="store_true", help="name the function and the source behind every figure")
