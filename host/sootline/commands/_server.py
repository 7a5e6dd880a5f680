"""A time-series server that `sootline mirror` has filled, to read from."""

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sootline.errors import UserError

if TYPE_CHECKING:
    from sootline.mirror import InfluxReader, PrometheusReader


def add_dialect(parser: argparse.ArgumentParser | argparse._ArgumentGroup) -> None:
    """How the server is asked."""
    parser.add_argument("--influxql", action="store_true", help="the server answers InfluxQL, not the Prometheus API")
    parser.add_argument("--database", default="sootline", help="with --influxql (default: %(default)s)")


@contextmanager
def reading(url: str, options: argparse.Namespace, then: str = "") -> Iterator["PrometheusReader | InfluxReader"]:
    """The server's reader; `then` is said after a failure. Raises UserError where the server cannot be read."""
    try:
        from sootline.mirror import InfluxReader, PrometheusReader, ServerUnavailable
    except ModuleNotFoundError as error:
        raise UserError(f"this needs {error.name}; pip install 'sootline[mirror]'") from None
    try:
        yield InfluxReader(url, options.database) if options.influxql else PrometheusReader(url)
    except ServerUnavailable as error:
        raise UserError(f"{error}{then}") from None
