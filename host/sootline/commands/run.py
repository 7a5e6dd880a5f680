"""Watch furnaces: run the service with its broker and its pages."""

import argparse
import ipaddress
import logging
import signal
import threading
from collections.abc import Sequence
from pathlib import Path

from sootline import timeserver
from sootline.broker import DEFAULT_PORT, Network
from sootline.commands import _arguments, _broker
from sootline.errors import UserError
from sootline.service import Options, Service
from sootline.web.server import HOW_TO_CERTIFY, Tls, is_loopback


def main(argv: Sequence[str]) -> int:
    options = _options(_parser().parse_args(argv))
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s")
    service = Service(options)
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    service.start()
    print(f"pages at {service.web.url}   boards connect to {service.address}   Ctrl-C stops", flush=True)
    if options.tls is None and not options.proxies and not is_loopback(options.web_host):
        print(
            f"note: passwords cross the network unencrypted without --certificate and --key; {HOW_TO_CERTIFY}",
            flush=True,
        )
    try:
        while not stop.wait(0.5):
            service.check()
    finally:
        service.stop()
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("sootline run", description="Watch furnaces and serve the pages.")
    _arguments.data(parser, "store and broker")
    parser.add_argument("--profiles", type=Path, metavar="FOLDER", help="profile files (default: DATA/profiles)")
    parser.add_argument(
        "--web-host",
        default="127.0.0.1",
        metavar="ADDRESS",
        help="where the pages are served (default: this machine only)",
    )
    parser.add_argument(
        "--web-port", type=_arguments.port, default=8470, metavar="PORT", help="of the pages (default: %(default)s)"
    )
    parser.add_argument(
        "--host-name", action="append", default=[], metavar="NAME", help="further name the pages are reached under"
    )
    parser.add_argument("--certificate", type=Path, metavar="FILE", help="serve the pages by HTTPS, with --key FILE")
    parser.add_argument("--key", type=Path, metavar="FILE", help="of the certificate")
    parser.add_argument(
        "--trusted-proxy", action="append", default=[], metavar="ADDRESS", type=_proxy,
        help="address or network of a reverse proxy in front; X-Forwarded-For and -Proto of any other are ignored",
    )  # fmt: skip
    parser.add_argument("--units", choices=("si", "us"), default="si", help="until a browser has chosen (default: si)")
    parser.add_argument("--record", type=Path, metavar="FOLDER", help="record every message for later replays")
    own = parser.add_argument_group("our own broker")
    own.add_argument(
        "--broker-port",
        type=_arguments.port,
        default=DEFAULT_PORT,
        metavar="PORT",
        help="on this machine only (default: %(default)s)",
    )
    own.add_argument("--boards-listen", metavar="ADDRESS:PORT", help="where boards on the network connect")
    own.add_argument("--boards-passwords", type=Path, metavar="FILE", help="lines of furnace:password")
    parser.add_argument(
        "--serial",
        action="append",
        default=[],
        metavar="PORT",
        help="USB port of a board without a network (repeatable)",
    )
    clock = parser.add_argument_group("time for the boards")
    clock.add_argument(
        "--time-listen",
        metavar="ADDRESS:PORT",
        help="serve the time there (default: where boards connect, port 123, if permitted)",
    )
    clock.add_argument("--trust-clock", action="store_true", help="serve the time although nothing sets this clock")
    _broker.add(parser)
    return parser


def _options(options: argparse.Namespace) -> Options:
    if options.profiles is not None and not options.profiles.is_dir():
        raise UserError(f"{options.profiles}: there is no such folder")
    return Options(
        data=options.data,
        profiles=options.profiles,
        broker=_broker.address(options),
        broker_port=options.broker_port,
        network=_network(options),
        serial=tuple(options.serial),
        time_at=None if options.time_listen is None else _broker.host_port(options.time_listen, timeserver.PORT),
        trust_clock=options.trust_clock,
        root=options.root,
        web_host=options.web_host,
        web_port=options.web_port,
        hosts=tuple(options.host_name),
        tls=_tls(options),
        proxies=tuple(options.trusted_proxy),
        units=options.units,
        record=options.record,
    )


def _proxy(text: str) -> str:
    try:
        ipaddress.ip_network(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"'{text}' is no address or network, such as 192.168.1.2 or 10.0.0.0/24"
        ) from None
    return text


def _tls(options: argparse.Namespace) -> Tls | None:
    if options.certificate is None and options.key is None:
        return None
    if options.certificate is None or options.key is None:
        raise UserError(f"HTTPS needs both --certificate FILE and --key FILE; {HOW_TO_CERTIFY}")
    return Tls(options.certificate, options.key)


def _network(options: argparse.Namespace) -> Network | None:
    if options.boards_listen is None:
        return None
    if options.broker is not None:
        raise UserError("--boards-listen is for our own broker; leave it out with --broker")
    if options.boards_passwords is None:
        raise UserError("--boards-listen opens the broker to the network: give --boards-passwords FILE with it")
    host, port = _broker.host_port(options.boards_listen, 1883)
    return Network(host, port, options.boards_passwords)
