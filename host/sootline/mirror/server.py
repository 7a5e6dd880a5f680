"""A server that takes the line protocol at /api/v2/write."""

import re
from collections.abc import Sequence
from typing import Any

import urllib3
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.rest import ApiException

from sootline.errors import SootlineError, UserError

_MILLISECONDS: Any = "ms"  # influxdb_client.WritePrecision.MS, which is this text but declared as a class
MOST_LINES = 5000  # in one request
_REFUSES_CONTENT = (400, 413, 422)  # the lines, not the moment, are at fault: asking again would not help
_REFUSES_US = (401, 403, 404)
# where servers tell when they started, in order of trial
_STARTED = (
    ("/metrics", re.compile(rb"^(?:vm_app_start_timestamp|process_start_time_seconds)\s+(\S+)", re.M)),
    ("/debug/vars", re.compile(rb'"started":\s*"([^"]+)"')),
)


class ServerUnavailable(SootlineError):
    """The server does not answer or is not ready; everything stays where it is, and the same may be sent again."""


def _first_line(error: ApiException) -> str:
    body = error.body.decode(errors="replace") if isinstance(error.body, bytes) else str(error.body or error.reason)
    return body.strip().partition("\n")[0][:200]


class LineServer:
    """Writes lines, each batch whole or not at all, and waits for the answer."""

    def __init__(self, url: str, bucket: str = "sootline", token: str = "", org: str = "-", timeout_s: float = 10.0):
        self.url = url.rstrip("/")
        self._bucket, self._org = bucket, org
        timeout_ms = int(timeout_s * 1000)
        self._client = InfluxDBClient(self.url, token=token, org=org, timeout=timeout_ms, retries=urllib3.Retry(0))
        self._api = self._client.write_api(write_options=SYNCHRONOUS)
        self._http = urllib3.PoolManager(timeout=timeout_s, retries=False)

    def write(self, lines: Sequence[str]) -> list[str]:
        """Write lines with times in milliseconds; returns those that the server will never take.

        Raises ServerUnavailable (try again later), UserError (address, token or bucket are wrong).
        """
        refused: list[str] = []
        for i in range(0, len(lines), MOST_LINES):
            refused += self._write(lines[i : i + MOST_LINES])
        return refused

    def _write(self, lines: Sequence[str]) -> list[str]:
        """Halves a batch whose content is refused until the lines at fault stand alone."""
        try:
            self._api.write(self._bucket, self._org, "\n".join(lines), write_precision=_MILLISECONDS)
            return []
        except ApiException as error:
            if error.status in _REFUSES_US:
                raise UserError(
                    f"{self.url} refuses us ({error.status}); check address, token and bucket '{self._bucket}'"
                ) from None
            if error.status not in _REFUSES_CONTENT:
                raise ServerUnavailable(f"{self.url} answers {error.status}: {_first_line(error)}") from None
        except (urllib3.exceptions.HTTPError, OSError) as error:
            raise ServerUnavailable(f"{self.url} does not answer: {type(error).__name__}") from None
        if len(lines) == 1:
            return list(lines)
        half = len(lines) // 2
        return self._write(lines[:half]) + self._write(lines[half:])

    def started(self) -> str | None:
        """When the server was started, in its own words; None when it does not say."""
        for path, pattern in _STARTED:
            try:
                answer = self._http.request("GET", self.url + path)
            except urllib3.exceptions.HTTPError as error:
                raise ServerUnavailable(f"{self.url} does not answer: {type(error).__name__}") from None
            found = pattern.search(answer.data) if answer.status == 200 else None
            if found:
                return found[1].decode()
        return None

    def close(self) -> None:
        self._client.close()  # type: ignore[no-untyped-call]
        self._http.clear()
