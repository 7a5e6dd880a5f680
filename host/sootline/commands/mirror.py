"""Copy everything in the store to a server that speaks the line protocol, now and as it comes.

Runs beside the service. Start VictoriaMetrics with -dedup.minScrapeInterval=1ms, so that what is sent twice after an
outage is kept once; InfluxDB does so by itself.
"""

import argparse
import signal
import sys
import threading
from collections.abc import Sequence
from pathlib import Path

from sootline.commands import _arguments
from sootline.errors import UserError
from sootline.store import Store


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser("sootline mirror", description=__doc__)
    parser.add_argument("url", metavar="URL", help="of the server, such as http://127.0.0.1:8428")
    _arguments.data(parser)
    parser.add_argument("--bucket", default="sootline", help="bucket or database (default: %(default)s)")
    parser.add_argument("--org", default="-", help="organisation, where the server has them")
    parser.add_argument("--token-file", type=Path, metavar="FILE", help="its first line is the token, or user:password")
    parser.add_argument("--name", default="mirror", help="of this mirror's cursor; each server needs its own")
    parser.add_argument("--once", action="store_true", help="stop when everything is there")
    options = parser.parse_args(argv)
    if not options.url.startswith(("http://", "https://")):
        raise UserError(f"'{options.url}' is no address of a server; write it like http://127.0.0.1:8428")
    try:
        from sootline.mirror import LineServer, Mirror, follow
    except ModuleNotFoundError as error:
        raise UserError(f"mirroring needs {error.name}; pip install 'sootline[mirror]'") from None
    Store.open(options.data, read_only=True).close()  # a mistyped folder must not become a new store
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    server = LineServer(options.url, options.bucket, _token(options.token_file), options.org)
    with Store.open(options.data) as store:
        lines = follow(
            Mirror(store, server, options.name), stop, options.once, lambda text: print(text, file=sys.stderr)
        )
    server.close()
    print(f"{lines:,} lines sent to {options.url}", file=sys.stderr)
    return 0


def _token(path: Path | None) -> str:
    if path is None:
        return ""
    try:
        return path.read_text().splitlines()[0].strip()
    except (OSError, IndexError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it holds no token"
        raise UserError(f"{path}: cannot be used: {why}") from None
