"""Everything in the store copied outward to a time-series server, and read back from one.

Writing speaks the line protocol (`/api/v2/write`), reading the Prometheus HTTP API or InfluxQL.
"""

from sootline.mirror.fetch import fetch
from sootline.mirror.follow import follow
from sootline.mirror.mirror import Mirror, Progress
from sootline.mirror.readers import InfluxReader, PrometheusReader
from sootline.mirror.server import LineServer, ServerUnavailable

__all__ = [
    "InfluxReader",
    "LineServer",
    "Mirror",
    "Progress",
    "PrometheusReader",
    "ServerUnavailable",
    "fetch",
    "follow",
]
