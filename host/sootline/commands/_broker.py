"""Options that name a broker, shared by the commands that connect to one."""

import argparse
from pathlib import Path

from sootline.errors import UserError
from sootline.ingest.client import Address


def add(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("an outside broker")
    group.add_argument("--broker", metavar="HOST[:PORT]", help="use this broker instead of running our own")
    group.add_argument("--broker-user", metavar="NAME")
    group.add_argument("--broker-password-file", type=Path, metavar="FILE", help="its first line is the password")
    group.add_argument("--broker-ca", type=Path, metavar="FILE", help="use TLS, with this certificate authority")
    parser.add_argument("--root", default="sootline", help="first word of all topics (default: %(default)s)")


def address(options: argparse.Namespace) -> Address | None:
    """The broker that was named, or None. Raises UserError."""
    if options.broker is None:
        return None
    host, port = host_port(options.broker, 8883 if options.broker_ca else 1883)
    password = None
    if options.broker_password_file is not None:
        if options.broker_user is None:
            raise UserError("--broker-password-file needs --broker-user")
        try:
            password = options.broker_password_file.read_text().splitlines()[0]
        except (OSError, IndexError, UnicodeDecodeError) as error:
            why = getattr(error, "strerror", None) or "it holds no password"
            raise UserError(f"{options.broker_password_file}: cannot be used: {why}") from None
    if options.broker_ca is not None and not options.broker_ca.is_file():
        raise UserError(f"{options.broker_ca}: there is no such file")
    return Address(host, port, options.broker_user, password, options.broker_ca)


def host_port(text: str, default_port: int) -> tuple[str, int]:
    """`host`, `host:port`, `[v6]:port`. Raises UserError."""
    if text.startswith("["):
        host, _, rest = text[1:].partition("]")
        port = rest.removeprefix(":")
    else:
        host, _, port = text.partition(":")
    if not host or (port and not (port.isdigit() and 0 < int(port) < 65536)):
        raise UserError(f"'{text}' is no HOST or HOST:PORT")
    return host, int(port) if port else default_port
